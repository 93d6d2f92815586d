"""The printed map of a briefing: the ground as a shaded picture, the line by class of grade, its marks by number."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
import shapely
from PIL import Image
from scipy import ndimage

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.grade_classes import Limits, class_limits
from profiler.ground import Relief
from profiler.mark import Mark
from profiler.present import signs
from profiler.present.chart_frame import cut, nice_step
from profiler.present.chart_names import candidate, set_label
from profiler.present.chart_rail import take_line
from profiler.present.hillshade import OUTSIDE, jpeg, mercator, shade
from profiler.present.labels import Box, Candidate, Label, Room, place
from profiler.present.map_line import OPEN, WIDTHS_PX, class_runs, colours, simplified
from profiler.present.palette import INK, WHITE
from profiler.present.sheet import Sheet, plain
from profiler.present.train_signs import CHIP, SLACK, chip, chip_width
from profiler.present.typeface import BODY, NAME_BOLD
from profiler.units import EARTH_RADIUS, KILOMETRE, MILE, FloatArray

PAPER = 0.62
"""Widths on paper over those on a screen. [pt/px]"""
_MARGIN = 26.0
_DOTS = 200 / 72
"""Cells of the picture a point."""
_AROUND = (13.0, 20.0, 28.0, 38.0, 50.0, 64.0)
_DIRECTIONS = 12
_SIDES = (
    *((1.0, 0.0, "left"), (0.0, 1.0, "center"), (0.0, -1.0, "center"), (-1.0, 0.0, "right")),
    *((0.7, 0.7, "left"), (0.7, -0.7, "left"), (-0.7, 0.7, "right"), (-0.7, -0.7, "right")),
)
"""Where words stand about a point, and which of their sides is at it."""
_FILLED = 1.5
"""A line is turned where it is so much higher, for its width, than the frame. [-]"""
_EITHER = math.radians(60.0)
_CHEVRON_LEAST = 16.0
_LEADER_FROM = 15.0


At = Callable[[float], tuple[float, float]]
"""Place on paper [pt] of a distance travelled [m]."""


@dataclass(frozen=True, eq=False)
class PaperMap:
    """What is drawn over the ``ground``, a JPEG of the same size, empty for none; and what it shows, in words."""

    sheet: Sheet
    ground: bytes
    words: str


@dataclass(frozen=True, eq=False)
class _Plane:
    """Paper [pt] from a Mercator plane of unit sphere: turned, moved, scaled."""

    turn: FloatArray
    middle: FloatArray
    scale: float
    centre: FloatArray

    def paper(self, plane: FloatArray) -> FloatArray:
        """Places (n, 2) on paper."""
        return (plane - self.middle) @ self.turn.T * self.scale + self.centre

    def plane(self, paper: FloatArray) -> FloatArray:
        """Back again."""
        return (paper - self.centre) / self.scale @ self.turn + self.middle


def paper_map(
    briefing: Briefing, relief: Relief | None, width: float, height: float, limits: Limits | None = None
) -> PaperMap:
    """The map of a briefing whose line lies on one, in a frame of a size [pt]."""
    profile, landmarks = briefing.as_travelled
    route = profile.route
    line = np.column_stack((np.radians(np.unwrap(route.longitude, period=360.0)), mercator(route.latitude)))
    plane = _plane(line, width, height)
    keep = simplified(np.degrees(line[:, 0]), route.latitude)
    paper = plane.paper(line)
    sheet = Sheet(width, height)
    room = Room(Box(3, 3, width - 3, height - 3))
    _line(sheet, briefing, paper, limits or class_limits(landmarks.steepest_ruling))
    take_line(room, paper[keep])
    _furniture(sheet, room, plane, math.cos(math.radians(float(np.mean(route.latitude)))), profile.units)

    def at(way: float) -> tuple[float, float]:
        x, y = (float(np.interp(way, route.chainage, axis)) for axis in paper.T)
        return x, y

    for station in route.stations:
        room.take(signs.station(sheet, *at(station.chainage)))
    labels = [*_chips(briefing, at), *_names(briefing, at), *_posts(briefing, at, width)]
    placed, _ = place(labels, room, pad=1.2)
    numbered = {f"mark {mark.number}": mark for mark in briefing.marks if mark.kind not in SLACK}
    for label, chosen in placed:
        if chosen.style == "chip":
            mark = numbered[label.name]
            _chip(sheet, mark, chosen, at(float(briefing.terrain.way_at(mark.recommended))))
        else:
            set_label(sheet, chosen)
    sheet.lines([[(0, 0), (width, 0), (width, height), (0, height), (0, 0)]], width=1.0)
    ground = _ground(relief, plane, width, height) if relief is not None else b""
    return PaperMap(sheet, ground, f"Map of the line {wording.travel_words(route)} with its marks by number.")


def _plane(line: FloatArray, width: float, height: float) -> _Plane:
    """The paper's plane: a line that would leave much of the frame empty is turned along it, never upside down."""
    turn = _lying(line) if np.ptp(line[:, 1]) * width > _FILLED * np.ptp(line[:, 0]) * height else np.eye(2)
    turned = line @ turn.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    wide, tall = high - low
    scale = min((width - 2 * _MARGIN) / max(wide, 1e-9), (height - 2 * _MARGIN) / max(tall, 1e-9))
    return _Plane(turn, (low + high) / 2 @ turn, scale, np.array([width / 2, height / 2]))


