"""What couplers do to trucks in the curves of a run, and where the order of cars asks for care."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from profiler.catalogue import CATALOGUE
from profiler.cited import given
from profiler.mechanics.couplers import vehicles_of
from profiler.mechanics.curving import ROLLOVER, ROLLOVER_ONSET, InCurves, in_curves
from profiler.mechanics.in_train import InTrain
from profiler.mechanics.make_up import make_up_warnings
from profiler.train import Train
from profiler.units import FOOT, KIP, FloatArray, curvature_of_degree
from tests.trial import EMPTY, GRAIN, ORE, UNIT, train_of, trial_trains

LIGHT = replace(CATALOGUE["box car, empty"], mass=given(60_000, "lb"), tare=given(60_000, "lb"), length=given(60, "ft"))
TEN = float(curvature_of_degree(10))
WAY = np.arange(0.0, 5005.0, 10.0)
LONG, SHORT = CATALOGUE["auto rack, loaded"], CATALOGUE["ore car, loaded"]


def carrying(train: Train, force: float | FloatArray, head: FloatArray) -> InTrain:
    """A train whose couplers all carry a force [N], + draft, at some head positions [m]."""
    all_of_it = np.broadcast_to(np.asarray(force, dtype=float), (head.size, train.vehicles - 1))
    none, no = np.zeros(all_of_it.shape), np.zeros(head.size)
    return InTrain(
        time=no, head=head, speed=no + 8, effort=no, dynamic=no, air=no, acceleration=no,
        force=all_of_it, by_effort=none, by_dynamic=none, by_air=none,
    )  # fmt: skip


def bend(start: float, end: float, curvature: float) -> FloatArray:
    """One curve [m] without spirals in straight track."""
    return np.where((start <= WAY) & (end >= WAY), curvature, 0.0)


def along(train: Train, force: float | FloatArray, head: FloatArray, curvature: FloatArray) -> InCurves:
    return in_curves(train, carrying(train, force, head), WAY, curvature)


def test_draft_on_empties():
    """Worked: example 7-A (calc): 200,000 lb of draft on 10° on an empty of 60,000 lb and 60 ft: truck L/V 0.35; all of
    it on one rail, which bears half the weight, is 0.70: beyond the 0.60 at which rails are taken to turn over (from
    memory)."""
    train = train_of((1, UNIT), (20, LIGHT))
    found = along(train, 200 * KIP, np.array([3000.0]), bend(1000, 4000, TEN))
    assert found.inward[0, 1:-1] == pytest.approx(0.349, abs=0.001)
    assert found.inward[0, 0] == pytest.approx(0.349 * 60_000 / (208 * 2000) * 74 / 60, abs=0.001)
    assert not found.outward.any()
    worst = found.worst("inward")
    assert worst
    assert worst.one_rail > ROLLOVER > ROLLOVER_ONSET
    assert worst.force == pytest.approx(200 * KIP)
    assert worst.curvature == pytest.approx(TEN)
    assert found.worst("outward") is None


def test_only_in_the_curve():
    """Law: a vehicle feels nothing on straight track, all of it in the curve, and its share as it enters and leaves."""
    train = train_of((1, UNIT), (40, LIGHT))
    found = along(train, 50 * KIP, np.array([2000.0]), bend(1500, 1700, TEN))
    edge = 2000 - vehicles_of(train).edge
    inside = np.minimum(edge[:-1], 1705) - np.maximum(edge[1:], 1495)  # it rises within 10 m
    whole = np.isclose(inside, -np.diff(edge)) & (np.abs(edge[:-1] - 1700) > 10) & (np.abs(edge[1:] - 1500) > 10)
    assert found.inward[0, whole] == pytest.approx(50 / 60 * 60 * FOOT * TEN)
    assert (found.inward[0, inside < -10] == 0).all()
    assert found.curvature[0] @ -np.diff(edge) == pytest.approx(np.trapezoid(bend(1500, 1700, TEN), WAY))
    worst = found.worst("inward")
    assert worst
    assert 1500 < worst.place < 1700


def test_left_and_right_draft_and_buff():
    """Law: it does not matter which way the line turns; buff does outward what draft does inward; of a vehicle with
    unlike couplers the greater counts; twice the force is twice the ratio."""
    train, head = train_of((1, UNIT), (30, ORE)), np.linspace(500.0, 4500, 30)
    force = np.linspace(400e3, -300e3, 30)
    left, right = (along(train, force, head, bend(1000, 3000, x)) for x in (TEN, -TEN))
    assert left.inward == pytest.approx(right.inward)
    other = along(train, -force, head, bend(1000, 3000, TEN))
    assert other.outward == pytest.approx(left.inward)
    assert other.inward == pytest.approx(left.outward)
    assert along(train, 2 * force, head, bend(1000, 3000, TEN)).largest == pytest.approx(2 * left.largest)
    assert left.draft[0, :3] == pytest.approx(force[[0, 0, 1]])
    assert left.buff[0, -2:] == pytest.approx(-force[[-1, -1]])


def test_long_beside_short():
    """Published: S60 (forum): long cars, from 80 ft, not beside short ones, up to 45 ft, in the head part."""
    train = train_of((2, UNIT), (5, ORE), (1, LONG), (40, ORE), (1, LONG), (2, ORE))
    head = np.array([2500.0])
    found = make_up_warnings(train, along(train, 100 * KIP, head, bend(1000, 3000, TEN)))
    assert [(w.code, w.count) for w in found] == [("long_beside_short", 2)]
    (one,) = found
    assert one.vehicle == 7  # the long one: the same pull has the longer lever on it
    assert one.draft == pytest.approx(100 * KIP)
    assert one.ratio > 0
    behind = sum(b.count * b.vehicle.mass for b in train.blocks[3:])
    assert one.behind == pytest.approx(behind)


def test_empties_behind_the_power():
    """Law: empties next behind the head power with loads behind them are told, not at the rear nor where all are."""
    head = np.array([2500.0])
    ahead, behind, only = (
        make_up_warnings(train, along(train, -80 * KIP, head, 0 * WAY))
        for train in (trial_trains()[name] for name in ("e, empties ahead", "e", "d"))
    )
    assert behind == only == ()
    (one,) = ahead
    assert (one.code, one.count) == ("empties_behind_power", 44)
    assert one.buff == pytest.approx(80 * KIP)
    assert one.ratio == 0  # straight track
    assert 3 <= one.vehicle < 47
    remote = train_of((20, GRAIN), (2, UNIT), (10, EMPTY), (10, GRAIN))
    assert make_up_warnings(remote, along(remote, 1e5, head, 0 * WAY)) == ()
