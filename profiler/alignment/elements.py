"""Kinds of element, and what is customary of them."""

from __future__ import annotations

from profiler.units import curvature_of_degree

TANGENT, ENTRY, CIRCLE, EXIT, BETWEEN = 0, 1, 2, 3, 4
"""Kinds of element: BETWEEN is the transition inside a compound curve."""

CELL = 20.0
"""Elements begin and end at nodes so far apart; the joint fit then moves them. [m]"""

DEGREE = float(curvature_of_degree(1.0))
"""Curvature of one degree of curve. [1/m]"""

SPIRAL_BASE, SPIRAL_RATE, SPIRAL_DEGREES = 60.0, 14.0, 12.0
"""A customary spiral is this long [m], and this much longer [m] for every degree, up to so many of them."""