def _lying(line: FloatArray) -> FloatArray:
    """The turn that lays the narrowest box about a line along the paper, by 90° at most, its start on the left where
    either would do."""
    box = shapely.oriented_envelope(shapely.MultiPoint(line))
    if box.geom_type != "Polygon":
        return np.eye(2)
    corners = shapely.get_coordinates(box)
    sides = np.diff(corners, axis=0)
    x, y = sides[int(np.argmax(np.hypot(*sides.T)))]
    angle = math.atan2(y, x)
    angle -= math.pi * round(angle / math.pi)  # within a quarter turn
    cos, sin = math.cos(angle), math.sin(angle)
    turn = np.array([[cos, sin], [-sin, cos]])
    backwards = (turn @ (line[-1] - line[0]))[0] < 0
    return -turn if backwards and abs(angle) > _EITHER else turn


def _ground(relief: Relief, plane: _Plane, width: float, height: float) -> bytes:
    """The shaded ground as the paper has it, turned and cut."""
    shading = shade(relief)
    rows, columns = (np.arange(round(side * _DOTS)) + 0.5 for side in (height, width))
    x, y = np.meshgrid(columns / _DOTS, height - rows / _DOTS)
    places = plane.plane(np.column_stack((x.ravel(), y.ravel())))
    b, shape = shading.bounds, np.shape(shading.pixels)
    top, bottom = float(mercator(b.north)), float(mercator(b.south))
    column = (np.degrees(places[:, 0]) - b.west) / (b.east - b.west) * shape[1] - 0.5
    row = (top - places[:, 1]) / (top - bottom) * shape[0] - 0.5
    bands = [
        ndimage.map_coordinates(shading.pixels[..., i], [row, column], order=1, mode="constant", cval=OUTSIDE[i])
        for i in range(3)
    ]
    picture = np.column_stack(bands).reshape(rows.size, columns.size, 3)
    return jpeg(Image.fromarray(np.ascontiguousarray(picture, dtype=np.uint8)), 82, progressive=False)


def _line(sheet: Sheet, briefing: Briefing, paper: FloatArray, limits: Limits) -> None:
    """White under ink under the colour of each class, wider where it is steeper; chevrons point downhill."""
    profile, landmarks = briefing.as_travelled
    s = profile.chainage
    fills = colours()
    sheet.lines([paper], width=11 * PAPER, colour=WHITE, z=2, cap="round")
    for start, end, steepness, cover in class_runs(profile, landmarks, limits):
        piece = np.column_stack([cut(start, end, s, axis)[1] for axis in paper.T])
        wide = WIDTHS_PX[abs(int(steepness))] * PAPER
        hidden = cover != OPEN
        dash = (3.1, 2.5) if hidden else None
        sheet.lines([piece], width=wide + 2 * PAPER, z=3, dash=dash)
        fill = fills["tunnel" if hidden else "open"][str(int(steepness))]
        sheet.lines([piece], width=wide, colour=fill, z=3.2)
        _chevrons(sheet, piece, int(steepness), wide)


def _chevrons(sheet: Sheet, piece: FloatArray, steepness: int, wide: float) -> None:
    """One, two, three beside the middle of a run of classes 2, 3, 4, downhill."""
    steps = np.hypot(*np.diff(piece, axis=0).T)
    count, length = abs(steepness) - 1, float(steps.sum())
    if count < 1 or length < _CHEVRON_LEAST:
        return
    along = np.r_[0.0, np.cumsum(steps)]
    a, middle, b = (np.array([np.interp(length / 2 + d, along, axis) for axis in piece.T]) for d in (-4.0, 0.0, 4.0))
    ahead = (b - a) / max(float(np.hypot(*(b - a))), 1e-9) * (1 if steepness < 0 else -1)
    side = np.array([-ahead[1], ahead[0]])
    foot = middle - side * (wide / 2 + 4.4)
    for i in range(count):
        tip = foot + ahead * ((i - (count - 1) / 2) * 2.6 + 1.2)
        shape = [tuple(tip - ahead * 2.2 + side * 2.2), tuple(tip), tuple(tip - ahead * 2.2 - side * 2.2)]
        sheet.lines([shape], width=2.4, colour=WHITE, z=3.4)
        sheet.lines([shape], width=0.9, z=3.6)


