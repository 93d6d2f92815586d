"""Crests and sags: place, height, prominence, and how surely they are there."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import peak_prominences

from profiler.landmarks.find import find_landmarks
from profiler.landmarks.turning import crests_and_sags, turning_points
from profiler.units import FOOT
from tests.tangents import of_pvis, profile_of


def parabola(length: float, g1: float, g2: float, start_z: float, step: float = 10.0):
    """Chainage and elevation (n,) [m] of a vertical curve with 2 km of tangent on both sides."""
    s = np.arange(0.0, length + 4000, step)
    x = np.clip(s - 2000, 0, length)
    z = start_z + g1 * np.minimum(s - 2000, 0) + g1 * x + (g2 - g1) / (2 * length) * x**2
    return s, z + g2 * np.maximum(s - 2000 - length, 0)


@pytest.mark.parametrize(
    ("length", "g1", "g2", "start_z", "at", "height"),
    [
        (2170.0, 0.03, -0.04, 217.45, 930.0, 231.40),  # course sheet, crest vertical curve
        (2500 * FOOT, 0.015, -0.010, 981.25 * FOOT, 1500 * FOOT, 992.500 * FOOT),  # worked by hand, rail crest
        (500 * FOOT, 0.0134, -0.0177, 1067.29 * FOOT, 215.43 * FOOT, 1068.733 * FOOT),  # course sheet, station 2+15.43
    ],
)
def test_summit_of_a_vertical_curve(length: float, g1: float, g2: float, start_z: float, at: float, height: float):
    """Published: course sheets on crest vertical curves, summits 930 m and 2+15.43 stations past their
    beginning (231.40 m, 1,068.733 ft). Worked: the rail crest, 1,500 ft past it at 992.5 ft."""
    s, z = parabola(length, g1, g2, start_z)
    (crest,) = (x for x in find_landmarks(profile_of(s, z)).items if x.kind == "crest")
    assert crest.at - 2000 == pytest.approx(at, abs=10.0)
    assert np.interp(crest.at, s, z) == pytest.approx(height, abs=0.01)
    assert f"summit at {height:.1f} m" in crest.note
    assert crest.probability == 1.0


@given(st.lists(st.integers(-300, 300), min_size=5, max_size=30), st.sampled_from([3.0, 5.0, 12.0]))
def test_they_alternate_and_stand_out(grades: list[int], prominence: float):
    """Law: between two crests lies a sag and the other way round; prominences as scipy defines them."""
    profile = of_pvis((np.arange(len(grades) + 1) * 600.0).tolist(), [g / 1e4 for g in grades], step=100.0)
    found = sorted(crests_and_sags(profile, prominence), key=lambda x: x.at)
    names = [x.kind for x in found]
    assert all(a != b for a, b in itertools.pairwise(names))
    for turn in found:
        i = int(np.searchsorted(profile.chainage, turn.at))
        z = profile.elevation if turn.kind == "crest" else -profile.elevation
        assert turn.value == pytest.approx(float(peak_prominences(z, [i])[0][0]))
        assert turn.value >= prominence
    assert len(turning_points(profile.elevation, prominence)) == len(found) + 2


def hill(rise: float, seed: int, noise: float, count: int = 200):
    """A hill 6 km long and ``rise`` [m] high on a climb of 1 %, told once and drawn ``count`` times."""
    truth = of_pvis([0, 6000, 6000 + rise / 0.006, 9000 + rise / 0.006], [0.01, -0.006, 0.01])
    nodes = np.append(np.arange(0, truth.chainage[-1], 100.0), truth.chainage[-1])
    rng = np.random.default_rng(seed)
    wander = np.cumsum(rng.normal(0, noise, (count + 1, nodes.size)), axis=1)
    wander -= wander.mean(axis=1, keepdims=True)
    told = np.interp(nodes, truth.chainage, truth.elevation) + wander[0]
    return profile_of(nodes, told, draws=told + wander[1:], nodes=nodes)


def test_a_clear_hill_is_sure():
    """Law: a summit with 20 m behind it, known to half a metre, stands in every draw."""
    crest = max((x for x in crests_and_sags(hill(20, 1, 0.05), 5.0) if x.kind == "crest"), key=lambda x: x.value)
    assert crest.probability == 1.0
    assert crest.place_low <= 6000 <= crest.place_high
    assert crest.place_high - crest.place_low < 600


def test_a_doubtful_hill_is_not():
    """Law: a dip of just the prominence asked for is there in some draws and not in others."""
    turns = [t for seed in range(8) for t in crests_and_sags(hill(5, seed, 0.25), 5.0) if abs(t.at - 6000) < 1000]
    assert turns
    assert 0.05 < np.mean([t.probability for t in turns]) < 0.9


def test_the_place_is_within_its_interval():
    """Law: over 40 simulated lines the 95 % interval of the place holds the true summit at least 35 times."""
    held = 0
    for seed in range(40):
        crests = [x for x in crests_and_sags(hill(15, 100 + seed, 0.12), 5.0) if x.kind == "crest"]
        crest = min(crests, key=lambda x: abs(x.at - 6000))
        held += crest.place_low - 50 <= 6000 <= crest.place_high + 50  # draws bend at nodes only
    assert held >= 35


def test_a_neighbour_is_another_crest():
    """Worked: of two summits 1 km apart each draw has one only, at 4 or at 5 km: each is half likely."""
    s = np.arange(0, 9001, 100.0)
    both = np.interp(s, [0, 4000, 4500, 5000, 9000], [0, 40, 30, 40, 0])
    first = np.interp(s, [0, 4000, 9000], [0, 40, 0])
    second = np.interp(s, [0, 5000, 9000], [0, 40, 0])
    profile = profile_of(s, both, draws=np.array([first, second] * 10), nodes=s)
    crests = [x for x in crests_and_sags(profile, 5.0) if x.kind == "crest"]
    assert [(x.at, x.probability, x.place_low) for x in crests] == [(4000, 0.5, 4000), (5000, 0.5, 5000)]
