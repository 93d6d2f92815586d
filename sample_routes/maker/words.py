"""The territory file and the truth, as text."""

from __future__ import annotations

import numpy as np

from profiler.units import FOOT, MILE, degree_of_curve
from sample_routes.maker.drawing import TAGGED
from sample_routes.maker.line import (
    END,
    LAST_POST,
    LENGTH,
    NAME,
    SPEEDS,
    START,
    WORKS,
    Work,
    alignment,
    chainage_of,
    geographic,
    grades,
    post_of,
)

TIED = (44.0, 49.0, 54.3, 60.0, 65.0)
"""Posts of which the place on the ground is known, besides the two ends."""
LEVELLED = (45.0, 54.3, 65.5)
"""Posts at which the elevation of the rail is known."""
LEVELLED_SE_FT = 1.0
STATIONS = (
    ("Farrow", 38.4),
    ("Long Garth", 44.0),
    ("Ombersley Gap", 55.1),
    ("Nettlebank", 57.8),
    ("Teasel Ford", 64.7),
    ("Thistle Quay", 70.2),
)
STOP = 53.5
SLOW = (60.15, 60.40, 15, "Culvert")


def territory() -> str:
    """The territory file."""
    parts = [
        opening(_NOTE, NAME, "farrow-centreline.geojson", "rail"),
        f"# {' and '.join(TAGGED)} are tagged in the centreline; the works below are known by their posts.\n",
        posts_table(TIED),
    ]
    parts += [work_table(work) for work in WORKS if work.name and work.name not in TAGGED]
    ends = [start for start, _ in SPEEDS[1:]] + [LAST_POST]
    for (start, speed), end in zip(SPEEDS, ends, strict=True):
        parts.append(f"[[speed_limits]]\n{stretch(start, end, 1)}\nspeed_mph = {speed}\n")
    first, last, speed, reason = SLOW
    parts.append(f'[[slow_orders]]\n{stretch(first, last, 2)}\nspeed_mph = {speed}\nreason = "{reason}"\n')
    parts += [level_table(post) for post in LEVELLED]
    parts += [station_table(name, post) for name, post in STATIONS]
    parts.append(f'[[stops]]\nat = {{ post = "{STOP}" }}\n')
    return "\n".join(parts)


SEA = """\
Nothing of it exists: it lies in the open
# South Atlantic, where there is only water. Made by sample_routes/make.py; see README.txt."""
_NOTE = f"""\
# {NAME}: an invented railway in invented country. {SEA}
# An ore line: from the mine at Farrow over Ombersley Gap down to the quay.
"""


def opening(note: str, name: str, path: str, railway: str) -> str:
    """The tables that every territory over this ground begins with."""
    return f"""\
{note}
[route]
name = "{name}"
units = "us"
ends = ["Farrow", "Thistle Quay"]
invented = true

[centreline]
path = "{path}"
keep = {{ railway = ["{railway}"] }}
start = {{ longitude = {START[0]}, latitude = {START[1]} }}
end = {{ longitude = {END[0]}, latitude = {END[1]} }}

[elevation]
rasters = ["farrow-ground.tif"]
vertical_datum = "EGM2008"
vertical_unit = "m"
"""


def work_table(work: Work) -> str:
    """A tunnel or a bridge by its posts."""
    return f'[[structures]]\nkind = "{work.kind}"\nname = "{work.name}"\n{stretch(work.start_post, work.end_post, 3)}\n'


def level_table(post: float) -> str:
    """The rail's elevation at a post, as levelled."""
    feet = float(grades().at(chainage_of(post))) / FOOT
    return f'[[known_elevations]]\nat = {{ post = "{post}" }}\nelevation_ft = {feet:.1f}\nse_ft = {LEVELLED_SE_FT}\n'


def station_table(name: str, post: float) -> str:
    """A station at a post."""
    return f'[[stations]]\nname = "{name}"\nat = {{ post = "{post}" }}\n'


