"""The line beside design practice: what is noted, what is not, and that it is only information."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.landmark import PracticeNote
from profiler.landmarks.find import find_landmarks
from profiler.landmarks.practice import practice_notes, speeds_over
from profiler.profile import Profile, reversed_profile
from profiler.route import CurveElement, SpeedLimit
from profiler.units import FOOT, INCH, KMH, MPH, curvature_of_degree
from profiler.vertical_curve import Pvi
from tests.invented import invented_profile
from tests.tangents import profile_of

ALL = SpeedLimit(0.0, 10_000.0, 45 * MPH)


def curve(degree: float, start: float = 2000.0, spiral: float = 60.0, **other: object) -> CurveElement:
    """A curve of 400 m."""
    facts = {"number": "1A", "kind": "simple", "curvature_se": 0.0, "spiral_in": spiral, "spiral_out": spiral, **other}
    return CurveElement(start=start, end=start + 400, curvature=float(curvature_of_degree(degree)), **facts)


def line(*curves: CurveElement, limits: tuple[SpeedLimit, ...] = (), pvis: tuple[Pvi, ...] = ()) -> Profile:
    """Ten level kilometres with curves, limits and PVIs; the rest of the profile is not read here."""
    s = np.arange(0.0, 10_001.0, 50.0)
    profile = profile_of(s, np.full(s.size, 100.0))
    route = dataclasses.replace(profile.route, curves=curves, limits=limits)
    return dataclasses.replace(profile, route=route, pvis=pvis, pvi_visible=bool(pvis))


def noted(profile: Profile, kind: str) -> list[PracticeNote]:
    return [note for note in practice_notes(profile) if note.kind == kind]


def test_tight_curves_need_no_speed():
    """Worked: 15.5° is tighter than 15°; with a standard error of 0.3° it might be 14.91°: nothing is said."""
    (note,) = practice_notes(line(curve(-15.5), curve(15.0, 4000.0)))
    assert (note.kind, note.of, note.speed, note.unit, note.departs) == (
        "tight_curve",
        "curve 1A",
        None,
        "degree",
        True,
    )
    assert (note.value, note.practice) == (pytest.approx(15.5), 15.0)
    se = float(curvature_of_degree(15.8) - curvature_of_degree(15.5))
    assert not practice_notes(line(curve(15.5, curvature_se=se)))


def test_without_a_limit_only_what_needs_no_speed():
    """Law: no cant and no spiral is spoken of without a speed; vertical curves by their rate only."""
    short = dataclasses.replace(curve(6), spiral_in=0.0)
    pvi = Pvi(6000.0, 100.0, 0.01, -0.01, 30.0)
    assert {note.kind for note in practice_notes(line(short, pvis=(pvi,)))} == {"sharp_vertical_curve"}
    found = practice_notes(line(short, pvis=(pvi,), limits=(ALL,)))
    assert {note.kind for note in found} == {"balanced_cant", "short_spiral", "sharp_vertical_curve"}
    assert all(note.speed == 45 * MPH for note in found)


def test_balanced_cant_of_every_curve_under_a_limit():
    """Worked: 4° at 30 mph: 0.0007·4·900 = 2.52 in = 64.0 mm. That is no departure. 4° at 60 mph: 10.08 in,
    more than 6 in of cant and 3 of unbalance."""
    slow, fast = SpeedLimit(0, 3000, 30 * MPH), SpeedLimit(3000, 9000, 60 * MPH)
    profile = line(curve(4, spiral=300.0), curve(4, 4000.0, 150.0), limits=(slow, fast))
    calm, high = [note for note in practice_notes(profile) if note.unit == "mm"]
    assert (calm.kind, calm.value, calm.departs) == ("balanced_cant", pytest.approx(2.52 * 25.4), False)
    assert (high.kind, high.value, high.departs) == ("cant", pytest.approx(10.08 * 25.4), True)
    assert high.practice == pytest.approx(9 * 25.4)


def test_every_class_of_train_has_its_own_say():
    """Worked: 6° at 25 mph of freight 2.625 in, at 45 mph of passengers 8.505 in."""
    limits = (SpeedLimit(0, 9000, 25 * MPH, "freight"), SpeedLimit(0, 9000, 45 * MPH, "passenger"))
    found = {note.train_class: note.value for note in noted(line(curve(6), limits=limits), "balanced_cant")}
    assert found == pytest.approx({"freight": 2.625 * 25.4, "passenger": 8.505 * 25.4})


def test_short_spiral():
    """Worked: 6° at 40 mph asks for 62·3.72 = 230.6 ft = 70.3 m; 60 m is too short, 80 m is not, and 60 m
    with a standard error of 6 m is no more than doubtful."""
    limit = (SpeedLimit(0, 9000, 40 * MPH),)
    into, out = noted(line(curve(6, spiral=60.0), limits=limit), "short_spiral")
    assert (into.of, out.of) == ("spiral into curve 1A", "spiral out of curve 1A")
    assert (into.start, into.end, out.start, out.end) == (2000, 2060, 2340, 2400)
    assert (into.value, into.practice) == (60, pytest.approx(230.64 * FOOT))
    assert not noted(line(curve(6, spiral=80.0), limits=limit), "short_spiral")
    doubtful = curve(6, spiral=60.0, spiral_in_se=6.0, spiral_out_se=6.0)
    assert not noted(line(doubtful, limits=limit), "short_spiral")


def test_arcs_of_a_compound_curve_share_one_spiral():
    """Worked: 4° to 6° at 40 mph differ by 2.24 in of balanced cant: E_a 65.2·2.24/127.2 = 1.148, 71.2 ft =
    21.7 m. 20 m between them is short; the spirals to the tangents are long enough."""
    first = curve(4, kind="compound", number="1A.1", spiral=100.0, spiral_out=20.0)
    second = curve(6, 2380.0, 100.0, kind="compound", number="1A.2", spiral_in=20.0)
    (note,) = noted(line(first, second, limits=(SpeedLimit(0, 9000, 40 * MPH),)), "short_spiral")
    assert (note.of, note.start, note.end) == ("spiral between curves 1A.1 and 1A.2", 2380, 2400)
    assert note.practice == pytest.approx(62 * 65.2 * 2.24 / 127.2 * FOOT)


def test_a_spiral_cut_by_the_end_of_the_line_is_not_judged():
    """Law: where the line begins inside a curve, its spiral is not there to be seen."""
    limit = (SpeedLimit(0, 10_000, 40 * MPH),)
    begins, ends = curve(6, 0.0, number="1A"), curve(6, 9600.0, number="2A")
    found = noted(line(begins, ends, limits=limit), "short_spiral")
    assert [note.of for note in found] == ["spiral out of curve 1A", "spiral into curve 2A"]


def test_sharp_vertical_curve_by_speed():
    """Worked: 1.5 % at 45 mph: 1.5·2025·0.0215/0.10 = 653.1 ft of freight, 108.8 ft of passengers."""
    limits = (SpeedLimit(0, 9000, 45 * MPH, "freight"), SpeedLimit(0, 9000, 45 * MPH, "passenger"))
    pvi = Pvi(6000.0, 100.0, 0.01, -0.005, 100.0)
    (note,) = noted(line(pvis=(pvi,), limits=limits), "sharp_vertical_curve")
    assert (note.train_class, note.start, note.end, note.value) == ("freight", 5950, 6050, 100)
    assert note.practice / FOOT == pytest.approx(653.06, abs=0.01)
    assert "0.10 ft/s²" in note.source


def test_sharp_vertical_curve_by_rate():
    """Worked: 1.5 % at 0.20 % a station of 100 ft is 750 ft on a crest, at 0.10 % 1,500 ft in a sag."""
    crest, sag = Pvi(3000.0, 100.0, 0.01, -0.005, 100.0), Pvi(6000.0, 100.0, -0.005, 0.01, 100.0)
    found = noted(line(pvis=(crest, sag)), "sharp_vertical_curve")
    assert [note.practice / FOOT for note in found] == pytest.approx([750, 1500])


def test_vertical_curves_that_are_not_sure():
    """Worked: M = A·L/8, so 0.3 m of height is 8·0.3/0.015 = 160 m of length: 100 m might be 414. Law: what
    is hardly a PVI is not judged, and without PVIs nothing is."""
    pvi = Pvi(6000.0, 100.0, 0.01, -0.005, 100.0)
    for other in (dataclasses.replace(pvi, elevation_se=0.3), dataclasses.replace(pvi, probability=0.4)):
        assert not practice_notes(line(pvis=(other,)))
    assert not practice_notes(dataclasses.replace(line(pvis=(pvi,)), pvi_visible=False))


def test_speeds_over_a_stretch():
    """Law: of one class the lowest of overlapping limits counts, then the highest along the stretch; a
    place that only touches the stretch's end is of no length, but a point has the limit it lies in."""
    a, b, c = SpeedLimit(0, 100, 20.0), SpeedLimit(50, 200, 10.0), SpeedLimit(0, 300, 30.0, "passenger")
    assert speeds_over((a, b, c), 10, 90) == {"": 20.0, "passenger": 30.0}
    assert speeds_over((a, b, c), 60, 90) == {"": 10.0, "passenger": 30.0}
    assert speeds_over((a, b), 100, 150) == {"": 10.0}
    assert speeds_over((a, b), 40, 40) == {"": 20.0}
    assert speeds_over((a, b), 250, 260) == {}


