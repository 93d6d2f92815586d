"""A profile beside a reference as one picture: both lines, both grades, and what differs with what was promised."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from profiler import wording
from profiler.comparison.compare import Comparison
from profiler.comparison.figures import SURE
from profiler.comparison.reference_words import results, sentences
from profiler.landmark import Landmarks
from profiler.present import signs
from profiler.present.beside_lines import STROKES, stroke_sample
from profiler.present.chart_frame import (
    ABOVE,
    BELOW,
    GAP,
    GUTTER,
    MOST_EXAGGERATED,
    RIGHT,
    SHARE,
    Frame,
    Panel,
    Row,
    cut,
    one_sheet_scale,
    rows_under,
    seen,
)
from profiler.present.chart_key import (
    FINE,
    LINE,
    MARGIN,
    SUMMARY,
    draw_classes,
    draw_heading,
    draw_last_lines,
    wrapped,
)
from profiler.present.chart_names import RANK_STATION, gutter, set_label
from profiler.present.chart_rail import elevation_ticks, name_on_stem, take_line
from profiler.present.chart_rows import draw_posts
from profiler.present.comparison_rows import DOT, OURS, dot, draw_grades, draw_heights, draw_slopes, limits_of
from profiler.present.labels import Box, Candidate, Label, Room, place
from profiler.present.palette import BAND, INK, WHITE
from profiler.present.sheet import Sheet, plain
from profiler.present.typeface import TITLE
from profiler.units import FloatArray

_SHARES = {"posts": 0.5, "rail": 2.4, "height": 1.15, "grade": 1.6, "slope": 1.15, "foot": 0.34}
_THEIRS = STROKES[1]
_MARGIN_SHARE = 0.01
_KEY_STEP = 178.0


@dataclass(frozen=True)
class ComparisonPicture:
    """The drawn sheet, the labels as placed, what found no room, and what it says."""

    sheet: Sheet
    placed: tuple[tuple[Label, Candidate], ...]
    dropped: tuple[str, ...]
    sentences: tuple[str, ...]


def draw_comparison(comparison: Comparison, *, svg: Path | None = None, png: Path | None = None) -> tuple[str, ...]:
    """Draw a comparison into the files asked for.

    Returns
    -------
    tuple of str
        Labels for which there was no room; their figures are in the tables.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    picture = compose_comparison(comparison)
    picture.sheet.write(title(comparison), " ".join(picture.sentences), svg=svg, png=png)
    return picture.dropped


def title(comparison: Comparison) -> str:
    """The name of the line, and what it is held against."""
    route = comparison.profile.route
    name = plain(route.name) or plain(" to ".join(filter(None, route.ends))) or "Line without a name"
    return f"{name}, held against {plain(Path(comparison.reference.source).name)}"


def compose_comparison(comparison: Comparison) -> ComparisonPicture:
    """Draw on a sheet without writing it."""
    start, end = _extent(comparison)
    scale = one_sheet_scale(end - start, comparison.units)
    width = GUTTER + (end - start) * scale + RIGHT
    told = [_sentence(said) for said in results(comparison)]
    how = [*_reading(comparison), *(_sentence(said) for said in sentences(comparison))]
    heading, first, small = (
        wrapped(lines, style, width - 2 * MARGIN)
        for lines, style in (([title(comparison)], TITLE), (told, SUMMARY), (how, FINE))
    )
    foot = wrapped([wording.CAUTION], FINE, width - 2 * MARGIN)
    heights = {name: _SHARES[name] * SHARE for name in _row_names(comparison)}
    head_height = MARGIN + 17.0 * len(heading) + LINE * (len(first) + len(small)) + 40.0
    body = sum(heights.values()) + GAP * (len(heights) - 1)
    foot_height = MARGIN + LINE * len(foot) + 42.0
    sheet = Sheet(width, head_height + body + foot_height)
    y = draw_heading(sheet, heading, first, small)
    _key(sheet, comparison, y - 18.0, width)
    rows = rows_under(sheet.height - head_height, heights)
    placed, dropped = _draw_rows(sheet, comparison, (start, end), scale, rows)
    if "grade" in rows:
        draw_classes(sheet, MARGIN, foot_height - 24.0, limits_of(comparison), comparison.units)
    draw_last_lines(sheet, foot)
    return ComparisonPicture(sheet, placed, dropped, (*told, *how, wording.CAUTION))


