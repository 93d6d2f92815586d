"""Curves and corners in words, beside `profiler.wording`: what people read on maps and in the console."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np

from profiler import wording
from profiler.route import Corner, CurveElement, Posts, Route
from profiler.units import FOOT, degree_of_curve

SHOWN = 5
"""More corners than these are only counted."""

KIND_WORDS = {"compound": "compound", "reverse": "reverse", "broken_back": "broken-back"}
"""Kinds of curve that are said; a simple one is just a curve."""

_ROUNDED_FROM = {"us": 5000, "metric": 1000}
"""Radii from here on are rounded to tens. [ft, m]"""


def degree_text(curvature: float) -> str:
    """ "5.2°": degree of a curvature [1/m], without its hand."""
    return f"{wording.number(abs(float(degree_of_curve(curvature))), 1)}°"


def radius_figure(curvature: float, units: str) -> str:
    """ "1,102", "336": radius of a curvature [1/m] in feet or metres."""
    radius = 1 / abs(curvature) / (FOOT if units == "us" else 1.0)
    return wording.number(round(radius, -1 if radius >= _ROUNDED_FROM[units] else 0), units=units)


def size_text(curvature: float, units: str) -> str:
    """ "5.2° (radius 1,102 ft)" or "radius 336 m (5.2°)": a curvature [1/m]."""
    degree, radius = degree_text(curvature), f"radius {radius_figure(curvature, units)} {wording.elevation_unit(units)}"
    return f"{degree} ({radius})" if units == "us" else f"{radius} ({degree})"


def short_size_text(curvature: float, units: str) -> str:
    """ "5.2°" or "336 m": a curvature [1/m] on a label."""
    return degree_text(curvature) if units == "us" else f"{radius_figure(curvature, units)} m"


def size_sure_text(curvature: float, se: float, units: str) -> str:
    """ "sure to ±0.3°" or "radius 318–356 m (95 %)": how sure a curvature [1/m] is, by its standard error."""
    reach = 1.96 * se
    if units == "us":
        degrees = degree_of_curve([abs(curvature) - reach, abs(curvature) + reach])
        half = float(np.diff(degrees)[0]) / 2
        return f"sure to ±{wording.number(half, 1 if half >= 0.095 else 2)}°"
    least = radius_figure(abs(curvature) + reach, units)
    if abs(curvature) <= reach:
        return f"radius {least} m or more (95 %)"
    return f"radius {least}–{radius_figure(abs(curvature) - reach, units)} m (95 %)"


def spirals_text(curve: CurveElement, units: str) -> str:
    """ "spirals 200 ft in, 210 ft out, sure to ±40 ft"."""
    sides = [(curve.spiral_in, "in"), (curve.spiral_out, "out")]
    words = [f"{wording.short_length_text(length, units)} {side}" for length, side in sides if length]
    if not words:
        return "no spirals"
    half = 1.96 * max(curve.spiral_in_se, curve.spiral_out_se)
    sure = f", sure to ±{wording.short_length_text(half, units)}" if half > 0 else ""
    return f"{'spirals' if len(words) > 1 else 'spiral'} {', '.join(words)}{sure}"


def curve_title(curve: CurveElement) -> str:
    """ "Curve 62C", "Curve 62C.1, arc of compound curve 62C", "Reverse curve 62D"."""
    if curve.kind == "compound":
        return f"Curve {curve.number}, arc of compound curve {curve.name}"
    words = f"{KIND_WORDS.get(curve.kind, '')} curve".strip()
    return f"{words.capitalize()} {curve.number}"


def curve_line(curve: CurveElement, units: str) -> str:
    """ "curve 62C: 5.2° (radius 1,102 ft), to the left"."""
    return f"curve {curve.number}: {size_text(curve.curvature, units)}, to the {curve.hand}"


def curve_lines(curve: CurveElement, units: str) -> list[str]:
    """Everything about a curve but its name and place."""
    turned = f"turns {wording.number(abs(math.degrees(curve.deflection)), 1)}°"
    return [
        f"{size_text(curve.curvature, units)}, to the {curve.hand}",
        size_sure_text(curve.curvature, curve.curvature_se, units),
        spirals_text(curve, units),
        f"{turned} over {wording.short_length_text(curve.end - curve.start, units)}",
    ]


def corner_text(corner: Corner, units: str) -> str:
    """ "3.2° to the left", and how far the line is set sideways."""
    parts = []
    if corner.turn:
        parts.append(f"{wording.number(abs(math.degrees(corner.turn)), 1)}° to the {_hand(corner.turn)}")
    if corner.step:
        parts.append(f"set {wording.elevation_text(abs(corner.step), units, 1)} to the {_hand(corner.step)}")
    return ", ".join(parts)


def corner_lines(corner: Corner, units: str) -> list[str]:
    """What a corner is, for who meets one on the map."""
    return [
        corner_text(corner, units),
        "bend of the drawn line that no track makes: at a switch, a bad join or a stray vertex",
        "it is no curve and counts in no figure",
    ]


def _hand(value: float) -> str:
    return "left" if value > 0 else "right"


def curve_sentences(route: Route, units: str) -> list[str]:
    """How many curves of which kind and the sharpest of them; and how many corners, where there are any.

    "curves: 61 (4 compound, 6 reverse, 2 broken-back), sharpest 8.1° (radius 708 ft), curve 62C, post 62.3".
    A compound curve counts once, with all its arcs.
    """
    sentences = [_curves_sentence(route, units)]
    if route.corners:
        sentences.append(_corners_sentence(route.corners, route.posts, units))
    return sentences


def _curves_sentence(route: Route, units: str) -> str:
    curves = route.curves
    if not curves:
        return "curves: none"
    whole = {(c.name, c.kind) for c in curves}
    kinds = Counter(kind for _, kind in whole)
    said = ", ".join(f"{kinds[kind]} {words}" for kind, words in KIND_WORDS.items() if kinds[kind])
    sharpest = max(curves, key=lambda c: abs(c.curvature))
    middle = (sharpest.start + sharpest.end) / 2
    return (
        f"curves: {len(whole)}{f' ({said})' if said else ''}, sharpest "
        f"{size_text(sharpest.curvature, units)}, curve {sharpest.number}, "
        f"{wording.stretch_words(route.posts, middle, middle)}"
    )


def _corners_sentence(corners: Sequence[Corner], posts: Posts, units: str) -> str:
    words = [
        f"{wording.stretch_words(posts, c.chainage, c.chainage, 2)}, {corner_text(c, units)}" for c in corners[:SHOWN]
    ]
    if len(corners) > SHOWN:
        words.append(f"and {len(corners) - SHOWN} more")
    return f"corners in the drawn line: {len(corners)} ({'; '.join(words)})"
