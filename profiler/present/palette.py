"""The colours of every picture, and the classes of grade they stand for.

Up is ochre, down is indigo, as travelled. At the same steepness down is one tone darker than up,
so that a grey copy still tells all classes apart.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

INK = "#1E2329"
MUTED = "#565C64"
HAIR = "#DEDBD4"
HAIR_PANEL = "#CFCBC3"
GROUND = "#E9E4DA"
GROUND_EDGE = "#A8A297"
BAND = "#B9B5AC"
CURVE_FILL = "#C9C5BC"
WINDOW_FILL = "#D9D6CF"
PAGE = "#FAF8F3"
WHITE = "#FFFFFF"
TRAIN = "#A1214A"

UP = ("#F1F0EC", "#F0DFBA", "#DDB25E", "#B97F22", "#7A4E06")
"""Level, then classes 1 to 4, climbing."""
DOWN = ("#F1F0EC", "#CDD5EA", "#91A5D3", "#526EB4", "#1F2C63")
"""Level, then classes 1 to 4, falling."""
WHITE_TEXT = frozenset({"#7A4E06", "#526EB4", "#1F2C63"})
"""Fills on which text is white; on all others it is ink."""

Limits = tuple[float, float, float, float]
DEFAULT_LIMITS: Limits = (0.001, 0.005, 0.01, 0.02)
"""Lower limits of classes 1 to 4. [m/m]"""
STEEP_LIMITS: Limits = (0.001, 0.01, 0.02, 0.03)
"""The same for lines whose ruling grade is over 3 %. [m/m]"""
STEEP_RULING = 0.03
"""Ruling grade above which a line is steep. [m/m]"""


def class_limits(ruling_grade: float) -> Limits:
    """Class limits [m/m] for a line of a ruling grade [m/m]."""
    return STEEP_LIMITS if ruling_grade > STEEP_RULING else DEFAULT_LIMITS


def grade_class(grade: npt.ArrayLike, limits: Limits = DEFAULT_LIMITS) -> npt.NDArray[np.int_]:
    """Class 0 (level) to 4 of grades [m/m] of any shape, by steepness alone.

    A class owns its lower limit: 1 % is heavy, a hair under it is moderate. The steepness is
    rounded to a millionth first, so that a grade written 0.01 is not lost to its last bit.
    """
    steepness = np.round(np.abs(np.asarray(grade, dtype=float)), 6)
    return np.searchsorted(np.asarray(limits), steepness, side="right")


def grade_colour(grade: float, limits: Limits = DEFAULT_LIMITS) -> str:
    """Fill for a grade as travelled [m/m]: hexadecimal sRGB."""
    shade = int(grade_class(grade, limits))
    return UP[shade] if grade > 0 else DOWN[shade]


def text_colour(fill: str) -> str:
    """Ink or white, whichever reads on a fill."""
    return WHITE if fill.upper() in WHITE_TEXT else INK


def luminance(colour: str) -> float:
    """Relative luminance of "#RRGGBB", 0 to 1.

    Notes
    -----
    WCAG 2.2, "relative luminance": sRGB made linear, 0.2126 R + 0.7152 G + 0.0722 B.
    """
    channel = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(channel <= 0.04045, channel / 12.92, ((channel + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, "contrast ratio")."""
    dark, light = sorted((luminance(first), luminance(second)))
    return (light + 0.05) / (dark + 0.05)


def lightness(colour: str) -> float:
    """CIE 1976 lightness L* of "#RRGGBB", 0 to 100 (CIE 15:2004, eq. 8.3)."""
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3