def _sentence(said: str) -> str:
    return f"{plain(said[0].upper() + said[1:])}."


def _reading(comparison: Comparison) -> list[str]:
    """How to read it, and where our figures come from."""
    profile = comparison.profile
    said = [wording.INVENTED] if profile.invented else []
    if profile.source_names:
        said.append(f"Ground: {', '.join(plain(name) for name in profile.source_names)}.")
    said += filter(None, [plain(wording.credit_words(profile.attribution, profile.licence))])
    said.append(f"{_sentence(wording.datum_words(profile.vertical_datum))}")
    said.append(
        "Differences are profile less reference, cut at the edge of their row; bands: ±1.96 standard errors of them."
    )
    return said


def _row_names(comparison: Comparison) -> list[str]:
    there = {"height": comparison.elevation.item.size, "grade": comparison.grade.item.size}
    there["slope"] = there["grade"]
    return [name for name in _SHARES if there.get(name, True)]


def _extent(comparison: Comparison) -> tuple[float, float]:
    """The stretch drawn: what both tell, and a little beyond. [m]"""
    s = comparison.profile.chainage
    a, b = comparison.stretch
    grow = max(_MARGIN_SHARE * (b - a), 100.0)
    return max(a - grow, float(s[0])), min(b + grow, float(s[-1]))


def _draw_rows(
    sheet: Sheet, comparison: Comparison, extent: tuple[float, float], scale: float, rows: dict[str, Row]
) -> tuple[tuple[tuple[Label, Candidate], ...], tuple[str, ...]]:
    panel, frame = _panel(comparison, extent, scale, rows)
    room = Room(Box(panel.left - 14, rows["foot"].bottom, panel.right + 14, rows["posts"].top))
    labels = draw_posts(sheet, panel, comparison.profile.route.posts)
    labels += _rail(sheet, room, panel, frame, comparison)
    if "height" in rows:
        draw_heights(sheet, room, panel, comparison)
    if "grade" in rows:
        draw_grades(sheet, room, panel, comparison)
        draw_slopes(sheet, room, panel, comparison)
    placed, dropped = place([label for label in labels if label.candidates], room)
    for _, chosen in placed:
        set_label(sheet, chosen)
    return tuple(placed), dropped


def _panel(
    comparison: Comparison, extent: tuple[float, float], scale: float, rows: dict[str, Row]
) -> tuple[Panel, Frame]:
    profile = comparison.profile
    shown = [cut(*extent, profile.chainage, profile.elevation)[1], comparison.line[1], _level(comparison)]
    z = np.concatenate(shown)
    row = (rows["rail"].top - rows["rail"].bottom) / (1 + BELOW + ABOVE)
    height = min(row / np.ptp(z) if np.ptp(z) > 0 else math.inf, MOST_EXAGGERATED * scale)
    base = float(z.min()) - BELOW * row / height
    frame = Frame(profile, Landmarks((), (), ()), limits_of(comparison), scale, height, (extent,))
    return Panel(0, *extent, GUTTER, scale, height, base, rows), frame


def _level(comparison: Comparison) -> FloatArray:
    """The reference's elevations (m,) at our level. [m]"""
    return comparison.elevation.reference - comparison.elevation.offset


