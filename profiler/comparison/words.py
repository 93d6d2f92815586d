"""Figures of lines side by side in words."""

from __future__ import annotations

from profiler import wording
from profiler.units import PERCENT

_FIGURE_WORDS = {
    "length": "length",
    "rise": "total rise",
    "fall": "total fall",
    "summit": "highest point",
    "ruling_grade": "ruling",
    "ruling_grade_compensated": "compensated",
    "sustained_grade": "steepest sustained",
    "total_curvature": "curvature, all curves",
    "curves": "curves",
    "sharpest_curve": "sharpest curve",
    "in_curves": "in curves",
    "tunnels": "in tunnels",
    "bridges": "on bridges",
    "suspected": "suspected structures",
    "elevation_se": "elevation, median s.e.",
}


def invented_words(letters: tuple[str, ...], among: int) -> str:
    """Which of several lines are invented; nothing where none is."""
    if not letters or len(letters) == among:
        return wording.INVENTED if letters else ""
    return f"{', '.join(letters)} invented: not a real place, company or person."


def figure_words(key: str) -> str:
    """What people call a figure by which lines are compared."""
    return _FIGURE_WORDS[key]


def figure_text(key: str, value: float, units: str, se: float = 0.0, *, sign: bool = False) -> str:
    """A figure of a line with its unit: "52.47 km", "1.35 %", "8.1°"; ``value`` in m, %, degrees or a count.

    Digits of a grade follow its standard error ``se`` [%]. ``sign`` is for differences.
    """
    if key.endswith(("_grade", "_compensated")):
        return wording.grade_text(value * PERCENT, units, se * PERCENT, sign=sign)
    text = _plain_text(key, value, units)
    return f"+{text}" if sign and value > 0 and set(text) & set("123456789") else text


def _plain_text(key: str, value: float, units: str) -> str:
    if key in ("length", "tunnels", "bridges", "suspected"):
        return wording.distance_text(value, units, 2)
    if key in ("rise", "fall", "summit", "elevation_se"):
        return wording.elevation_text(value, units, 1 if key == "elevation_se" else 0)
    if key in ("total_curvature", "sharpest_curve"):
        return f"{wording.number(value, 1 if key == 'sharpest_curve' else 0, units=units)}°"
    return wording.number(value) + (" %" if key == "in_curves" else "")


def interval_of_difference(key: str, low: float, high: float, units: str, se: float = 0.0) -> str:
    """ "+0.12 to +0.31": the 95 % interval of a difference without its unit, as for `figure_text`."""
    ends = (figure_text(key, x, units, se, sign=True).removeprefix("≈") for x in (low, high))
    return " to ".join(end.removesuffix("°").split(" ")[0] for end in ends)
