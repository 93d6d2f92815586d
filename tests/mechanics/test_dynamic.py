"""Dynamic brake: the curve of a unit, adhesion, the caps of the head group."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as for_any
from hypothesis import strategies as st

from profiler.cited import given
from profiler.mechanics.dynamic import BINDING, group_dynamics, unit_dynamic
from profiler.train import Block, Train
from profiler.units import GRAVITY, KIP, KMH, MPH, POUND_FORCE
from tests.any_trains import trains
from tests.trial import UNIT, trial_trains

HOLD = 23 * MPH


@pytest.mark.parametrize(
    ("name", "kips"), [("a", 431), ("b", 252), ("c", 331), ("d", 200), ("e", 231), ("e, empties ahead", 231)]
)
def test_after_caps(name: str, kips: float):
    """Worked: handling trial: dynamic brake of each train after its caps, at 23 mph on 2.5 %."""
    found = group_dynamics(trial_trains()[name], HOLD, -0.025)
    assert found.total / KIP == pytest.approx(kips, abs=1)
    assert found.usable == pytest.approx(0.85 * found.total)


def test_metric_train_has_no_cap():
    """Worked: handling trial: two electrics of 140 kN, 35 ‰ at 42 km/h: 280 kN, where adhesion and buffers allow it."""
    train = trial_trains()["f"]
    electric = train.blocks[0].vehicle
    assert electric.dynamic
    strong = replace(electric, dynamic=replace(electric.dynamic, peak=given(140, "kn")))
    found = group_dynamics(replace(train, blocks=(Block(count=2, vehicle=strong), train.blocks[1])), 42 * KMH, -0.035)
    assert found.total == pytest.approx(280e3)
    assert BINDING[int(found.binding[0])] == "nothing"


def test_which_cap_binds():
    """Worked: (b): 5 units of 100 kips at 23 mph are held to the buff limit, on the level and down; slow, by nothing;
    with 14 axles by these, whatever the grade gives."""
    train = trial_trains()["b"]
    found = group_dynamics(train, [1 * MPH, HOLD], -0.025)
    assert [BINDING[int(i)] for i in found.binding[0]] == ["nothing", "buff limit"]
    own = 5 * 208 * 2 * 0.025
    assert found.effort[0, 1] / KIP == pytest.approx(200 + own)
    few = replace(train, limits=replace(train.limits, dynamic_axles=given(14)))
    found = group_dynamics(few, HOLD, -0.025)
    assert found.total / KIP == pytest.approx(140)
    assert BINDING[int(found.binding[0])] == "equivalent axles"


def test_no_more_from_more_head_units():
    """Law: once the buff limit binds, another unit adds its own weight on the grade and nothing else."""
    train = trial_trains()["b"]
    more = replace(train, blocks=(Block(count=6, vehicle=UNIT), *train.blocks[1:]))
    gained = group_dynamics(more, HOLD, -0.025).total - group_dynamics(train, HOLD, -0.025).total
    assert gained == pytest.approx(UNIT.mass * GRAVITY * 0.025)


def test_units_without_it():
    """Law: an isolated unit, and one without a dynamic brake, give nothing."""
    train = trial_trains()["d"]
    bare = replace(UNIT, dynamic=None)
    lost = replace(train, blocks=(Block(count=1, vehicle=UNIT), Block(count=1, vehicle=bare), train.blocks[1]))
    hauled = replace(train, blocks=(Block(count=2, isolated=1, vehicle=UNIT), train.blocks[1]))
    one = unit_dynamic(UNIT, HOLD, rail="dry")
    assert group_dynamics(lost, HOLD).total == pytest.approx(one)
    assert group_dynamics(hauled, HOLD).total == pytest.approx(one)


def test_wet_rail():
    """Law: on wet rail the unit that leads has less than those behind it, and neither more than on dry rail; 0.15 of
    its weight halves the ideal of a unit of 120 kips (handling trial)."""
    dry, wet, lead = (
        unit_dynamic(UNIT, 15 * MPH, rail=r, lead=x) for r, x in (("dry", False), ("wet", False), ("wet", True))
    )
    assert lead < wet < dry
    assert lead / (208 * 2000 * POUND_FORCE) == pytest.approx(0.15, abs=0.005)
    train = replace(trial_trains()["d"], rail="wet")
    found = group_dynamics(train, 15 * MPH)
    assert found.effort[0] == pytest.approx(lead + wet)
    assert BINDING[int(found.binding[0])] == "adhesion"


@for_any(trains(), st.floats(0.2, 30), st.floats(-0.04, 0.02))
def test_laws(train: Train, speed: float, grade: float):
    """Law: never above the curve of the units; a steeper descent allows no less; arrays and single figures agree;
    beyond knee and fade the power does not grow."""
    speeds, grades = np.array([speed, 2 * speed]), np.array([[grade], [grade - 0.01]])
    found = group_dynamics(train, speeds, grades)
    assert found.effort.shape == (len(train.groups), 2, 2)
    assert (found.effort <= found.curve + 1e-6).all()
    assert (found.effort[:, 1] >= found.effort[:, 0] - 1e-6).all()
    assert found.total[0, 1] == pytest.approx(float(group_dynamics(train, 2 * speed, grade).total))
    for block in train.blocks:
        if block.vehicle.dynamic:
            fast = max(float(block.vehicle.dynamic.knee), float(block.vehicle.dynamic.fade)) * np.array([1.0, 1.5])
            power = unit_dynamic(block.vehicle, fast, rail="poor") * fast
            assert power[1] <= block.vehicle.dynamic.peak * block.vehicle.dynamic.knee * (1 + 1e-9)
