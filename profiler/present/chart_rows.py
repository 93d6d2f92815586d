"""The rows of a strip chart that read at a glance: Posts, Curves, Speed."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from profiler import wording
from profiler.present import signs
from profiler.present.chart_frame import Frame, Panel, nice_step
from profiler.present.chart_names import RANK_CURVE, RANK_POST, RANK_STATION, baseline, candidate, gutter
from profiler.present.labels import Box, Label, Room
from profiler.present.palette import CURVE_FILL, GROUND, HAIR, INK, WHITE
from profiler.present.sheet import Points, Sheet, plain
from profiler.route import CurveElement, Posts, SpeedLimit

_LEAST_LABEL_STEP = 36.0
_LEAST_TICK_STEP = 5.0
_NARROW_CURVE = 7.0
_SLIVER = 14.0


def draw_posts(sheet: Sheet, panel: Panel, posts: Posts, lines: tuple[str, ...] = ()) -> list[Label]:
    """The ruler at the top and its repetition at the foot, with a hair line down from every label.

    ``lines`` stand in the gutter under what the ruler counts in.
    """
    unit = ("miles" if posts.unit == "mi" else "km") if posts.stated else f"from the start, {posts.unit}"
    gutter(sheet, panel, "posts", "Posts", [unit, *lines])
    step = label_step(panel, posts)
    fine = _tick_step(step, panel.scale * posts.unit_m)
    top, foot = panel.rows["posts"].bottom, panel.rows["foot"].top
    baseline(sheet, panel, top, 0.8)
    baseline(sheet, panel, foot, 0.8)
    labels: list[Label] = []
    ticks: list[Points] = [
        [(x, y), (x, y + up)] for x, _ in _multiples(panel, posts, fine) for y, up in ((top, 2.4), (foot, -2.4))
    ]
    hairs: list[Points] = []
    for x, value in _multiples(panel, posts, step):
        ticks += [[(x, top), (x, top + 5)], [(x, foot), (x, foot - 5)]]
        hairs.append([(x, foot), (x, top)])
        figure = wording.post_value(value, max(0, -math.floor(math.log10(step))))
        for y in (top + 8, foot - 12.5):
            labels.append(Label(f"post {figure}", RANK_POST, (candidate("post", figure, x, y, "center"),)))
    sheet.lines(ticks, width=0.8, z=4)
    sheet.lines(hairs, width=0.5, colour=HAIR, z=0.5)
    return labels + _equations(sheet, panel, posts, top)


def curve_unit_words(units: str) -> str:
    """What the figures of curves are: "degrees" or "radius, m"."""
    return "degrees" if units == "us" else "radius, m"


def label_step(panel: Panel, posts: Posts) -> float:
    """Distance between labelled posts, at least half an inch on paper. [post unit]"""
    least = _LEAST_LABEL_STEP / (panel.scale * posts.unit_m)
    return nice_step(least)


def _tick_step(step: float, unit_pt: float) -> float:
    """Fifths of a labelled step, or halves of it where fifths would be too dense."""
    return next((step / n for n in (5, 4, 2) if step / n * unit_pt >= _LEAST_TICK_STEP), step)


def _multiples(panel: Panel, posts: Posts, step: float) -> Iterator[tuple[float, float]]:
    """Places [pt] of posts that are multiples of a step, with their values, piece by piece."""
    inside = posts.chainage[(posts.chainage > panel.start) & (posts.chainage < panel.end)]
    edges = np.unique(np.r_[panel.start, inside, panel.end])
    ahead = posts.at(edges[:-1])
    back = posts.at(np.nextafter(edges[1:], -np.inf))
    last = None
    for a, b, va, vb in zip(edges[:-1], edges[1:], ahead, back, strict=True):
        low, high = min(va, vb), max(va, vb)
        if high == low:
            continue
        for k in range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1):
            x = float(panel.x(a + (k * step - va) / (vb - va) * (b - a)))
            if last is None or abs(x - last) > 1e-3:
                yield x, k * step
            last = x


def _equations(sheet: Sheet, panel: Panel, posts: Posts, top: float) -> list[Label]:
    """Where the posts jump, a double tick with the post back and the post ahead."""
    labels = []
    for i in np.flatnonzero(np.diff(posts.chainage) == 0):
        place = float(posts.chainage[i])
        if not panel.holds(place):
            continue
        x = float(panel.x(place))
        sheet.lines([[(x - 1, top), (x - 1, top + 7)], [(x + 1, top), (x + 1, top + 7)]], width=0.8, z=4)
        words = " = ".join(wording.post_value(float(v), 2) for v in posts.value[i : i + 2])
        choices = (
            candidate("post", words, x, top + 17.5, "center"),
            candidate("post", words, x + 4, top + 8),
        )
        labels.append(Label(f"post equation {words}", RANK_POST + 0.5, choices))
    return labels


def draw_curves(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> list[Label]:
    """Curvature by hand, as tall as the tightest curve of the line asks for."""
    gutter(sheet, panel, "curves", "Curves", [curve_unit_words(frame.units), "left up,", "right down"])
    return draw_bends(sheet, room, panel, frame, max(abs(c.curvature) for c in frame.profile.route.curves))


def draw_bends(sheet: Sheet, room: Room, panel: Panel, frame: Frame, tightest: float) -> list[Label]:
    """Left up and grey, right down and white; ramps are spirals. The row is full at ``tightest`` [1/m]."""
    row = panel.rows["curves"]
    zero = (row.bottom + row.top) / 2
    baseline(sheet, panel, zero, 0.6)
    curves = frame.profile.route.curves
    if not curves:
        return []
    tall = ((row.top - row.bottom) / 2 - 10) / tightest
    narrow = float(np.median([c.end - c.start for c in curves])) * panel.scale < _NARROW_CURVE
    here = [c for c in curves if panel.clipped(c.start, c.end)]
    for left in (True, False):
        shapes = [_trapezoid(panel, c, zero, tall) for c in here if (c.curvature > 0) == left]
        sheet.areas(shapes, CURVE_FILL if left else WHITE, edge=INK, width=0.35 if narrow else 0.6, z=3)
        for shape in shapes:
            x, y = zip(*shape, strict=True)
            room.take(Box(min(x), min(y), max(x), max(y)), "curve")
    named = _tightest_per_step(panel, frame, here) if narrow else here
    return [_curve_label(panel, frame, c, zero, tall) for c in sorted(named, key=lambda c: -abs(c.curvature))]


def _trapezoid(panel: Panel, curve: CurveElement, zero: float, tall: float) -> list[tuple[float, float]]:
    body = (curve.start + curve.spiral_in, curve.end - curve.spiral_out)
    places = (curve.start, *body, curve.end)
    heights = (0.0, curve.curvature, curve.curvature, 0.0)
    kept = np.clip(places, panel.start, panel.end)
    k = np.interp(kept, places, heights) if places[0] < body[0] else np.array(heights)
    return [(float(panel.x(s)), zero + float(v) * tall) for s, v in zip(kept, k, strict=True)]


def _tightest_per_step(panel: Panel, frame: Frame, curves: list[CurveElement]) -> list[CurveElement]:
    """The tightest curve of each hand between two labelled posts."""
    posts = frame.profile.route.posts
    step = label_step(panel, posts)
    best: dict[tuple[int, bool], CurveElement] = {}
    for curve in curves:
        key = (int(posts.at((curve.start + curve.end) / 2) // step), curve.curvature > 0)
        if key not in best or abs(curve.curvature) > abs(best[key].curvature):
            best[key] = curve
    return list(best.values())


def _curve_label(panel: Panel, frame: Frame, curve: CurveElement, zero: float, tall: float) -> Label:
    words = wording.curve_figure(curve.curvature, frame.units)
    middle = (curve.start + curve.spiral_in + curve.end - curve.spiral_out) / 2
    x, edge = float(panel.x(middle)), zero + curve.curvature * tall
    y = edge + 3.2 if curve.curvature > 0 else edge - 8.4
    choices = tuple(candidate("curve", words, x + dx, y, "center") for dx in (0.0, -5.0, 5.0))
    where = wording.post_text(frame.profile.route.posts, middle)
    name = f"curve {wording.curve_text(curve.curvature, frame.units)}, {where}"
    return Label(name, RANK_CURVE, choices if panel.holds(middle) else ())


def draw_speed(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> list[Label]:
    """Limits as steps over a pale fill, a second class of train dashed, slow orders as hatched posts."""
    route = frame.profile.route
    gutter(sheet, panel, "speed", "Speed", [wording.speed_unit(frame.units)])
    row = panel.rows["speed"]
    sheet.lines([[(panel.left, row.bottom), (panel.right, row.bottom)]], width=0.5, z=3)
    fastest = max((x.speed for x in (*route.limits, *route.slow_orders)), default=1.0)
    tall = (row.top - row.bottom - 10) / fastest
    labels: list[Label] = []
    for order in route.slow_orders:
        labels += _slow_order(sheet, room, panel, frame, order)
    classes = list(dict.fromkeys(limit.train_class for limit in route.limits))
    for i, name in enumerate(classes):
        limits = [x for x in route.limits if x.train_class == name]
        labels += _limits(sheet, panel, frame, limits, tall, dashed=i > 0)
    return labels


def _limits(
    sheet: Sheet, panel: Panel, frame: Frame, limits: list[SpeedLimit], tall: float, *, dashed: bool
) -> list[Label]:
    bottom, labels, named = panel.rows["speed"].bottom, [], False
    line: list[tuple[float, float]] = []
    lines = [line]
    for limit in limits:
        part = panel.clipped(limit.start, limit.end)
        if part is None:
            continue
        x0, x1, y = float(panel.x(part[0])), float(panel.x(part[1])), bottom + limit.speed * tall
        if line and abs(line[-1][0] - x0) > 0.5:
            line = []
            lines.append(line)
        line += [(x0, y), (x1, y)]
        if x1 - x0 < _SLIVER and part[0] > limit.start:
            continue
        words = wording.speed_figure(limit.speed, frame.units)
        if limit.train_class and not named:
            words, named = f"{words} {plain(limit.train_class)}", True
        where = wording.post_text(frame.profile.route.posts, part[0])
        spots = ((x0 + 3, y + 2.6), (x0 + 3, y - 8.2))
        choices = tuple(candidate("speed", words, x, at, "left") for x, at in spots)
        labels.append(Label(f"limit {words}, {where}", RANK_STATION, choices))
    if not dashed:
        sheet.areas([[(a[0][0], bottom), *a, (a[-1][0], bottom)] for a in lines if a], GROUND, z=1, alpha=0.6)
    sheet.lines([a for a in lines if a], width=1.1, z=4, dash=(4.0, 2.0) if dashed else None)
    return labels


def _slow_order(sheet: Sheet, room: Room, panel: Panel, frame: Frame, order: SpeedLimit) -> list[Label]:
    part = panel.clipped(order.start, order.end)
    if part is None:
        return []
    row = panel.rows["speed"]
    middle = float(panel.x((part[0] + part[1]) / 2))
    half = max(2.5, (part[1] - part[0]) * panel.scale / 2)
    signs.hatched_post(sheet, middle - half, middle + half, row.bottom, row.top - 10)
    room.take(Box(middle - half, row.bottom, middle + half, row.top - 10))
    words = " · ".join(filter(None, (wording.speed_figure(order.speed, frame.units), plain(order.reason))))
    choices = tuple(
        candidate("slow", words, middle + dx, row.top - 7, align)
        for align, dx in (("center", 0.0), ("left", -half), ("right", half))
    )
    where = wording.post_text(frame.profile.route.posts, order.start)
    return [Label(f"slow order {words}, {where}", RANK_STATION, choices)]
