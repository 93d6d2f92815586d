"""A made-up profile of known points of intersection, built without any file: the tests' small line.

It has a climb, a summit, a descent that steepens, a sag, tunnels, a bridge, curves of both
hands, mile posts from 38 and a slow order. Nothing of it is real.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from profiler.landmark import GradeRun, Landmark, Landmarks, Straddle
from profiler.profile import Draws, KnownResidual, Profile
from profiler.route import CurveElement, Posts, Route, SpeedLimit, Station, Structure
from profiler.units import MPH, curvature_of_degree
from profiler.vertical_curve import length_by_rate, pvis_of

PVI_M = np.array([0, 6000, 12000, 13500, 26000, 31000, 37500, 43000, 46000, 50000])
GRADES = np.array([0.0025, 0.0085, -0.004, 0.0135, -0.015, -0.0245, -0.011, 0.0065, -0.007])


def invented_profile(units: str = "us", step: float = 10.0, se_m: float = 1.5) -> Profile:
    """50 km, 2,000 m of it in two tunnels and a bridge; standard errors grow inside them."""
    s = np.arange(0.0, PVI_M[-1] + step / 2, step)
    z0 = 115 + np.r_[0, np.cumsum(np.diff(PVI_M) * GRADES)]
    elevation = np.interp(s, PVI_M, z0)
    grade = GRADES[np.clip(np.searchsorted(PVI_M, s, side="right") - 1, 0, GRADES.size - 1)]
    curves, curvature = _curves(s)
    structures = (
        Structure("tunnel", 20500, 22600, "Ombersley Tunnel", "posts"),
        Structure("bridge", 29200, 29600, "Sallow Viaduct", "posts"),
        Structure("tunnel", 33000, 33350, "Tunnel 2", "tags"),
    )
    rng = np.random.default_rng(7)
    ground = elevation + 3 * np.convolve(rng.normal(size=s.size), np.ones(25) / 5, mode="same")
    ground[(s > 20500) & (s < 22600)] += 90 * np.sin(np.pi * (s[(s > 20500) & (s < 22600)] - 20500) / 2100)
    ground[(s > 29200) & (s < 29600)] -= 25
    ground[(s > 33000) & (s < 33350)] += 25
    inside = np.zeros(s.size, dtype=bool)
    for piece in structures:
        inside |= (s >= piece.start) & (s <= piece.end)
    se = np.where(inside, 3 * se_m, se_m)
    heading = np.mod(2.0 - np.cumsum(curvature) * step, 2 * np.pi)
    east, north = np.cumsum(np.sin(heading)) * step, np.cumsum(np.cos(heading)) * step
    route = Route(
        chainage=s,
        longitude=-31.4 + east / (111_320 * np.cos(np.radians(38.1))),
        latitude=-38.1 + north / 110_990,
        heading=heading,
        curvature=curvature,
        curvature_se=np.full(s.size, 2e-5),
        lateral_se=np.ones(s.size),
        posts=Posts(np.array([0.0]), np.array([38.0]), "mi"),
        name="Farrow to Thistle Quay",
        ends=("Farrow", "Thistle Quay"),
        source="invented",
        curves=curves,
        structures=structures,
        stations=(
            Station("Farrow", 700.0),
            Station("Ombersley Gap", 26600.0),
            Station("Thistle Quay", 49500.0),
        ),
        limits=(
            SpeedLimit(0, 9000, 45 * MPH),
            SpeedLimit(9000, 26000, 35 * MPH),
            SpeedLimit(26000, 43000, 25 * MPH),
            SpeedLimit(43000, 50000, 40 * MPH),
        ),
        slow_orders=(SpeedLimit(35650, 36050, 15 * MPH, reason="Culvert"),),
    )
    nodes = np.arange(0.0, PVI_M[-1] + 1, 100.0)
    wander = np.cumsum(rng.normal(size=(100, nodes.size)), axis=1)
    wander -= wander.mean(axis=1, keepdims=True)
    draws = np.interp(nodes, s, elevation) + wander * se_m / wander.std()
    return Profile(
        route=route,
        ground=ground,
        elevation=elevation,
        elevation_se=se,
        grade=grade,
        grade_se=np.full(s.size, 0.0004),
        structure_probability=inside.astype(float),
        ground_source=np.where(inside, -1, 0),
        ground_weight=np.where(inside, 0.0, 1.0),
        draws=Draws(nodes, draws),
        source_names=("invented ground",),
        vertical_datum="EGM2008",
        units=units,
        invented=True,
    )


def seen_profile(units: str = "us", step: float = 10.0) -> Profile:
    """The same line by data that show its PVIs: curves of 0.1 % per 100 ft, all but the third and the last sure."""
    profile = invented_profile(units, step)
    height = 115 + np.r_[0, np.cumsum(np.diff(PVI_M) * GRADES)]
    length = [0.0, *(length_by_rate(change, 0.001) for change in np.diff(GRADES)), 0.0]
    pvis = [dataclasses.replace(p, chainage_se=15.0, elevation_se=0.3) for p in pvis_of(PVI_M, height, length)]
    pvis[2] = dataclasses.replace(pvis[2], chainage_se=250.0, probability=0.92)
    pvis[-1] = dataclasses.replace(pvis[-1], probability=0.7)
    return dataclasses.replace(profile, pvi_visible=True, pvis=tuple(pvis))


def invented_known() -> tuple[KnownResidual, ...]:
    """Three known elevations: one that fits, one that does not, and one that would in feet."""
    return (
        KnownResidual(5000, 320.0, 0.3, 320.4, 0.8, "post 5.0"),
        KnownResidual(15000, 311.0, 0.3, 305.0, 1.0, "post 15.0", "misfit", "post 15.1"),
        KnownResidual(30000, 1000.0, 0.5, 304.0, 0.9, "chainage 30000 m", "misfit"),
    )


def _curves(s: np.ndarray) -> tuple[tuple[CurveElement, ...], np.ndarray]:
    curvature = np.zeros(s.size)
    elements = []
    for i, (middle, degree) in enumerate(
        [
            (2500, 1),
            (8000, -3),
            (15000, 5),
            (18500, -4),
            (24000, 3),
            (28000, -8),
            (32000, 6),
            (38500, -7),
            (47000, 2),
        ]
    ):
        k = float(curvature_of_degree(degree))
        start, end, spiral = middle - 300.0, middle + 300.0, 90.0
        ramp = np.interp(s, [start, start + spiral, end - spiral, end], [0, k, k, 0], left=0, right=0)
        curvature += ramp
        elements.append(CurveElement(f"{40 + i}A", "simple", start, end, spiral, spiral, k, 2e-5))
    return tuple(elements), curvature


def invented_landmarks() -> Landmarks:
    """Landmarks, grade runs and straddles that belong to `invented_profile`."""
    edges = PVI_M.astype(float)
    runs = tuple(
        GradeRun(a, b, g, 0.0003, (b - a) * g, end_se=120.0 if i % 3 else 30.0)
        for i, (a, b, g) in enumerate(zip(edges[:-1], edges[1:], GRADES, strict=True))
    )
    items = (
        Landmark(kind="total_rise", direction="with", start=0, end=50000, at=25000, value=254, unit="m"),
        Landmark(
            kind="crest",
            direction="both",
            start=12000,
            end=12000,
            at=12000,
            value=6.0,
            unit="m",
            probability=0.83,
            place_low=11700,
            place_high=12200,
        ),
        Landmark(
            kind="sag",
            direction="both",
            start=13500,
            end=13500,
            at=13500,
            value=6.0,
            unit="m",
            probability=0.83,
            place_low=13300,
            place_high=13900,
        ),
        Landmark(
            kind="ruling_grade",
            direction="with",
            start=15000,
            end=17000,
            at=16000,
            value=1.35,
            low=1.32,
            high=1.38,
            unit="%",
            train_length=2000.0,
        ),
        Landmark(
            kind="ruling_grade_compensated",
            direction="with",
            start=15000,
            end=17000,
            at=16000,
            value=1.55,
            low=1.51,
            high=1.59,
            unit="%",
            train_length=2000.0,
        ),
        Landmark(
            kind="crest",
            direction="both",
            start=26000,
            end=26000,
            at=26000,
            value=168.0,
            unit="m",
            place_low=25900,
            place_high=26080,
        ),
        Landmark(kind="grade_break", direction="both", start=31000, end=31000, at=31000, value=-0.95, unit="%"),
        Landmark(
            kind="heavy_grade_over_4000",
            direction="against",
            start=26000,
            end=43000,
            at=34500,
            value=1.8,
            unit="%",
            low=1.75,
            high=1.85,
        ),
        Landmark(
            kind="ruling_grade",
            direction="against",
            start=32000,
            end=34000,
            at=33000,
            value=2.45,
            low=2.42,
            high=2.48,
            unit="%",
            train_length=2000.0,
        ),
        Landmark(
            kind="suspected_tunnel",
            direction="both",
            start=40000,
            end=40400,
            at=40200,
            value=400,
            unit="m",
            probability=0.83,
        ),
        Landmark(kind="sag", direction="both", start=43000, end=43000, at=43000, value=19.5, unit="m"),
        Landmark(
            kind="sharpest_curve",
            direction="both",
            start=27700,
            end=28300,
            at=28000,
            value=-8.0,
            unit="degree",
        ),
    )
    straddles = (Straddle(5, "crest", "with", 2000.0, 26000, 26500, 27000, 27500, 28000),)
    return Landmarks(items, runs, straddles)
