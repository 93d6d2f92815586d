"""Rating, units and places of power on a line against published figures and worked examples.

Ids as in the project's list of sources: S6, S7: W. L. Webb, Economics of Railroad Construction, art. 204, 212; S4: US
Army Corps TI 850-02, eq. 3-3; S11: motive power note (4400 hp on 2.2 %); S17: lecture slides after the AREMA guide;
S18: forum posts on coupler limits. "calc": arithmetic of the reference sheet from published rules. Here whole trains
climb whole lines; `test_published_traction.py` has the same examples as bare formulas. Tolerances: arithmetic to the
last printed digit, published hand work to 0.5 %.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from profiler.catalogue import CATALOGUE
from profiler.cited import given
from profiler.mechanics.couplers import coupler_forces, vehicles_of
from profiler.mechanics.curving import lateral_force, lateral_over_vertical
from profiler.mechanics.places import climbs_of
from profiler.mechanics.power_needed import climb_speeds, helper_districts, units_for
from profiler.mechanics.pull import vehicle_efforts, vehicle_resistances
from profiler.mechanics.remote import remote_places
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.tonnage import Rating, rate
from profiler.train import Train
from profiler.units import FOOT, KIP, MPH, PERCENT, POUND, POUND_FORCE, SHORT_TON, curvature_of_degree
from profiler.vehicle import RunDown, Vehicle
from tests.trial import slope, train_of


def rolling(pounds: float, tons: float) -> RunDown:
    """The same resistance at every speed, lbf per short ton."""
    return RunDown(a=given(pounds * tons, "lbf"), b=given(0), c=given(0))


def engine(effort_lbf: float, tons: float, pounds: float) -> Vehicle:
    """Pulls with one effort at a stand and at any speed of a climb."""
    base = CATALOGUE["AC six-axle locomotive"]
    assert base.traction
    traction = replace(
        base.traction,
        power=given(1e6, "hp"),
        starting_effort=given(effort_lbf, "lbf"),
        adhesion=given(effort_lbf / (tons * 2000)),
    )
    mass = given(tons, "short_tons")
    return replace(base, mass=mass, tare=mass, traction=traction, resistance=rolling(pounds, tons))


def car(tons: float, pounds: float) -> Vehicle:
    base = CATALOGUE["coal hopper, loaded"]
    mass = given(tons, "short_tons")
    return replace(base, mass=mass, tare=given(20, "short_tons"), resistance=rolling(pounds, tons))


def allowed(rating: Rating, rule: str) -> float:
    """Short tons of cars."""
    return rating.of(rule).mass / SHORT_TON


def haul(percent: float, *, effort: float, tons: float, pounds: float, engines: int = 1) -> float:
    """Short tons of cars that engines keep going on one grade."""
    made = train_of((engines, engine(effort, tons, pounds)), (20, car(50, pounds)))
    return allowed(rate(slope(percent * PERCENT), made), "haul")


def test_pushers():
    """Published: S6, examples 2-A and 2-B: 106,000 lb on drivers, μ 9/40, engine 107 short tons, 6 lb: two engines on
    1.9 % 870 net, three 1305; the load of two and one engine on 0.92 %; of three, with two on 1.27 and one on 0.54 %
    (the last two printed to two digits, calc)."""
    one = {"effort": 106_000 * 9 / 40, "tons": 107, "pounds": 6.0}
    assert haul(1.9, engines=2, **one) == pytest.approx(870, rel=0.005)
    assert haul(1.9, engines=3, **one) == pytest.approx(1305, rel=0.005)
    assert haul(0.92, **one) == pytest.approx(870, rel=0.005)
    assert haul(1.27, engines=2, **one) == pytest.approx(1305, rel=0.005)
    assert haul(0.54, **one) == pytest.approx(1305, rel=0.01)


def test_pusher_district():
    """Published: S6, examples 2-A and 2-B: on a through grade of 0.92 % with 1.9 % between, one engine with 870 short
    tons needs a second on the 1.9 % and nowhere else; with 1305 on 0.54 % it needs two more there."""
    way = np.arange(0.0, 30_005.0, 10.0)

    def line(through: float) -> Terrain:
        grade = np.where((way >= 10_000) & (way < 20_000), 0.019, through * PERCENT)
        return Terrain(way, np.r_[0.0, np.cumsum(10 * grade[:-1])], np.zeros(way.size))

    pusher = engine(106_000 * 9 / 40, 107, 6)
    for through, net, helpers in ((0.92, 868, 1), (0.53, 1303, 2)):
        made = train_of((1, pusher), (20, car(net / 20, 6)))
        (district,) = helper_districts(line(through), made)
        assert district.units == helpers
        assert 10_000 < district.start < 10_200
        assert 20_000 <= district.end <= 20_000 + made.length
    # what is missing when all of it stands on 1.9 % is the effort of the helpers less what they take for themselves
    assert district.missing / POUND_FORCE == pytest.approx(2 * (23_850 - 107 * 44), rel=0.005)


def test_rating_tons():
    """Published: S7, examples 2-C and 2-D: 28,200 lb at 22.6 lb per short ton in all (1 %): 1248 gross. At 34.8
    (1.6 %): 811."""
    # Webb counts the engine as 128 % of its 130 tons among them
    assert haul(1.0, effort=28_200, tons=166, pounds=2.6) == pytest.approx(1082, rel=0.005)
    assert haul(1.6, effort=28_200, tons=166, pounds=2.8) == pytest.approx(811 - 166, rel=0.005)


def test_trial_ruling_grade():
    """Published: S4, eq. 3-3, example 2-F (answer calc): 100,000 lb, 150 short tons and 40 cars of 100 at 3 lb: 1.0548
    %: there 40 cars are the rating."""
    assert haul(1.0548, effort=100_000, tons=150, pounds=3) / 100 == pytest.approx(40, rel=1e-4)


def test_units_on_2_2_percent():
    """Published: S11, example 2-G: units of 4400 hp at 25 mph: 54,208 lb each; 7000 short tons on 2.2 % without
    rolling resistance need 5.68, which are six."""
    base = CATALOGUE["AC six-axle locomotive"]
    assert base.traction
    light = given(1, "lb")  # the source counts 7000 short tons with the units
    traction = replace(
        base.traction, power=given(4400, "hp"), continuous_speed=given(25, "mph"), starting_effort=given(200, "kips"),
        adhesion=given(1e6),
    )  # fmt: skip
    unit = replace(base, mass=light, tare=light, traction=traction, resistance=rolling(0, 0))
    made = train_of((1, unit), (70, car(100, 0)))
    assert units_for(slope(0.022), made).haul == 6
    per_unit = allowed(rate(slope(0.022), made), "haul")
    assert per_unit == pytest.approx(1232, rel=1e-3)
    assert 7000 / per_unit == pytest.approx(5.68, abs=0.005)


@pytest.mark.parametrize(("percent", "mph"), [(1, 22), (2, 10)])
def test_one_and_a_half_hp_per_ton(percent: float, mph: float):
    """Published: S17, example 2-J: 1.5 hp per short ton: 22 mph on 1 %, 10 mph on 2 %; rounded there, ± 2 mph."""
    loaded = CATALOGUE["coal hopper, loaded"]
    base = CATALOGUE["AC six-axle locomotive"]
    assert base.traction
    hp = 1.5 * (2 * 208 + 70 * 143) / 2
    strong = replace(base.traction, power=given(hp, "hp"), adhesion=given(1), starting_effort=given(400, "kips"))
    made = train_of((2, replace(base, traction=strong)), (70, loaded))
    terrain = slope(percent * PERCENT)
    (found,) = climb_speeds(terrain, made, climbs_of(terrain, made))
    assert found.speed / MPH == pytest.approx(mph, abs=2)


@pytest.mark.parametrize(
    ("effort", "tons", "expected"), [(150_000, 210, (6312, 4335, 2981)), (83_100, 184, (3429, 2334, 1584))]
)
def test_tonnage(effort: float, tons: float, expected: tuple[float, ...]):
    """Worked: examples 2-K and 2-L (calc): short tons of cars at 3 lb on 1.0, 1.5 and 2.2 %."""
    found = [haul(g, effort=effort, tons=tons, pounds=3) for g in (1.0, 1.5, 2.2)]
    assert found == pytest.approx(expected, abs=1)


@pytest.mark.parametrize(("adhesion", "starts"), [(0.30, True), (0.25, False)])
def test_start_on_one_percent(adhesion: float, starts: bool):
    """Worked: example 2-M (calc): 3 x 210 and 100 x 143 short tons on 1 %, 5 lb to break away, 420,000 lb on drivers:
    373,250 lb needed; 378,000 at μ 0.30 start it, 315,000 at 0.25 do not."""
    unit = engine(adhesion * 420_000, 210, 3)
    made = train_of((3, unit), (100, car(143, 3)))
    found = rate(slope(0.01), made)
    assert (found.of("start").mass >= found.given) is starts
    expected = (3 * adhesion * 420_000 - 630 * 25) / 25
    assert allowed(found, "start") == pytest.approx(expected, rel=1e-6)
    assert units_for(slope(0.01), made).start == (3 if starts else 4)


@pytest.mark.parametrize(("kips", "trailing"), [(344, 8000), (215, 5000)])
def test_couplers_on_two_percent(kips: float, trailing: float):
    """Published: S18, example 2-N: on 2.0 % 8000 short tons with high-strength couplers, 5000 with standard ones, whose
    limits are 344 and 215 kips at 43 lb per short ton (calc)."""
    made = train_of((6, engine(200_000, 210, 3)), (50, car(143, 3)))
    made = replace(made, limits=replace(made.limits, draft=given(kips, "kips")))
    assert allowed(rate(slope(0.02), made), "draft") == pytest.approx(trailing, rel=1e-3)


def test_draft_in_a_curve():
    """Worked: example 7-A (calc): 200,000 lb of draft on 10°: 20,917 lb on a car of 60 ft, 10,459 per truck, truck L/V
    0.35 of an empty of 60,000 lb; 31,027 on 89 ft; 12,561 in 6°."""
    pull, ten = 200_000 * POUND_FORCE, float(curvature_of_degree(10))
    assert lateral_force(pull, 60 * FOOT, ten) / POUND_FORCE == pytest.approx(20_917, abs=1)
    assert lateral_over_vertical(pull, 60 * FOOT, ten, 60_000 * POUND) == pytest.approx(0.35, abs=0.002)
    assert lateral_force(pull, 89 * FOOT, -ten) / POUND_FORCE == pytest.approx(31_027, abs=2)
    assert lateral_force(pull, 60 * FOOT, curvature_of_degree(6)) / POUND_FORCE == pytest.approx(12_561, abs=1)
    assert lateral_force(-pull, 60 * FOOT, ten) / POUND_FORCE == pytest.approx(-20_917, abs=1)


def light_train(*, rear: bool) -> Train:
    """100 cars of 143 short tons, three units without weight."""
    base = CATALOGUE["AC six-axle locomotive"]
    assert base.traction
    weightless = given(1e-3, "kg")
    traction = replace(base.traction, adhesion=given(1e9))
    unit = replace(base, mass=weightless, tare=weightless, traction=traction, resistance=rolling(0, 0))
    cars = (100, CATALOGUE["coal hopper, loaded"])
    return train_of((2, unit), cars, (1, unit)) if rear else train_of((3, unit), cars)


def test_power_at_the_head_and_at_the_rear():
    """Worked: example 7-B (calc): 100 cars of 143 short tons, +1 %, 12 mph, modified Davis 1.3499 lb: 305,304 lb behind
    three units; with one of them behind 203,536, and 101,768 in buff before it."""
    for rear, draft, buff in ((False, 305.304, 0.0), (True, 203.536, 101.768)):
        made = light_train(rear=rear)
        speed = 12 * MPH
        force = coupler_forces(
            slope(0.01),
            vehicles_of(made),
            vehicle_resistances(made, speed),
            vehicle_efforts(made, speed),
            np.array([9000.0]),
        ).force
        assert force.max() / KIP == pytest.approx(draft, abs=0.02)
        assert -min(force.min(), 0.0) / KIP == pytest.approx(buff, abs=0.02)


def test_where_the_third_unit_stands():
    """Worked: example 7-B (calc): the node lies two thirds back: ahead of it a remote unit gives no buff, and as to the
    draft any place from one third back serves (its tail must be no more than the head's share)."""
    made = light_train(rear=True)
    terrain = slope(0.01)
    found = remote_places(terrain, made, climbs_of(terrain, made))
    assert found
    assert max(s.back for s in found.standings if s.buff < KIP) == pytest.approx(2 / 3, abs=0.011)
    least = min(s.draft for s in found.standings)
    assert min(s.back for s in found.standings if s.draft < least + KIP) == pytest.approx(1 / 3, abs=0.011)
    assert found.now.back == 1
    assert found.gain.buff == pytest.approx(found.now.buff, abs=KIP)
