"""The Rail row: elevation with its band, the ground, structures and places."""

from __future__ import annotations

import itertools

import numpy as np

from profiler import wording
from profiler.landmark import GradeRun, Landmark
from profiler.present import signs
from profiler.present.chart_frame import Frame, Panel, area, cut, nice_step, seen
from profiler.present.chart_names import (
    LETTERING,
    RANK_LANDMARK,
    RANK_LONG,
    RANK_SMALL,
    RANK_STATION,
    candidate,
    gutter,
    tick_figure,
)
from profiler.present.labels import Box, Candidate, Label, Room
from profiler.present.palette import BAND, GROUND, GROUND_EDGE, HAIR, INK, WHITE
from profiler.present.sheet import Sheet, plain
from profiler.present.typeface import CAPTION, extent
from profiler.route import Structure
from profiler.units import PERCENT, PERMILLE, FloatArray

_TIERS, _TIER, _FIRST = 5, 10.6, 10.0
_IN_GROUND = (13.0, 22.0, 31.0)
_LEAST_SIGN = 4.0
_LONG_M = 300.0
_FAN = 78.0
_FAN_PERMILLE = (1, 2, 5, 10, 20, 40, 80)
_FAN_PERCENT = (0.1, 0.2, 0.5, 1, 2, 4, 8)


