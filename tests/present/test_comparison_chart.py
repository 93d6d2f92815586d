"""The picture of a profile beside a reference: labels apart, both lines told without colour, all of it in words."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from functools import cache

import numpy as np
import pytest

from profiler import wording
from profiler.comparison.compare import Comparison, compare
from profiler.elevation.noise import Noise
from profiler.present.comparison import ComparisonPicture, compose_comparison, draw_comparison
from profiler.present.ink import Areas
from profiler.present.palette import INK, WHITE
from tests.comparison.test_compare import gradients, reference, stations
from tests.comparison.truths import profile_of
from tests.truth import railway


@cache
def comparison(case: str) -> Comparison:
    line = railway(3, style="mixed", length=20_000.0)
    profile = profile_of(line.elevation, Noise(2.5, 250.0), 3, units="us" if case == "us" else "metric")
    if case == "stations":
        return compare(profile, stations(line, lift=2.3))
    if case == "older":
        return compare(profile, profile_of(line.elevation, Noise(2.5, 250.0), 4), source="older")
    if case == "wrong":
        at = np.array([1000.0, 5000.0, 9000.0])
        z = np.interp(at, line.chainage, line.elevation) + np.array([0.0, 30.0, 0.0])
        return compare(profile, reference(position=at, elevation=z, elevation_se=np.ones(3), kind="pvis"))
    return compare(profile, gradients(line, piece=200.0))


@cache
def picture(case: str) -> ComparisonPicture:
    return compose_comparison(comparison(case))


def words_of(drawn: ComparisonPicture) -> list[str]:
    return [item.text for item in drawn.sheet.words]


@pytest.mark.parametrize("case", ["us", "metric", "stations", "older", "wrong"])
def test_labels_lie_apart_and_within(case: str):
    """Law of the look: no two label boxes meet, all words lie on the sheet and are 6.5 pt at least."""
    drawn = picture(case)
    boxes = [choice.box for _, choice in drawn.placed]
    assert boxes
    assert not any(a.meets(b) for a, b in itertools.combinations(boxes, 2))
    for item in drawn.sheet.words:
        assert item.style.size >= 6.5
        assert item.left > -1
        assert item.right < drawn.sheet.width + 1
        assert item.y > 1


@pytest.mark.parametrize(
    ("case", "rows", "missing"),
    [
        ("metric", {"Rail", "Grade", "Grade off", "reference, ‰"}, {"Height off"}),
        ("us", {"Grade off", "reference, %"}, {"Height off"}),
        (
            "stations",
            {"Rail", "Height off", "Grade off", "reference, m", "Sedge Hill"},
            {"reference, its grades added up"},
        ),
    ],
)
def test_rows_and_their_units(case: str, rows: set[str], missing: set[str]):
    """Law: a row stands where there is something to show, and its unit with it."""
    words = set(words_of(picture(case)))
    assert rows <= words
    assert not missing & words


def test_what_lies_beyond_is_solid_and_what_lies_within_is_open():
    """Law of the look: told by fill, not by colour. One elevation of three is 30 m wrong: one solid, two open."""
    drawn, found = picture("wrong"), comparison("wrong")
    assert found.elevation.within.tolist() == [True, False, True]
    diamonds = {WHITE: 0, INK: 0}
    for item in drawn.sheet.drawn:
        for corners in item.shapes if isinstance(item, Areas) else ():
            if len(corners) == 4 and np.ptp(corners[:, 0]) < 6 and corners[0, 1] == corners[2, 1]:
                diamonds[item.fills[0]] += 1
    assert diamonds == {WHITE: 2 + 1, INK: 1 + 1}, "one of each stands in the key"


def test_caution_source_and_placing_are_said():
    """Law: caution, that the line is invented, the kind of reference and how it was placed stand on the picture."""
    words = " ".join(words_of(picture("metric")))
    for said in (wording.CAUTION.split(". ")[0], wording.INVENTED, "Read as gradient table", "as they stand"):
        assert said in words
    assert "held against table.csv" in words


def test_same_comparison_same_bytes(tmp_path):
    """Law: the same comparison gives the same files; the SVG has a title and a description with the figures."""
    for name in ("a", "b"):
        draw_comparison(comparison("stations"), svg=tmp_path / f"{name}.svg", png=tmp_path / f"{name}.png")
    for kind in ("svg", "png"):
        assert (tmp_path / f"a.{kind}").read_bytes() == (tmp_path / f"b.{kind}").read_bytes()
    root = ET.parse(tmp_path / "a.svg").getroot()
    title, about = (root.find(f"{{http://www.w3.org/2000/svg}}{name}").text for name in ("title", "desc"))
    assert title == "Marram to Sallow, held against table.csv"
    assert "Elevations at 4 places" in about
