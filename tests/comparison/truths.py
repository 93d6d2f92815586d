"""Profiles estimated from made-up ground over lines of `tests.truth`, beside their truth as a reference."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from profiler.elevation.estimator import estimate
from profiler.elevation.noise import Noise
from profiler.profile import Draws, Profile
from profiler.route import Posts, Route, Station

STATIONS = (("Marram", 0.02), ("Sedge Hill", 0.31), ("Teasel", 0.55), ("Sallow", 0.93))


def laid(track: np.ndarray, noise: Noise, seed: int) -> np.ndarray:
    """Ground (n,) over a track at stations every 10 m: its elevation and exponentially correlated error. [m]"""
    keep = np.exp(-10.0 / noise.length)
    drive = np.random.default_rng(seed).normal(size=track.size) * noise.sigma * np.sqrt(1 - keep**2)
    drive[0] /= np.sqrt(1 - keep**2)
    return track + lfilter([1.0], [1.0, -keep], drive)


def profile_of(track: np.ndarray, noise: Noise, seed: int = 0, *, units: str = "metric") -> Profile:
    """The estimate of a track (n,) [m] whose ground has an error, on a line that runs due east from 5° W."""
    s = np.arange(track.size) * 10.0
    found = estimate(s, laid(track, noise, seed)[None], np.zeros(s.size, dtype=bool), max_grade=0.045)
    flat = np.zeros(s.size)
    route = Route(
        chainage=s,
        longitude=-5.0 + s / 111_000,
        latitude=flat,
        heading=np.full(s.size, np.pi / 2),
        curvature=flat,
        curvature_se=flat,
        lateral_se=flat,
        posts=Posts(np.array([0.0]), np.array([0.0]), "km", stated=False),
        name="Marram to Sallow",
        ends=("Marram", "Sallow"),
        stations=tuple(Station(name, share * s[-1]) for name, share in STATIONS),
    )
    return Profile(
        route=route,
        ground=track,
        elevation=found.elevation,
        elevation_se=found.elevation_se,
        grade=found.grade,
        grade_se=found.grade_se,
        structure_probability=found.structure_probability,
        ground_source=flat,
        ground_weight=flat + 1,
        draws=Draws(found.draw_chainage, found.draw_elevation),
        vertical_datum="EGM2008",
        units=units,
        invented=True,
    )
