"""Profiles of known elevation on a straight line, for tests of what is read off a profile."""

from __future__ import annotations

import numpy as np

from profiler.profile import Draws, Profile
from profiler.route import Posts, Route


def profile_of(
    chainage: np.ndarray,
    elevation: np.ndarray,
    *,
    curvature: np.ndarray | float = 0.0,
    draws: np.ndarray | None = None,
    nodes: np.ndarray | None = None,
    grade_se: float = 0.0003,
) -> Profile:
    """A profile of elevations [m] at chainages [m], linear between; without draws it is sure of itself."""
    s, z = np.asarray(chainage, float), np.asarray(elevation, float)
    grade = np.diff(z) / np.diff(s)
    route = Route(
        chainage=s,
        longitude=-31 + s / 87_000,
        latitude=np.full(s.size, -38.0),
        heading=np.full(s.size, np.pi / 2),
        curvature=np.broadcast_to(curvature, s.shape),
        curvature_se=np.zeros(s.size),
        lateral_se=np.zeros(s.size),
        posts=Posts(np.array([0.0]), np.array([0.0])),
    )
    nodes = s if nodes is None else nodes
    return Profile(
        route=route,
        ground=z,
        elevation=z,
        elevation_se=np.zeros(s.size),
        grade=np.r_[grade, grade[-1]],
        grade_se=np.full(s.size, grade_se),
        structure_probability=np.zeros(s.size),
        ground_source=np.zeros(s.size),
        ground_weight=np.ones(s.size),
        draws=Draws(nodes, np.tile(np.interp(nodes, s, z), (3, 1)) if draws is None else draws),
    )


def of_pvis(place: list[float], grades: list[float], *, start: float = 100.0, step: float = 10.0) -> Profile:
    """A profile of tangents between points of intersection [m], of grades [m/m]."""
    pvis = np.asarray(place, float)
    heights = start + np.r_[0.0, np.cumsum(np.diff(pvis) * np.asarray(grades))]
    s = np.unique(np.r_[np.arange(pvis[0], pvis[-1], step), pvis])
    return profile_of(s, np.interp(s, pvis, heights))