def test_a_limit_that_ends_beside_the_curve_does_not_count():
    """Law: the speed of a curve is that of the middle of its body; limits change near the ends of curves."""
    before, over = SpeedLimit(0, 2120, 60 * MPH), SpeedLimit(2120, 9000, 20 * MPH)
    (note,) = noted(line(curve(6), limits=(before, over)), "balanced_cant")
    assert note.speed == 20 * MPH


def test_same_notes_the_other_way():
    """Law: a line travelled from its other end departs from practice in the same places."""
    profile = invented_profile()
    turned = practice_notes(reversed_profile(profile))
    there = {(n.kind, round(n.start), round(n.value, 3), n.speed) for n in practice_notes(profile)}
    assert {(n.kind, round(50_000 - n.end), round(n.value, 3), n.speed) for n in turned} == there


def test_every_curve_of_the_invented_line_has_its_cant():
    """Law: find_landmarks carries the notes; every curve under a limit is there once a class. Worked: the 8°
    curve at 25 mph is balanced by 0.0007·8·625 = 3.5 in."""
    found = find_landmarks(invented_profile()).practice
    cants = [note for note in found if note.unit == "mm"]
    assert len(cants) == 9
    assert max(cants, key=lambda note: note.start == 27_700).value == pytest.approx(3.5 * INCH * 1000)
    assert [note.start for note in found] == sorted(note.start for note in found)


def test_kilometres_an_hour_are_speeds_too():
    """Worked: R 300 m at 80 km/h: 11.8·6400/300 = 251.7 mm in metric rules; 0.0007·D·V² is 1.6 % more."""
    profile = line(dataclasses.replace(curve(6), curvature=1 / 300), limits=(SpeedLimit(0, 9000, 80 * KMH),))
    (note,) = noted(profile, "cant")
    assert note.value == pytest.approx(251.7 * 1.016, rel=0.002)
