"""The rows of a strip chart that read at a glance: Posts, Speed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from profiler import wording
from profiler.present import signs
from profiler.present.chart_frame import Frame, Panel, nice_step
from profiler.present.chart_names import RANK_POST, RANK_STATION, baseline, candidate, gutter
from profiler.present.ink import Points
from profiler.present.labels import Box, Label, Room
from profiler.present.palette import GROUND, HAIR
from profiler.present.sheet import Sheet, plain
from profiler.route import Posts, Route, SpeedLimit

_LEAST_LABEL_STEP = 36.0
_LEAST_TICK_STEP = 5.0
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
        figure = wording.post_tick(posts, value, step)
        for y in (top + 8, foot - 12.5):
            labels.append(Label(f"post {figure}", RANK_POST, (candidate("post", figure, x, y, "center"),)))
    sheet.lines(ticks, width=0.8, z=4)
    sheet.lines(hairs, width=0.5, colour=HAIR, z=0.5)
    return labels + _equations(sheet, panel, posts, top)


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
        steps = range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1)
        for k in steps if vb > va else reversed(steps):  # in order of the line: what ends one piece begins the next
            x = float(panel.x(a + (k * step - va) / (vb - va) * (b - a)))
            if last is None or abs(x - last) > 1e-3:
                yield x, k * step
            last = x


def _equations(sheet: Sheet, panel: Panel, posts: Posts, top: float) -> list[Label]:
    """Where the posts jump, a double tick with the post back and the post ahead."""
    labels = []
    for place, back, ahead in posts.equations:
        if not panel.holds(place):
            continue
        x = float(panel.x(place))
        signs.equation(sheet, x, top)
        words = wording.equation_text(posts, back, ahead, bare=True)
        choices = (
            candidate("post", words, x, top + 17.5, "center"),
            candidate("post", words, x + 4, top + 8),
        )
        labels.append(Label(f"post equation {words}", RANK_POST + 0.5, choices))
    return labels


def speed_height(panel: Panel, route: Route, fastest: float = 0.0) -> float:
    """How high a speed is in the Speed row that holds all limits, and a speed of ``fastest`` [m/s]. [pt per m/s]"""
    row = panel.rows["speed"]
    return (row.top - row.bottom - 10) / max([fastest, *(x.speed for x in (*route.limits, *route.slow_orders))])


def draw_speed(sheet: Sheet, room: Room, panel: Panel, frame: Frame, fastest: float = 0.0) -> list[Label]:
    """Limits as steps over a pale fill, a second class of train dashed, slow orders as hatched posts.

    The row is high enough for a speed of ``fastest`` [m/s].
    """
    route = frame.profile.route
    gutter(sheet, panel, "speed", "Speed", [wording.speed_unit(frame.units)])
    row = panel.rows["speed"]
    sheet.lines([[(panel.left, row.bottom), (panel.right, row.bottom)]], width=0.5, z=3)
    tall = speed_height(panel, route, fastest)
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
