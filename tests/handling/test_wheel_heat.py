"""Heat of wheels over descents, as their plans are run."""

from __future__ import annotations

import pytest

from profiler.handling.journey import journey
from profiler.handling.wheel_heat import heat_over
from profiler.mechanics.thermal import WHEELS_PER_AXLE
from tests.planned import TRAINS, line_of_trial, planned


@pytest.mark.parametrize("name", ["a", "d", "f"])
def test_wheels_take_what_the_air_brake_takes(name: str):
    """Law: with cars all alike, heat of a wheel times their wheels is the work of the air brake on the descents."""
    train, plan = TRAINS[name], planned(name)
    trip = journey(train, plan, line_of_trial(name).length)
    wheels = sum(WHEELS_PER_AXLE * b.count * b.vehicle.axles for b in train.blocks if b.vehicle.kind == "car")
    found = [heat_over(train, trip, one.descent) for one in plan.descents]
    _, air = trip.braked
    assert wheels * sum(heat.total for heat in found) == pytest.approx(air, rel=0.03, abs=1e5)
    assert all(heat.most_power >= 0 for heat in found)