def _rail(sheet: Sheet, room: Room, panel: Panel, frame: Frame, comparison: Comparison) -> list[Label]:
    """Ours with its band, the reference's line dashed, or its places as squares."""
    units, profile, row = comparison.units, comparison.profile, panel.rows["rail"]
    lines = [f"elevation, {wording.elevation_unit(units)}", f"height ×{wording.number(frame.exaggeration)}"]
    gutter(sheet, panel, "rail", "Rail", lines)
    s, z = cut(panel.start, panel.end, profile.chainage, profile.elevation)
    se = np.interp(s, profile.chainage, profile.elevation_se)
    low, high = (seen(panel.x(s), np.clip(panel.y(z + way * SURE * se), row.bottom, row.top)) for way in (-1.0, 1.0))
    sheet.areas([np.vstack((low, high[::-1]))], BAND, z=2, alpha=0.75)
    ours = seen(panel.x(s), panel.y(z))
    take_line(room, ours)
    sheet.lines([ours], width=3.4, colour=WHITE, z=3.0)
    if comparison.line.size:
        theirs = seen(panel.x(comparison.line[0]), panel.y(comparison.line[1]))
        sheet.lines([theirs], width=_THEIRS.width, dash=_THEIRS.dash, z=3.5)
    sheet.lines([ours], width=OURS.width, z=3.6)
    elevation_ticks(sheet, room, panel, frame)
    return _places(sheet, room, panel, frame, comparison)


def _places(sheet: Sheet, room: Room, panel: Panel, frame: Frame, comparison: Comparison) -> list[Label]:
    """Names of the reference's stations at its own elevations, or of the line's where it names none."""
    found, names = comparison.elevation, comparison.reference.names
    if any(names[i] for i in found.item.tolist()):
        spots = list(
            zip(found.start.tolist(), _level(comparison).tolist(), (names[i] for i in found.item), strict=True)
        )
    else:
        profile = comparison.profile
        inside = [stop for stop in profile.route.stations if panel.holds(stop.chainage)]
        height = np.interp([stop.chainage for stop in inside], profile.chainage, profile.elevation)
        spots = [(stop.chainage, float(z), stop.name) for stop, z in zip(inside, height, strict=True)]
    labels: list[Label] = []
    for at, z, name in spots:
        box = signs.station(sheet, float(panel.x(at)), float(panel.y(z)))
        room.take(box, f"place {at:.1f}")
        labels += name_on_stem(panel, frame, at, plain(name), "station", RANK_STATION)
    return labels


def _key(sheet: Sheet, comparison: Comparison, y: float, width: float) -> None:
    """What each line and sign is; only those drawn."""
    x = MARGIN
    samples: list[tuple[str, str]] = [("ours", "this profile, with its 95 % band")]
    if comparison.line.size:
        own = "reference" if np.isfinite(comparison.reference.elevation).any() else "reference, its grades added up"
        samples.append(("theirs", own))
    elif comparison.elevation.item.size:
        samples.append(("places", "reference"))
    samples += [("inside", "within the stated 95 %"), ("beyond", "beyond it")]
    for kind, words in samples:
        _sample(sheet, kind, x, y)
        sheet.text(x + 45.0, y, words, FINE)
        x += _KEY_STEP if x + 2 * _KEY_STEP < width else _KEY_STEP * 0.8


def _sample(sheet: Sheet, kind: str, x: float, y: float) -> None:
    middle = y + 2.4
    if kind == "ours":
        sheet.areas(
            [[(x, middle - 4), (x + 40, middle - 4), (x + 40, middle + 4), (x, middle + 4)]], BAND, z=1, alpha=0.75
        )
        stroke_sample(sheet, OURS, x, middle)
    elif kind == "theirs":
        stroke_sample(sheet, _THEIRS, x, middle)
    elif kind == "places":
        signs.station(sheet, x + 30.0, middle)
    else:
        fill, size = (WHITE, DOT) if kind == "inside" else (INK, 1.5 * DOT)
        sheet.areas([dot(x + 14.0, middle, size)], fill, edge=INK, width=0.7, z=5)
        sheet.areas([[(x + 26, y - 2), (x + 38, y - 2), (x + 38, y + 6), (x + 26, y + 6)]], fill, edge=INK, z=5)
