"""Heat per wheel: the worst car, a whole descent, and the limits with their sources."""

from __future__ import annotations

import numpy as np
import pytest

from profiler.cited import SOURCES
from profiler.mechanics.air import service_share
from profiler.mechanics.thermal import (
    TSI_REFERENCE,
    WHEEL_GUIDE,
    customary_limit,
    descent_heat,
    speed_by_heat,
    wheel_power,
)
from profiler.units import BAR, HORSEPOWER, KMH, MPH, PSI
from tests.trial import trial_trains

HOLD = 23 * MPH


@pytest.mark.parametrize(
    ("name", "psi", "horsepower", "mph"), [("a", 10, 28, 24), ("b", 15, 42, 16), ("c", 7, 20, 35), ("e", 7, 20, 35)]
)
def test_worst_car(name: str, psi: float, horsepower: float, mph: float):
    """Worked: handling trial: brake horsepower per wheel of the worst car at 23 mph, and the speed at 30; of (e) the
    loads count, not the empties."""
    train = trial_trains()[name]
    assert wheel_power(train, psi * PSI, HOLD) / HORSEPOWER == pytest.approx(horsepower, abs=0.6)
    assert speed_by_heat(train, psi * PSI) / MPH == pytest.approx(mph, abs=0.7)


@pytest.mark.parametrize(
    ("name", "psi", "horsepower", "mph"),
    [("a", 20.4, 57, 12), ("c", 19.0, 54, 13), ("e", 14.2, 40, 17)],
)
def test_dynamic_brake_lost(name: str, psi: float, horsepower: float, mph: float):
    """Worked: handling trial: the same with friction alone on the worst grade."""
    train = trial_trains()[name]
    assert wheel_power(train, psi * PSI, HOLD) / HORSEPOWER == pytest.approx(horsepower, abs=0.6)
    assert speed_by_heat(train, psi * PSI) / MPH == pytest.approx(mph, rel=0.05)


def test_metric_train():
    """Worked: handling trial: (f) with friction alone on 35 ‰ at 42 km/h, 0.99 bar, 23 kW per wheel of the 45."""
    train = trial_trains()["f"]
    assert wheel_power(train, 0.99 * BAR, 42 * KMH) == pytest.approx(23e3, rel=0.02)
    assert customary_limit(train) is TSI_REFERENCE


def test_descent():
    """Law: energy is force by distance, so that it does not go by speed; power by speed it does. The worst of (e) is
    a load, the second block."""
    train = trial_trains()["e"]
    way, share = np.linspace(0, 12_000, 241), service_share(train, 7 * PSI)
    slow, fast = (descent_heat(train, way, share, v * MPH) for v in (10, 20))
    assert slow.total == pytest.approx(fast.total)
    assert fast.most_power == pytest.approx(2 * slow.most_power)
    assert slow.total == pytest.approx(slow.most_power / (10 * MPH) * 12_000)
    assert slow.block == 1
    assert (np.diff(slow.energy) > 0).all()
    half = descent_heat(train, way, np.where(way < 6000, share, 0.0), 20 * MPH, limit=TSI_REFERENCE)
    assert half.share == pytest.approx(fast.total / 2 / TSI_REFERENCE.energy, rel=0.01)
    assert fast.share == pytest.approx(fast.most_power / WHEEL_GUIDE.power)


def test_where_limits_come_from():
    """Law: a limit tells its source: a document, or a memory."""
    assert SOURCES["S41"] in TSI_REFERENCE.words
    assert WHEEL_GUIDE.words == "from memory"