def draw_rail(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> list[Label]:
    """Draw the row and hand back the names that want room in it."""
    usual = 1.96 * float(np.median(frame.profile.elevation_se))
    worst = 1.96 * float(frame.profile.elevation_se.max())
    lines = [
        f"elevation, {wording.elevation_unit(frame.units)}",
        f"height ×{wording.number(frame.exaggeration)}",
        *wording.certainty_lines(usual, worst, frame.units),
    ]
    gutter(sheet, panel, "rail", "Rail", lines)
    _ground(sheet, panel, frame)
    rail = _rail(sheet, panel, frame)
    take_line(room, rail)
    names = _structures(sheet, room, panel, frame) + _places(sheet, room, panel, frame)
    elevation_ticks(sheet, room, panel, frame)
    _fan(sheet, room, panel, frame, rail)
    return names


def _ground(sheet: Sheet, panel: Panel, frame: Frame) -> None:
    profile, row = frame.profile, panel.rows["rail"]
    known = np.isfinite(profile.ground)
    s, ground = cut(panel.start, panel.end, profile.chainage, np.where(known, profile.ground, profile.elevation))
    line = seen(panel.x(s), np.clip(panel.y(ground), row.bottom, row.top))
    sheet.areas([area(line, row.bottom)], GROUND, z=1, edge="none")
    if known.any():
        sheet.lines([line], width=0.5, colour=GROUND_EDGE, z=1.5)
    s, se = cut(panel.start, panel.end, profile.chainage, 1.96 * profile.elevation_se)
    z = cut(panel.start, panel.end, profile.chainage, profile.elevation)[1]
    low, high = (seen(panel.x(s), np.clip(panel.y(v), row.bottom, row.top)) for v in (z - se, z + se))
    sheet.areas([np.vstack((low, high[::-1]))], BAND, z=2, alpha=0.75)


def _rail(sheet: Sheet, panel: Panel, frame: Frame) -> FloatArray:
    s, z = cut(panel.start, panel.end, frame.profile.chainage, frame.profile.elevation)
    line = seen(panel.x(s), panel.y(z))
    sheet.lines([line], width=3.0, colour=WHITE, z=3.4)
    sheet.lines([line], width=1.5, z=3.5)
    return line


def take_line(room: Room, line: FloatArray) -> None:
    """A line (n, 2) is taken in boxes no wider than 8 pt, whichever way it runs."""
    for first, second in itertools.pairwise(line):
        a, b = (first, second) if first[0] <= second[0] else (second, first)
        steps = np.linspace(a, b, max(2, int(np.ceil((b[0] - a[0]) / 8)) + 1))
        for p, q in itertools.pairwise(steps):
            room.take(Box(p[0], min(p[1], q[1]) - 1.5, q[0], max(p[1], q[1]) + 1.5), "rail")


def _elevation_at(frame: Frame, chainage: float) -> float:
    return float(np.interp(chainage, frame.profile.chainage, frame.profile.elevation))


def _piece(panel: Panel, frame: Frame, start: float, end: float) -> FloatArray | None:
    """The rail over a stretch on this panel, drawn no shorter than can be seen; None where it is not here."""
    grow = max(0.0, _LEAST_SIGN / panel.scale - (end - start)) / 2
    part = panel.clipped(start - grow, end + grow)
    if part is None:
        return None
    s, z = cut(*part, frame.profile.chainage, frame.profile.elevation)
    return np.column_stack((panel.x(s), panel.y(z)))


def _structures(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> list[Label]:
    names = []
    for item in frame.profile.route.structures:
        line = _piece(panel, frame, item.start, item.end)
        if line is None:
            continue
        if item.kind == "tunnel":
            signs.tunnel(sheet, line)
        else:
            room.take(signs.bridge(sheet, line, _feet(panel, frame, line)), "rail")
        long = item.end - item.start >= _LONG_M
        if item.name or long:
            middle = (item.start + item.end) / 2
            rank = RANK_LONG if long else RANK_SMALL
            names += name_on_stem(panel, frame, middle, _structure_words(item, frame.units), "structure", rank)
    for mark in frame.landmarks.suspected:
        line = _piece(panel, frame, mark.start, mark.end)
        if line is None:
            continue
        signs.tunnel(sheet, line, suspected=True)
        open_end = frame.profile.route.reaches_end(mark.start, mark.end)
        words = wording.suspected_words(mark.kind, mark.probability, open_end)
        names += name_on_stem(panel, frame, mark.at, words, "structure", RANK_LONG)
    return names


def _structure_words(item: Structure, units: str) -> str:
    name = plain(item.name) or item.kind
    length = item.end - item.start
    return f"{name}, {wording.short_length_text(length, units)}" if length >= _LONG_M else name


def _feet(panel: Panel, frame: Frame, line: FloatArray) -> FloatArray:
    profile = frame.profile
    s = panel.start + (line[:, 0] - panel.left) / panel.scale
    ground = np.interp(s, profile.chainage, np.where(np.isfinite(profile.ground), profile.ground, profile.elevation))
    return np.maximum(panel.y(ground), panel.rows["rail"].bottom)


def _places(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> list[Label]:
    names = []
    for mark in frame.landmarks.shown("crest", "sag", "grade_break"):
        if not panel.holds(mark.at):
            continue
        draw = getattr(signs, mark.kind)
        box = draw(sheet, float(panel.x(mark.at)), float(panel.y(_elevation_at(frame, mark.at))))
        room.take(box, _owner(mark.at))
        names += name_on_stem(panel, frame, mark.at, _landmark_words(mark, frame), "landmark", RANK_LANDMARK)
    for stop in frame.profile.route.stations:
        if panel.holds(stop.chainage):
            y = float(panel.y(_elevation_at(frame, stop.chainage)))
            room.take(signs.station(sheet, float(panel.x(stop.chainage)), y), _owner(stop.chainage))
            names += name_on_stem(panel, frame, stop.chainage, plain(stop.name), "station", RANK_STATION)
    return names


def _landmark_words(mark: Landmark, frame: Frame) -> str:
    posts = frame.profile.route.posts
    kind = wording.doubted_words(mark.kind, mark.probability)
    if mark.kind != "grade_break":
        return f"{kind} {wording.post_text(posts, mark.at)}"
    before, after = _runs_beside(frame.landmarks.grade_runs, mark.at)
    if before is None or after is None:
        return f"{kind} {wording.post_text(posts, mark.at)}"
    return f"{kind} {wording.break_words(before.grade, after.grade, frame.units, before.grade_se, after.grade_se)}"


def _runs_beside(runs: tuple[GradeRun, ...], place: float) -> tuple[GradeRun | None, GradeRun | None]:
    """The runs that meet nearest to a place, where one ends within its doubt of it."""
    for first, second in itertools.pairwise(runs):
        if abs(first.end - place) <= max(50.0, 1.96 * first.end_se):
            return first, second
    return None, None


def _owner(chainage: float) -> str:
    return f"place {chainage:.1f}"


def name_on_stem(panel: Panel, frame: Frame, place: float, words: str, style: str, rank: float) -> list[Label]:
    """A name on a stem, in five tiers over the rail; structures also under it, in the ground."""
    if not words or not panel.holds(place):
        return []
    x, rail = float(panel.x(place)), float(panel.y(_elevation_at(frame, place)))
    own = frozenset({"rail", _owner(place)})
    room_over = rail + signs.SIDE + 2.4
    choices: list[Candidate] = []
    for tier in range(_TIERS):
        y = panel.rows["rail"].top - _FIRST - tier * _TIER
        depth = extent(words, LETTERING[style].type)[2]
        if y - depth - 3 < room_over:
            break
        stem = Box(x - 0.5, room_over - 1.4, x + 0.5, y - depth - 1.2)
        choices += [
            candidate(style, words, x + shift, y, align, stem=stem)
            for align, shift in (("center", 0.0), ("left", -2.0), ("right", 2.0))
        ]
    if style != "landmark":
        choices += _in_ground(panel, f"{style}_in_ground", words, x, rail)
    where = wording.post_text(frame.profile.route.posts, place)
    return [Label(f"{words}, {where}" if style != "landmark" else words, rank, tuple(choices), own)]


def _in_ground(panel: Panel, style: str, words: str, x: float, rail: float) -> list[Candidate]:
    choices = []
    for drop in _IN_GROUND:
        y = rail - drop
        if y < panel.rows["rail"].bottom + 3:
            break
        stem = Box(x - 0.5, y + 6.4, x + 0.5, rail - 4.0)
        choices += [
            candidate(style, words, x + shift, y, align, stem=stem)
            for align, shift in (("center", 0.0), ("left", -2.0), ("right", 2.0))
        ]
    return choices


def elevation_ticks(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> None:
    """Hair lines at round elevations, with their figures in the margin."""
    unit, row = frame.elevation_unit_m, panel.rows["rail"]
    step = nice_step(20.0 / panel.height / unit, (1, 2, 2.5, 5))
    low = panel.base / unit
    high = low + (row.top - row.bottom - _TIERS * _TIER) / panel.height / unit
    for k in range(int(np.ceil(low / step)), int(np.floor(high / step)) + 1):
        y = float(panel.y(k * step * unit))
        sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
        decimals = 0 if step >= 1 and float(step).is_integer() else 1
        tick_figure(sheet, room, panel, y, wording.number(k * step, decimals, units=frame.units))


def _fan(sheet: Sheet, room: Room, panel: Panel, frame: Frame, rail: FloatArray) -> None:
    """True slopes at this height scale, in the emptiest lower corner of the ground."""
    slopes = _fan_slopes(frame)
    if not slopes:
        return
    words = f"{wording.grade_unit(frame.units)} at this height scale"
    width = _FAN + 22 + extent(words, CAPTION)[0]
    bottom, height = panel.rows["rail"].bottom + 4, max(rise for _, rise in slopes) + 8
    last = panel.right - width - 8
    spots = np.linspace(panel.left + 8, last, max(2, int((last - panel.left) // 60)))
    boxes = [Box(x, bottom, x + width, bottom + height) for x in spots]
    corners = [box for box in (boxes[0], boxes[-1]) if _headroom(rail, box) > 4]
    free = corners or [box for box in boxes if _headroom(rail, box) > 4]
    if free:
        box = max(free, key=lambda b: _headroom(rail, b))
        room.take(box)
        _draw_fan(sheet, box, slopes, words)


def _fan_slopes(frame: Frame) -> list[tuple[float, float]]:
    """Round slopes with their rise over the fan [pt], the steepest that fits first, 7 pt apart."""
    us = frame.units == "us"
    slopes: list[tuple[float, float]] = []
    for figure in reversed(_FAN_PERCENT if us else _FAN_PERMILLE):
        rise = figure * (PERCENT if us else PERMILLE) * frame.exaggeration * _FAN
        if 7 <= rise <= 30 and (not slopes or slopes[-1][1] - rise >= 7):
            slopes.append((figure, rise))
    return slopes


def _headroom(rail: FloatArray, box: Box) -> float:
    x = np.linspace(box.left, box.right, 24)
    return float(np.interp(x, rail[:, 0], rail[:, 1]).min()) - box.top


def _draw_fan(sheet: Sheet, box: Box, slopes: list[tuple[float, float]], words: str) -> None:
    x, y = box.left, box.bottom + 3
    corners = [(x, box.bottom), (box.right, box.bottom), (box.right, box.top), (x, box.top)]
    sheet.areas([corners], GROUND, z=2.4)
    rays = [[(x, y), (x + _FAN, y)], *([(x, y), (x + _FAN, y + rise)] for _, rise in slopes)]
    sheet.lines(rays, width=0.6, colour=INK, z=4)
    for figure, rise in slopes:
        sheet.text(x + _FAN + 3, y + rise - 2.4, f"{figure:g}", CAPTION)
    sheet.text(x + _FAN + 20, y - 1.5, words, CAPTION)