def posts_table(tied: tuple[float, ...], equation: tuple[float, float, float] | None = None) -> str:
    """Both ends, posts between them of which the place is known, and where a post equation stands (m, back, ahead)."""
    rows = ['  { post = "38.0", chainage_m = 0 },']
    for post in tied:
        lon, lat = geographic(*alignment().place(chainage_of(post)))
        rows.append(f'  {{ post = "{post}", longitude = {lon:.5f}, latitude = {lat:.5f} }},')
    rows.append(f'  {{ post = "{LAST_POST}", longitude = {END[0]}, latitude = {END[1]} }},')
    table = '[posts]\nunit = "mi"\nat = [\n' + "\n".join(rows) + "\n]\n"
    if equation is None:
        return table
    at, back, ahead = equation
    return f'{table}equations = [{{ at_chainage_m = {at:.0f}, back = "{back:.2f}", ahead = "{ahead:.2f}" }}]\n'


def stretch(start: float, end: float, digits: int) -> str:
    """From one post to another, as keys of a table."""
    return f'from = {{ post = "{start:.{digits}f}" }}\nto = {{ post = "{end:.{digits}f}" }}'


def truth() -> str:
    """What the line really is: tables under headings, fields parted by commas."""
    g = grades()
    tables = [
        f"# The truth of the invented line {NAME}, {LENGTH:.1f} m long.",
        "# Chainage is on the ground at the line's mean height; posts are true miles from 38.0 at chainage 0.",
        _table(
            "pvis",
            "post,chainage_m,elevation_m,grade_in_pct,grade_out_pct,curve_length_m",
            [post_of(g.chainage), g.chainage, g.elevation, g.grade_in * 100, g.grade_out * 100, g.curve_length],
            "%.4f,%.2f,%.3f,%.2f,%.2f,%.2f",
        ),
        _rail(),
        _curves(),
        "[structures]\nkind,name,start_post,end_post,start_m,end_m,listed\n"
        + "\n".join(
            f"{w.kind},{w.name},{w.start_post:.3f},{w.end_post:.3f},{w.start:.1f},{w.end:.1f},"
            f"{'yes' if w.name else 'no'}"
            for w in WORKS
        ),
    ]
    return "\n\n".join(tables) + "\n"


def gradients() -> str:
    """What the invented railway would publish of its grades: a table by posts, elevations of the rail in feet."""
    g = grades()
    edges = np.r_[0.0, g.chainage, LENGTH]
    slope = np.r_[g.grade_in, g.grade_out[-1]] * 100
    rows = zip(post_of(edges[:-1]), post_of(edges[1:]), slope, g.at(edges[:-1]) / FOOT, strict=True)
    note = f"# Gradients of {NAME}, as the railway would publish them. INVENTED, like the line; see README.txt."
    lines = [f"{start:.2f},{end:.2f},{grade:.2f},{height:.0f}" for start, end, grade, height in rows]
    return "\n".join([note, "from_mi,to_mi,grade_pct,elevation_ft", *lines, ""])


def _rail() -> str:
    s = np.append(np.arange(0.0, LENGTH, MILE / 10), LENGTH)
    lon, lat = geographic(*alignment().place(s))
    degree = degree_of_curve(np.interp(s, alignment().chainage, alignment().curvature))
    fields = "post,chainage_m,longitude,latitude,elevation_m,grade_pct,degree_of_curve"
    columns = [post_of(s), s, lon, lat, grades().at(s), grades().grade_at(s) * 100, degree]
    return _table("rail", fields, columns, "%.2f,%.2f,%.6f,%.6f,%.3f,%.3f,%.2f")


def _curves() -> str:
    arcs = alignment().arcs
    rows = [(i + 1, a.start, a.end, a.spiral_in, a.spiral_out, a.degree) for i, a in enumerate(arcs)]
    fields = "number,start_m,end_m,spiral_in_m,spiral_out_m,degree_of_curve"
    return _table("curves", fields, list(np.array(rows).T), "%d,%.2f,%.2f,%.2f,%.2f,%.1f")


def _table(name: str, fields: str, columns: list[np.ndarray], form: str) -> str:
    rows = [form % row for row in zip(*(c.tolist() for c in columns), strict=True)]
    return "\n".join([f"[{name}]", fields, *rows])
