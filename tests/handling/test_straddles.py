"""A train of unlike cars astride a landmark: quarters by mass."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from profiler.handling.start_marks import numbered
from profiler.handling.straddles import mass_quarters, pair_straddles, sags, straddle_marks, train_straddles
from profiler.landmark import Landmark
from profiler.landmarks.straddles import length_quarters
from profiler.mechanics.terrain import Terrain
from profiler.units import FOOT
from tests.trains import EMPTY, LOADED, ORE, UNIT, E, train_of

CREST, SAG = 10_000.0, 11_000.0


def landmark(kind: str, at: float, probability: float = 1.0) -> Landmark:
    return Landmark(kind=kind, direction="both", start=at, end=at, at=at, value=20, unit="m", probability=probability)


def ridge(direction: str = "with") -> Terrain:
    """+1 % to the crest, -2 % to the sag, +1.5 % beyond; 20 km."""
    way = np.arange(0.0, 20_005.0, 10.0)
    z = np.interp(way, [0, CREST, SAG, 20_000], [0, 100, 80, 215])
    return Terrain(way, z if direction == "with" else z[::-1], 0 * way, direction)


def test_quarters_of_mass():
    """Worked: one unit of 208 short tons in 74 ft, loads of 131.5 and empties of 29 in 57 ft, ten each: 1813 short
    tons. A quarter, 453.25, is 245.25 into the loads: 1.865 cars, 180.3 ft back. Half, 906.5: 5.312 cars, 376.8 ft."""
    train = train_of("x", (UNIT, 1), (LOADED, 10), (EMPTY, 10))
    found = mass_quarters(train) / FOOT
    assert found[:3] == pytest.approx([0, 180.3, 376.8], abs=0.1)
    assert found[4] == pytest.approx(74 + 20 * 57)


def test_a_uniform_train_has_plain_quarters():
    """Law: where all cars are alike, quarters of mass are those of length."""
    train = train_of("x", (UNIT, 1), (ORE, 100))
    cars = mass_quarters(train_of("y", (UNIT, 2)))
    assert cars == pytest.approx(length_quarters(2 * 74 * FOOT))
    assert mass_quarters(train) == pytest.approx(length_quarters(train.length), rel=0.05, abs=25)


def test_loads_behind_empties():
    """Law: turned about, the half of the mass lies as far from the other end."""
    ahead, behind = (mass_quarters(train_of("x", *b)) for b in (((LOADED, 30), (UNIT, 1)), ((UNIT, 1), (LOADED, 30))))
    assert ahead == pytest.approx(ahead[-1] - behind[::-1])


@pytest.mark.parametrize("direction", ["with", "against"])
def test_change_of_grade(direction: str):
    """Worked: of a train that reaches neither sag nor ends, the half past the crest lies on -2 % and the other on +1 %:
    -3 %; the other way +2 % and -1 %, -3 % as well."""
    train = train_of("x", (UNIT, 1), (LOADED, 20))
    (found,) = train_straddles(train, ridge(direction), [landmark("crest", CREST)])
    assert found.change == pytest.approx(-0.03, abs=1e-6)
    heads = [getattr(found.straddle, n) for n in ("head", "quarter", "half", "three_quarter", "clear")]
    sign = 1 if direction == "with" else -1
    assert sign * (np.array(heads) - CREST) == pytest.approx(mass_quarters(train))


def test_crest_and_sag_under_one_train():
    """Worked: (e) is 1,458 m long, crest and sag are 1,000 m apart: both lie under it with its head from the sag to
    458 m beyond; a shorter train never has both."""
    items = [landmark("crest", CREST), landmark("sag", SAG)]
    found = train_straddles(E, ridge(), items)
    (pair,) = pair_straddles(found)
    assert (pair.kind, pair.first, pair.second) == ("crest_and_sag", 0, 1)
    assert (pair.start, pair.end) == pytest.approx((SAG, CREST + E.length))
    assert pair.change == pytest.approx(sum(abs(s.change) for s in found))
    back = train_straddles(E, ridge("against"), items)
    (turned,) = pair_straddles(back)
    assert (turned.kind, turned.start, turned.end) == ("sag_and_crest", CREST, pytest.approx(SAG - E.length))
    assert pair_straddles(train_straddles(train_of("x", (UNIT, 2), (ORE, 60)), ridge(), items)) == ()


@pytest.mark.parametrize("direction", ["with", "against"])
def test_sags_by_distance_travelled(direction: str):
    """Law: head positions from a sag to a train's length beyond it, whichever way; no crest, nothing unsure."""
    items = [landmark("crest", CREST), landmark("sag", SAG), landmark("sag", 15_000.0, 0.3)]
    terrain = ridge(direction)
    at = float(terrain.way_at(SAG))
    assert sags(terrain, train_straddles(E, terrain, items)) == (pytest.approx((at, at + E.length)),)


def test_marks_in_order_of_travel():
    """Law: numbered as met; against chainage places fall; what is too unsure to be shown is no mark."""
    items = [landmark("crest", CREST), landmark("sag", SAG), landmark("grade_break", 15_000.0, 0.3)]
    for direction in ("with", "against"):
        terrain = ridge(direction)
        found = train_straddles(E, terrain, items)
        marks = numbered(straddle_marks(found, pair_straddles(found)), terrain)
        assert [m.number for m in marks] == [1, 2, 3]
        assert {m.reason for m in marks} == {
            "crest",
            "sag",
            "crest_and_sag" if direction == "with" else "sag_and_crest",
        }
        sign = 1 if direction == "with" else -1
        assert all(sign * (m.latest - m.earliest) > 0 for m in marks)
        assert all(sign * (b.earliest - a.earliest) >= 0 for a, b in pairwise(marks))
