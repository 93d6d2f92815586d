"""Colours: contrast on what they lie on, order in grey, classes of grade."""

from __future__ import annotations

import numpy as np
import pytest

from profiler import grade_classes
from profiler.present import palette


def test_contrast_of_black_and_white():
    """Published: WCAG 2.2, "contrast ratio": 21:1 is the largest there is, 1:1 the least."""
    assert palette.contrast("#000000", "#FFFFFF") == pytest.approx(21.0, abs=1e-12)
    assert palette.contrast("#777777", "#777777") == 1.0


def test_contrast_of_a_known_grey():
    """Published: W3C Understanding SC 1.4.3: #767676 is the lightest grey that reaches 4.5:1 on white."""
    assert palette.contrast("#767676", "#FFFFFF") >= 4.5 > palette.contrast("#777777", "#FFFFFF")


def test_luminance_of_primaries():
    """Published: WCAG 2.2, "relative luminance": the three weights are those of the pure primaries."""
    primaries = [palette.luminance(c) for c in ("#FF0000", "#00FF00", "#0000FF")]
    assert primaries == pytest.approx([0.2126, 0.7152, 0.0722])


def test_lightness_of_middle_grey():
    """Worked: sRGB #777777 has Y = ((119/255 + .055)/1.055)^2.4 = 0.18448, so L* = 116 Y^(1/3) − 16 = 50.03."""
    assert palette.lightness("#777777") == pytest.approx(50.03, abs=0.01)
    assert palette.lightness("#000000") == 0.0


@pytest.mark.parametrize(
    ("role", "grounds"),
    [
        (palette.INK, (palette.WHITE, palette.PAGE, palette.GROUND)),
        (palette.MUTED, (palette.WHITE, palette.PAGE, palette.GROUND)),
        (palette.TRAIN, (palette.WHITE, palette.PAGE, palette.GROUND)),
    ],
)
def test_text_reads_on_what_it_lies_on(role, grounds):
    """Published: WCAG 2.2 SC 1.4.3: text needs 4.5:1."""
    assert min(palette.contrast(role, ground) for ground in grounds) >= 4.5


@pytest.mark.parametrize("fill", sorted({*grade_classes.UP, *grade_classes.DOWN}))
def test_figures_read_inside_their_block(fill):
    """Published: WCAG 2.2 SC 1.4.3: text needs 4.5:1, in ink or in white as the fill asks."""
    assert palette.contrast(palette.text_colour(fill), fill) >= 4.5


def test_grey_order_interleaves():
    """Law: in grey a steeper class is darker, and down is darker than up of the same class."""
    tones = [palette.lightness(grade_classes.UP[0])]
    for up, down in zip(grade_classes.UP[1:], grade_classes.DOWN[1:], strict=True):
        tones += [palette.lightness(up), palette.lightness(down)]
    assert (np.diff(tones) < -3).all()


def test_a_class_owns_its_lower_limit():
    """Worked: limits 0.1, 0.5, 1 and 2 %: each limit itself is already the steeper class, either way."""
    grade = np.array([0, 0.0009, 0.001, 0.005, 0.00999, 0.01, 0.02, 0.5])
    expected = [0, 0, 1, 2, 2, 3, 4, 4]
    assert grade_classes.grade_class(grade).tolist() == expected
    assert grade_classes.grade_class(-grade).tolist() == expected


def test_a_limit_is_not_lost_to_its_last_bit():
    """Worked: 0.1 × 3 − 0.29 is 0.01 less one unit in the last place, and still 1 %."""
    almost = 0.1 * 3 - 0.29 - 1e-15
    assert almost < 0.01
    assert grade_classes.grade_class(almost) == 3


def test_steep_lines_have_their_own_limits():
    """Worked: a line is steep when its ruling grade is over 3 %, not at 3 %."""
    assert grade_classes.class_limits(0.03) == grade_classes.DEFAULT_LIMITS
    assert grade_classes.class_limits(0.0301) == grade_classes.STEEP_LIMITS
    assert grade_classes.grade_class([0.005, 0.02, 0.03], grade_classes.STEEP_LIMITS).tolist() == [1, 3, 4]


def test_colour_follows_sense_and_class():
    """Worked: +1.5 % is heavy ochre, −1.5 % heavy indigo, 0.05 % level either way."""
    assert grade_classes.grade_colour(0.015) == "#B97F22"
    assert grade_classes.grade_colour(-0.015) == "#526EB4"
    assert grade_classes.grade_colour(0.0005) == grade_classes.grade_colour(-0.0005) == "#F1F0EC"
