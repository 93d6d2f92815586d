"""Cost of coupler forces and of a rating against a floor of the same run. Printed (pytest -s); ratios only."""

from __future__ import annotations

import numpy as np

from profiler.mechanics.places import climbs_of, head_positions
from profiler.mechanics.pull import pull_along
from profiler.mechanics.remote import remote_places
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.tonnage import rate
from profiler.units import MPH
from tests.benchmarks.test_under_train_speed import fastest
from tests.trial import ORE, UNIT, train_of

LENGTH = 200_000.0


def line() -> Terrain:
    """200 km of grades that change every kilometre."""
    rng = np.random.default_rng(1)
    way = np.arange(0.0, LENGTH + 5, 10.0)
    grade = np.repeat(rng.uniform(-0.02, 0.02, 202), 100)[: way.size - 1]
    return Terrain(way, np.r_[0.0, np.cumsum(10 * grade)], np.zeros(way.size))


def test_forces_of_110_vehicles_over_200_km():
    """Law: draft and buff with full effort and with that needed cost less than 1000 passes over a table of all
    vehicles at all head positions; a search of every place for the remote group less than 150; a rating less than
    1000."""
    terrain, train = line(), train_of((3, UNIT), (105, ORE), (2, UNIT))
    heads = head_positions(0.0, terrain.length)
    table, out = np.ones((heads.size, train.vehicles)), np.empty((heads.size, train.vehicles))
    floor = fastest(lambda: np.multiply(table, 0.5, out=out))
    forces = fastest(lambda: pull_along(terrain, train, 25 * MPH))
    climbs = climbs_of(terrain, train)
    places = fastest(lambda: remote_places(terrain, train, climbs))
    rating = fastest(lambda: rate(terrain, train))
    print(
        f"\n{heads.size} x {train.vehicles} forces twice {forces:.3f} s, {forces / floor:.1f} passes; "
        f"remote {places / floor:.1f}; rating {rating / floor:.1f}"
    )
    assert forces < 1000 * floor
    assert places < 150 * floor
    assert rating < 1000 * floor
