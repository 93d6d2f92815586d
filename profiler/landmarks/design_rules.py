"""Rules of thumb of track design for curves: what practice would give, never what lies there.

Rules are written in inches, miles per hour and degrees as their sources have them (AREMA Manual for
Railway Engineering, chapter 5; 49 CFR 213.57); arguments and results are SI.
"""

from __future__ import annotations

from profiler.units import FOOT, INCH, MPH, degree_of_curve

TIGHTEST_DEGREE = 15.0
"""Main lines are seldom built with tighter curves: long cars and large locomotives need slow speed and
care there (common practice). By the 100-ft chord: radius 117 m. [degree]"""

LARGEST_CANT = 6 * INCH
"""Largest cant customary where passengers are carried too; freight railways stay below it (common
practice; 49 CFR 213.57(a) allows 7 or 8 in). [m]"""

LARGEST_UNBALANCE = 3 * INCH
"""Customary largest unbalance, that of the standard speed formula of 49 CFR 213.57(b). [m]"""


def balanced_cant(curvature: float, speed: float) -> float:
    """Cant [m] at which the weight presses on both rails alike, for a curvature [1/m] and a speed [m/s].

    E = 0.0007·D·V² inches, D in degrees by the 100-ft chord, V in mph (49 CFR 213.57(b) without
    unbalance). The metric 11.8·V²/R mm gives 1.6 % less.
    """
    return 0.0007 * abs(float(degree_of_curve(curvature))) * (speed / MPH) ** 2 * INCH


def spiral_length(cant: float, unbalance: float, speed: float) -> float:
    """Least spiral [m] for a cant and an unbalance [m] to be reached, at a speed [m/s].

    The greatest of 62·E_a (twist), 1.22·E_a·V (rise of the cant in time) and 1.63·E_u·V (comfort),
    feet with inches and mph (AREMA Manual, chapter 5, spirals).
    """
    cant_in, unbalance_in, mph = cant / INCH, unbalance / INCH, speed / MPH
    return max(62 * cant_in, 1.22 * cant_in * mph, 1.63 * unbalance_in * mph) * FOOT


def shortest_spiral(balanced: float, speed: float) -> float:
    """Spiral [m] that practice asks at least for a balanced cant [m] at a speed [m/s], whatever cant lies there.

    The cant is not known. It is taken where it asks for the shortest spiral between the balanced
    cant, at most `LARGEST_CANT`, and `LARGEST_UNBALANCE` less than that: a spiral shorter than this is
    short for every customary cant.
    """
    mph = speed / MPH
    by_cant, by_unbalance = max(62.0, 1.22 * mph), 1.63 * mph
    level = balanced * by_unbalance / (by_cant + by_unbalance)  # where both ask for the same length
    cant = min(max(level, balanced - LARGEST_UNBALANCE), LARGEST_CANT)
    return spiral_length(cant, min(balanced - cant, LARGEST_UNBALANCE), speed)
