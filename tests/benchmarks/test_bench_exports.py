"""Time of every export of 1,000 km at 10 m beside its tables as CSV (pytest --benchmark-enable)."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from profiler.landmark import Landmarks
from profiler.profile import Draws, Profile
from profiler.write.exports import EXPORTS, export
from profiler.write.tables import write_tables
from tests.invented import invented_landmarks, invented_profile

FACTOR = 20.0
"""50 km of the invented line become 1,000."""


def long_line() -> tuple[Profile, Landmarks]:
    """100,001 stations every 10 m: the invented line drawn out, everything along it with it."""
    profile, landmarks = invented_profile(step=10 / FACTOR), invented_landmarks()
    route = profile.route

    def out(items: tuple, *names: str) -> tuple:
        return tuple(
            dataclasses.replace(item, **{name: FACTOR * getattr(item, name) for name in names}) for item in items
        )

    route = dataclasses.replace(
        route,
        chainage=FACTOR * route.chainage,
        longitude=route.longitude[0] + FACTOR * (route.longitude - route.longitude[0]),
        latitude=route.latitude[0] + FACTOR * (route.latitude - route.latitude[0]),
        curvature=route.curvature / FACTOR,
        curves=tuple(
            dataclasses.replace(
                x,
                start=FACTOR * x.start,
                end=FACTOR * x.end,
                spiral_in=FACTOR * x.spiral_in,
                spiral_out=FACTOR * x.spiral_out,
                curvature=x.curvature / FACTOR,
            )
            for x in route.curves
        ),
        structures=out(route.structures, "start", "end"),
        limits=out(route.limits, "start", "end"),
        slow_orders=out(route.slow_orders, "start", "end"),
        stations=out(route.stations, "chainage"),
    )
    draws = Draws(FACTOR * profile.draws.chainage, profile.draws.elevation)
    profile = dataclasses.replace(profile, route=route, draws=draws)
    items = out(landmarks.items, "start", "end", "at")
    return profile, Landmarks(items, out(landmarks.grade_runs, "start", "end"), ())


@pytest.fixture(scope="module")
def line() -> tuple[Profile, Landmarks]:
    return long_line()


def test_tables(benchmark, line: tuple[Profile, Landmarks], tmp_path: Path):
    """Law: the yardstick: a row a station."""
    benchmark(write_tables, *line, tmp_path)
    assert (tmp_path / "profile.csv").read_bytes().count(b"\n") == 100_002


@pytest.mark.parametrize("name", EXPORTS)
def test_export(benchmark, line: tuple[Profile, Landmarks], tmp_path: Path, name: str):
    """Law: something is written, as long as the line is."""
    path = tmp_path / f"line{EXPORTS[name].suffix}"
    benchmark.pedantic(export, (*line, name, path), rounds=3)
    assert path.exists()
