"""The picture of lines side by side: told apart without colour, labels apart, the choice of axis said."""

from __future__ import annotations

import dataclasses
import itertools
import xml.etree.ElementTree as ET
from functools import cache

import matplotlib.image
import numpy as np
import pytest

from profiler import wording
from profiler.comparison.beside import Beside, compare_beside
from profiler.present.beside import BesidePicture, compose_beside, draw_beside
from profiler.present.beside_lines import STROKES
from profiler.present.ink import Lines
from profiler.present.palette import INK, lightness
from profiler.profile import Profile
from tests.invented import invented_profile, seen_profile


def lower(units: str, share: float = 0.8) -> Profile:
    """The invented line with heights and grades of a share of its own, under another name."""
    profile = invented_profile(units)
    draws = dataclasses.replace(profile.draws, elevation=profile.draws.elevation * share)
    return dataclasses.replace(
        profile,
        route=dataclasses.replace(profile.route, name="Farrow by the marsh"),
        elevation=profile.elevation * share,
        grade=profile.grade * share,
        draws=draws,
    )


@cache
def beside(case: str = "us") -> Beside:
    units = "metric" if case == "metric" else "us"
    profiles = [invented_profile(units), lower(units)]
    if case == "six":
        profiles += [lower(units, share) for share in (1.1, 0.7, 0.6, 0.5)]
    elif case == "seen":
        profiles = [seen_profile(), lower(units)]
    elif case == "chainage":
        route = profiles[1].route
        unstated = dataclasses.replace(route.posts, stated=False)
        profiles[1] = dataclasses.replace(
            profiles[1], route=dataclasses.replace(route, posts=unstated, curves=(), stations=())
        )
    return compare_beside(profiles, ["upper", "lower"])


@cache
def picture(case: str = "us") -> BesidePicture:
    return compose_beside(beside(case))


def words_of(drawn: BesidePicture) -> list[str]:
    return [item.text for item in drawn.sheet.words]


@pytest.mark.parametrize("case", ["us", "metric", "six", "seen", "chainage"])
def test_labels_lie_apart_and_within(case: str):
    """Law of the look: no two label boxes meet, all words lie on the sheet and are 6.5 pt at least."""
    drawn = picture(case)
    boxes = [choice.box for _, choice in drawn.placed]
    assert len(boxes) > 40
    assert not any(a.meets(b) for a, b in itertools.combinations(boxes, 2))
    for item in drawn.sheet.words:
        assert item.style.size >= 6.5
        assert item.left > -1
        assert item.right < drawn.sheet.width + 1
        assert item.y > 1


@pytest.mark.parametrize("case", ["us", "six"])
def test_every_line_is_named_beside_it(case: str):
    """Law: a direct label tells each line, whatever its colour."""
    placed = {label.name for label, _ in picture(case).placed}
    for side in beside(case).sides:
        assert any(name.startswith(f"line {side.letter}") for name in placed)


def test_lines_are_told_apart_without_colour():
    """Law of the look: all six lines are ink; every pair differs in weight or dash. The same stroke is in the key."""
    assert len({(stroke.width, stroke.dash) for stroke in STROKES}) == 6
    assert lightness(INK) < 20
    drawn = picture("six")
    words = words_of(drawn)
    for side, stroke in zip(beside("six").sides, STROKES, strict=True):
        assert f"{side.letter}, {stroke.words}" in words
    styles = set()
    for item in drawn.sheet.drawn:
        if isinstance(item, Lines) and item.z == 3.5 and max(np.ptp(piece[:, 0]) for piece in item.pieces) > 500:
            styles.add((item.width, item.dash))
            assert item.colour == INK
    assert len(styles) == 6


@pytest.mark.parametrize(("case", "said"), [("us", "over the posts that all share"), ("chainage", "from each line's")])
def test_the_axis_is_said_on_the_picture(case: str, said: str):
    """Law: what the lines are drawn over stands on the picture, with the caution and that the line is invented."""
    words = " ".join(words_of(picture(case)))
    assert said in words
    assert wording.CAUTION.split(". ")[0] in words
    assert wording.INVENTED in words


def test_a_mile_of_posts_that_is_no_mile_is_said():
    """Worked: 49 km of track over the posts of 50 km are 0.980 miles a mile."""
    profile = invented_profile()
    nothing = dict.fromkeys(("curves", "structures", "stations", "limits", "slow_orders"), ())
    posts = profile.route.posts
    tied = dataclasses.replace(posts, chainage=np.array([0.0, 49_000.0]), value=posts.at(np.array([0.0, 50_000.0])))
    route = dataclasses.replace(profile.route, chainage=profile.chainage * 0.98, posts=tied, **nothing)
    drawn = compose_beside(compare_beside([profile, dataclasses.replace(profile, route=route)]))
    assert "Track in a mile of posts, on average: B 0.980 miles." in drawn.sentences


def test_the_table_has_the_figures():
    """Worked: 254.25 m of rise against 0.8 of it, and what they differ by, in the units of the line; clear ones are
    bold, the others muted."""
    metric = {row[0]: row for row in picture("metric").table.words}
    assert metric["total rise to Thistle Quay"][1:3] == ("254 m", "203 m")
    assert metric["total rise to Thistle Quay"][3].startswith("−51 m (−")
    assert metric["total rise to Thistle Quay"][3].endswith("), clear")
    assert metric["length"][1] == "50.00 km"
    assert "total rise to Farrow" not in metric
    assert metric["curves"][1:] == ("9", "9", "0")
    us = {row[0]: row for row in picture("us").table.words}
    assert us["total rise to Thistle Quay"][1] == "834 ft"
    assert us["length"][1] == "31.07 mi"


def test_no_grade_run_is_called_a_pvi():
    """Law of the look: without PVIs in the data the rows say grade runs, and the picture never says PVI."""
    words = " ".join(words_of(picture("us")))
    assert "grade runs, %" in words
    assert "PVI" not in words


def test_same_lines_same_bytes(tmp_path):
    """Law: the same lines give the same files; the SVG has a title and a description with the figures."""
    for name in ("a", "b"):
        draw_beside(beside("metric"), svg=tmp_path / f"{name}.svg", png=tmp_path / f"{name}.png")
    for kind in ("svg", "png"):
        assert (tmp_path / f"a.{kind}").read_bytes() == (tmp_path / f"b.{kind}").read_bytes()
    root = ET.parse(tmp_path / "a.svg").getroot()
    title, about = (root.find(f"{{http://www.w3.org/2000/svg}}{name}").text for name in ("title", "desc"))
    assert title == "Side by side: A Farrow to Thistle Quay · B Farrow by the marsh"
    assert "length; 50.00 km; 50.00 km" in about
    assert not root.findall(".//{http://www.w3.org/2000/svg}text")
    picture_read = matplotlib.image.imread(tmp_path / "a.png")
    assert picture_read.shape[1] > 1000
