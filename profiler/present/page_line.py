"""The line of a page as travelled in one direction, in plain values: by distance travelled, words in both units."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.grade_classes import Limits, grade_class, grade_colour
from profiler.ground import Bounds
from profiler.landmark import Landmarks
from profiler.mechanics.terrain import Terrain
from profiler.present import map_curves, map_line, map_marks
from profiler.present.chart_blocks import blocks_of, outline
from profiler.present.chart_frame import frame_of
from profiler.present.hillshade import mercator
from profiler.present.page_pack import Packer
from profiler.profile import Profile
from profiler.route import Posts, Route, SpeedLimit
from profiler.train_words import speed_text
from profiler.units import EARTH_RADIUS, POST_UNITS, FloatArray

UNITS = ("us", "metric")
STATION = 50.0
"""Rail and ground are told so often. [m]"""
_SCALE = 0.06
"""Of the page's picture at its widest, by which edges and vertical curves are drawn. [px/m]"""
_DECIMETRE, _GRADE_STEP = 0.1, 1e-5
_BEYOND_PLUS = {"km": (1000, 3), "mi": (5280, 4)}
"""Length of a post unit in what stands behind the plus of a post, and its digits."""
_SIGNS = ("crest", "sag", "break", "station", "tunnel", "bridge", "suspected", "equation")
"""Signs of the map that Section shows too."""


def line_view(
    profile: Profile, landmarks: Landmarks, terrain: Terrain, limits: Limits, packer: Packer
) -> dict[str, Any]:
    """Rail, ground, grades, posts, signs, curves and limits of a line.

    Parameters
    ----------
    profile, landmarks : Profile, Landmarks
        As travelled.
    terrain : Terrain
        Of the same direction: it turns chainage into distance travelled.
    limits : tuple of float
        Lower limits of grade classes 1 to 4. [m/m]
    packer : Packer
        Takes the arrays.
    """
    route = profile.route
    return {
        "direction": terrain.direction,
        "towards": wording.towards(route, "with"),
        "length": round(terrain.length, 2),
        "rail": _rail(profile, packer),
        "posts": _posts(route),
        "steps": _steps(profile, landmarks, limits),
        "runs": map_line.class_runs(profile, landmarks, limits),
        "signs": _in_both(profile, lambda p: map_marks.marks(p, landmarks), _SIGNS),
        "curves": _curves(profile, landmarks),
        "limits": [_limit(x, slow) for x, slow in _bounds(route)],
    }


def in_units(profile: Profile, units: str) -> Profile:
    """The same profile for people who read other units."""
    return dataclasses.replace(profile, units=units)


def read_in(briefing: Briefing, units: str) -> Briefing:
    """The same briefing for people who read other units."""
    return dataclasses.replace(briefing, profile=in_units(briefing.profile, units))


def _rail(profile: Profile, packer: Packer) -> dict[str, Any]:
    s = profile.chainage
    places = np.linspace(s[0], s[-1], int(np.ceil((s[-1] - s[0]) / STATION)) + 1)

    def told(values: FloatArray, step: float) -> dict[str, Any]:
        known = np.isfinite(values)
        if not known.any():
            return packer.add(np.full(places.size, np.nan), step)
        found = np.interp(places, s[known], values[known])
        near = np.clip(np.searchsorted(s, places), 0, s.size - 1)
        return packer.add(np.where(known[near], found, np.nan), step)

    return {
        "elevation": told(profile.elevation, _DECIMETRE),
        "half": told(1.96 * profile.elevation_se, _DECIMETRE),
        "ground": told(profile.ground, _DECIMETRE),
        "grade": told(profile.grade, _GRADE_STEP),
        "grade_se": told(profile.grade_se, _GRADE_STEP),
    }


def _posts(route: Route) -> dict[str, Any]:
    posts = route.posts
    start, end = float(route.chainage[0]), float(route.chainage[-1])
    far = end - start
    inside = [float(x) for x in posts.chainage if start < x < end]
    knots: list[list[float]] = []
    for x in [start - far, *sorted({start, *inside, end}), end + far]:
        back, ahead = _sides(posts, x)
        knots += [[x, back]] if back == ahead else [[x, back], [x, ahead]]
    return {
        "knots": knots,
        "whole": [[round(place, 1), int(post)] for post, place in route.whole_posts],
        "unit_m": POST_UNITS[posts.unit],
        "prefix": f"{('' if posts.unit == 'mi' else 'km') if posts.prefix is None else posts.prefix} ".lstrip(),
        "plus": _BEYOND_PLUS[posts.unit] if posts.plus else None,
        "words": map_marks.post_unit_words(posts),
    }


