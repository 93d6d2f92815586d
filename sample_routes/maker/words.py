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
    parts = [_HEAD, _posts()]
    for work in WORKS:
        if work.name and work.name not in TAGGED:
            parts.append(
                f'[[structures]]\nkind = "{work.kind}"\nname = "{work.name}"\n'
                f"{_stretch(work.start_post, work.end_post, 3)}\n"
            )
    ends = [start for start, _ in SPEEDS[1:]] + [LAST_POST]
    for (start, speed), end in zip(SPEEDS, ends, strict=True):
        parts.append(f"[[speed_limits]]\n{_stretch(start, end, 1)}\nspeed_mph = {speed}\n")
    first, last, speed, reason = SLOW
    parts.append(f'[[slow_orders]]\n{_stretch(first, last, 2)}\nspeed_mph = {speed}\nreason = "{reason}"\n')
    for post in LEVELLED:
        feet = float(grades().at(chainage_of(post))) / FOOT
        parts.append(
            f'[[known_elevations]]\nat = {{ post = "{post}" }}\nelevation_ft = {feet:.1f}\nse_ft = {LEVELLED_SE_FT}\n'
        )
    parts += [f'[[stations]]\nname = "{name}"\nat = {{ post = "{post}" }}\n' for name, post in STATIONS]
    parts.append(f'[[stops]]\nat = {{ post = "{STOP}" }}\n')
    return "\n".join(parts)


_HEAD = f"""\
# {NAME}: an invented railway in invented country. Nothing of it exists: it lies in the open
# South Atlantic, where there is only water. Made by sample_routes/make.py; see README.txt.
# An ore line: from the mine at Farrow over Ombersley Gap down to the quay.

[route]
name = "{NAME}"
units = "us"
ends = ["Farrow", "Thistle Quay"]
invented = true

[centreline]
path = "farrow-centreline.geojson"
keep = {{ railway = ["rail"] }}
start = {{ longitude = {START[0]}, latitude = {START[1]} }}
end = {{ longitude = {END[0]}, latitude = {END[1]} }}

[elevation]
rasters = ["farrow-ground.tif"]
vertical_datum = "EGM2008"
vertical_unit = "m"

# {" and ".join(TAGGED)} are tagged in the centreline; the works below are known by their posts.
"""


def _posts() -> str:
    rows = ['  { post = "38.0", chainage_m = 0 },']
    for post in TIED:
        lon, lat = geographic(*alignment().place(chainage_of(post)))
        rows.append(f'  {{ post = "{post}", longitude = {lon:.5f}, latitude = {lat:.5f} }},')
    rows.append(f'  {{ post = "{LAST_POST}", longitude = {END[0]}, latitude = {END[1]} }},')
    return '[posts]\nunit = "mi"\nat = [\n' + "\n".join(rows) + "\n]\n"


def _stretch(start: float, end: float, digits: int) -> str:
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
