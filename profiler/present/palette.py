"""The colours of every picture, but for those of grades (`profiler.grade_classes`)."""

from __future__ import annotations

import numpy as np

INK = "#1E2329"
MUTED = "#565C64"
HAIR = "#DEDBD4"
GROUND = "#E9E4DA"
GROUND_EDGE = "#A8A297"
BAND = "#B9B5AC"
CURVE_FILL = "#C9C5BC"
WINDOW_FILL = "#D9D6CF"
PAGE = "#FAF8F3"
WHITE = "#FFFFFF"
TRAIN = "#A1214A"

WHITE_TEXT = frozenset({"#7A4E06", "#526EB4", "#1F2C63"})
"""Fills on which text is white; on all others it is ink."""


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