def _sides(posts: Posts, chainage: float) -> tuple[float, float]:
    """Post back and post ahead of a place: two where there is an equation."""
    for at, back, ahead in posts.equations:
        if at == chainage:
            return back, ahead
    value = float(posts.at(chainage))
    return value, value


def _steps(profile: Profile, landmarks: Landmarks, limits: Limits) -> list[dict[str, Any]]:
    blocks = blocks_of(frame_of(profile, landmarks, limits, _SCALE))
    found = []
    for i, block in enumerate(blocks):
        run = block.run
        places, grades = outline(blocks, i)
        found.append(
            {
                "start": round(run.start, 1),
                "end": round(run.end, 1),
                "grade": round(run.grade, 6),
                "class": int(grade_class(run.grade, limits)),
                "fill": grade_colour(run.grade, limits),
                "edge": [[round(float(x), 1), round(float(g), 6)] for x, g in zip(places, grades, strict=True)],
                "end_se": round(run.end_se, 1),
                "curved": block.end_curve > 0,
                "sure": block.end_sure,
                "figure": {u: wording.grade_figure(abs(run.grade), u, run.grade_se) for u in UNITS},
                "long": {u: wording.distance_text(run.end - run.start, u) for u in UNITS},
            }
        )
    return found


def _in_both(profile: Profile, made: Any, kinds: tuple[str, ...]) -> list[dict[str, Any]]:
    """Signs of the map with their words in both units."""
    us, metric = ([x for x in made(in_units(profile, u)) if x["sign"] in kinds] for u in UNITS)
    words = ("label", "short", "title", "where", "lines")
    return [
        {key: a[key] for key in ("sign", "at", "start", "end")}
        | {"us": {w: a[w] for w in words}, "metric": {w: b[w] for w in words}}
        for a, b in zip(us, metric, strict=True)
    ]


def _curves(profile: Profile, landmarks: Landmarks) -> list[dict[str, Any]]:
    marks = {m["at"]: m for m in _in_both(profile, lambda p: map_curves.curve_marks(p, landmarks), ("bend",))}
    found = []
    for curve in profile.route.curves:
        words = marks.get(round((curve.start + curve.end) / 2, 1))
        if words is not None:
            knots = [round(x, 1) for x in curve.knots]
            found.append({"knots": knots, "curvature": curve.curvature, "us": words["us"], "metric": words["metric"]})
    return found


def _bounds(route: Route) -> list[tuple[SpeedLimit, bool]]:
    return [*((x, False) for x in route.limits), *((x, True) for x in route.slow_orders)]


def _limit(limit: SpeedLimit, slow: bool) -> dict[str, Any]:
    named = [word for word in (limit.train_class, limit.reason) if word]
    return {
        "start": round(limit.start, 1),
        "end": round(limit.end, 1),
        "speed": limit.speed,
        "class": limit.train_class,
        "slow": slow,
        **{u: " · ".join([speed_text(limit.speed, u), *named]) for u in UNITS},
    }


def plan_data(route: Route, bounds: Bounds | None, packer: Packer) -> dict[str, Any]:
    """The line on the ground by chainage, in metres of a Mercator plane true to scale at its middle latitude.

    ``frame`` are the edges west, south, east, north of a picture of the ground with these bounds.
    """
    longitude = np.unwrap(route.longitude, period=360.0)
    keep = map_line.simplified(longitude, route.latitude)
    scale = EARTH_RADIUS * np.cos(np.radians((route.latitude.min() + route.latitude.max()) / 2))
    x, y = np.radians(longitude[keep]) * scale, mercator(route.latitude[keep]) * scale
    return {
        "s": packer.add(route.chainage[keep] - route.chainage[0], _DECIMETRE),
        "x": packer.add(x - x[0], _DECIMETRE),
        "y": packer.add(y - y[0], _DECIMETRE),
        "frame": [
            float(edge - zero)
            for edge, zero in (
                (np.radians(bounds.west) * scale, x[0]),
                (mercator(bounds.south) * scale, y[0]),
                (np.radians(bounds.east) * scale, x[0]),
                (mercator(bounds.north) * scale, y[0]),
            )
        ]
        if bounds is not None
        else None,
    }
