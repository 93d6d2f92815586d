"""Cost of briefings beside that of the profile they stand on. Printed (pytest -m slow -s)."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from profiler.briefing.plan import Briefing, plan_handling
from profiler.build import build_profile, landmarks_of
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.read.territory import read_territory
from profiler.read.trains import read_train
from profiler.results import write_briefings, write_profile

TRAINS = sorted((Path(__file__).parents[2] / "sample_routes").glob("train-*.toml"))
SHORT, LONG = 50, 200
"""Kilometres."""


def hilly(folder: Path, length: int) -> tuple[Profile, Landmarks]:
    """A typed line of so many km: a new grade of up to 1.8 % every 1.5 km, a station every 10 km."""
    rng = np.random.default_rng(5)
    at = np.arange(0, 1000 * length + 1, 1500)
    z = 500 + np.r_[0, np.cumsum(1500 * rng.uniform(-0.018, 0.018, at.size - 1))]
    rows = [f"{x},{y:.2f},300" for x, y in zip(at, z, strict=True)]
    rows[0], rows[-1] = rows[0][:-3], rows[-1][:-3]
    folder.mkdir()
    (folder / "chart.csv").write_text("\n".join(["chainage_m,elevation_m,curve_length_m", *rows, ""]))
    stations = "".join(
        f'[[stations]]\nname = "S{k}"\nat = {{ chainage_m = {10_000 * k} }}\n' for k in range(1, length // 10)
    )
    (folder / "route.toml").write_text(f'[profile]\ntable = "chart.csv"\n{stations}')
    territory = read_territory(folder / "route.toml")
    profile = build_profile(territory)
    return profile, landmarks_of(profile, territory)


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


@pytest.mark.slow
def test_briefings_beside_the_profile(tmp_path: Path):
    """Law: three trains in both directions cost in proportion to the line, four times the line no more than six times;
    and plans and tables add less than 5 s to the profile of 200 km."""
    trains = {path.stem: read_train(path) for path in TRAINS}
    print("\n    km   profile s   pictures s   plans s   tables s   pictures s   plans and tables over profile")
    cost, shown = {}, {}
    for length in (SHORT, LONG):
        built: list[tuple[Profile, Landmarks]] = []
        plans: dict[str, list[Briefing]] = {}
        base = timed(lambda: built.append(hilly(tmp_path / str(length), length)))  # noqa: B023
        profile, landmarks = built[0]
        drawn = timed(lambda: write_profile(profile, landmarks, tmp_path / f"profile-{length}"))  # noqa: B023
        plan_handling(profile, landmarks, next(iter(trains.values())))  # compiled loops are loaded

        def plan() -> None:
            for name, train in trains.items():
                plans[name] = [plan_handling(profile, landmarks, train, d) for d in ("with", "against")]  # noqa: B023

        planned = timed(plan)
        tables = timed(lambda: write_briefings(plans, tmp_path / f"tables-{length}", pictures=False))  # noqa: B023
        pictures = timed(lambda: write_briefings(plans, tmp_path / f"all-{length}")) - tables  # noqa: B023
        cost[length], shown[length] = planned + tables, pictures
        print(
            f"{length:6d}{base:12.2f}{drawn:13.2f}{planned:10.2f}{tables:11.2f}{pictures:13.2f}"
            f"{(planned + tables) / (base + drawn):16.2f}"
        )
    assert cost[LONG] < 6 * cost[SHORT]
    assert shown[LONG] < 6 * shown[SHORT]