def _furniture(sheet: Sheet, room: Room, plane: _Plane, shrink: float, units: str) -> None:
    """Where north is, and how long a round length is here; ``shrink`` is the cosine of the latitude."""
    north = plane.turn @ np.array([0.0, 1.0])
    side = np.array([-north[1], north[0]])
    foot = np.array([24.0, sheet.height - 22.0]) - north * 8
    tip = foot + north * 18
    sheet.lines([[tuple(foot), tuple(tip)]], width=1.0, z=6)
    sheet.areas([[tuple(tip), tuple(tip - north * 6 + side * 2.6), tuple(tip - north * 6 - side * 2.6)]], INK, z=6)
    words = foot - north * 5.0
    sheet.text(float(words[0]), float(words[1]) - 2.4, "N", NAME_BOLD, align="center", halo=True)
    room.take(Box(0, sheet.height - 46, 48, sheet.height))
    unit, name = (MILE, "mi") if units == "us" else (KILOMETRE, "km")
    per_unit = unit / (EARTH_RADIUS * shrink) * plane.scale
    length = nice_step(50.0 / per_unit)
    left, y = sheet.width - 12.0 - length * per_unit, 9.0
    right = sheet.width - 12.0
    bar = [[(left, y), (right, y)], [(left, y - 2), (left, y + 4)], [(right, y - 2), (right, y + 4)]]
    sheet.lines(bar, width=3.0, colour=WHITE, z=5.5)
    sheet.lines(bar, width=0.9, z=6)
    sheet.text((left + right) / 2, y + 3.4, f"{length:g} {name}", BODY, align="center", halo=True)
    room.take(Box(left - 4, 0, sheet.width, y + 14))


def _around(x: float, y: float) -> Iterator[tuple[float, float, float]]:
    """Places about a point, the nearest first, with their distance."""
    for distance, k in product(_AROUND, range(_DIRECTIONS)):
        angle = math.pi / 2 + 2 * math.pi * k / _DIRECTIONS
        yield x + distance * math.cos(angle), y + distance * math.sin(angle), distance


def _chips(briefing: Briefing, at: At) -> Iterator[Label]:
    for mark in briefing.marks:
        way = float(briefing.terrain.way_at(mark.recommended))
        if mark.kind in SLACK or not 0.0 <= way <= briefing.terrain.length:
            continue
        half = max(chip_width(mark.number, mark.kind), CHIP) / 2 + 0.5
        spots = tuple(
            Candidate("chip", str(mark.number), x, y, "center", Box(x - half, y - half, x + half, y + half))
            for x, y, _ in _around(*at(way))
        )
        yield Label(f"mark {mark.number}", 1, spots)


def _names(briefing: Briefing, at: At) -> Iterator[Label]:
    """Stations, and the ends of the line where these have a name and no station."""
    route = briefing.as_travelled[0].route
    named = {plain(station.name): float(station.chainage) for station in route.stations}
    ends = zip(route.ends, (0.0, briefing.terrain.length), strict=True)
    for name, way in (named | {plain(name): way for name, way in ends if name and plain(name) not in named}).items():
        yield Label(name, 2, tuple(_set_about(name, *at(way), "station")))


def _posts(briefing: Briefing, at: At, width: float) -> Iterator[Label]:
    """Posts at round values, about an inch apart."""
    route = briefing.as_travelled[0].route
    posts, total = route.posts, briefing.terrain.length
    step = nice_step(total / posts.unit_m * 72 / width)
    first, last = sorted((float(posts.at(0.0)), float(posts.at(total))))
    along = np.linspace(0.0, total, 2001)
    values = posts.at(along)
    for k in range(math.ceil(first / step), math.floor(last / step) + 1):
        value = k * step
        x, y = at(float(along[int(np.argmin(np.abs(values - value)))]))
        words = wording.post_tick(posts, value, step)
        yield Label(f"post {words}", 3, tuple(_set_about(words, x, y, "landmark")))


def _set_about(words: str, x: float, y: float, style: str) -> Iterator[Candidate]:
    for distance in (9.0, 14.0, 22.0, 32.0):
        for dx, dy, align in _SIDES:
            yield candidate(style, words, x + dx * distance, y + dy * distance - 2.6, align)


def _chip(sheet: Sheet, mark: Mark, chosen: Candidate, point: tuple[float, float]) -> None:
    """A chip where it was placed, with a leader to its point where it lies apart."""
    if math.hypot(chosen.x - point[0], chosen.y - point[1]) > _LEADER_FROM:
        leader = [point, (chosen.x, chosen.y)]
        sheet.lines([leader], width=1.6, colour=WHITE, z=3.7)
        sheet.lines([leader], width=0.5, z=3.8)
    chip(sheet, chosen.x, chosen.y, mark.number, mark.kind)
