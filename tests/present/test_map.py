"""The map page: whole in itself, true to the profile, safe with any text."""

from __future__ import annotations

import dataclasses
import json
import re
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest

from profiler.errors import OutputError
from profiler.grade_classes import DEFAULT_LIMITS, DOWN, UP
from profiler.ground import Bounds, Relief
from profiler.landmark import GradeRun, Landmark, Landmarks
from profiler.present import offline
from profiler.present.chart import compose_chart
from profiler.present.map import TILES, TILES_CREDIT_URL, draw_map, map_data, map_page
from profiler.present.map_line import class_runs, line_data, simplified
from profiler.present.map_marks import marks, post_marks
from profiler.present.palette import INK, MUTED, PAGE
from profiler.profile import reversed_profile
from profiler.route import Posts, Station, Structure
from profiler.units import EARTH_RADIUS
from tests.invented import PVI_M, invented_landmarks, invented_profile

HOSTILE = "</script><script>alert(1)</script>{{ 7*7 }}{% raw %} & 'x'"


def relief() -> Relief:
    field = np.add.outer(np.arange(60.0), np.arange(80.0)) * 9
    return Relief(field, Bounds(-31.6, -38.6, -30.8, -37.9), 500.0, "invented ground")


def real(units: str = "us"):
    """The invented line, declared real: then an online layer is offered."""
    return dataclasses.replace(invented_profile(units), invented=False)


def embedded(page: str) -> dict:
    return json.loads(re.search(r'id="map-data">(.*?)</script>', page, re.DOTALL)[1])


class Addresses(HTMLParser):
    """Every address an element of the page would load, and the elements' count."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.loaded: list[str] = []
        self.tags: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.loaded += [
            f"{tag} {value}" for name, value in attrs if name in ("src", "href", "data", "srcset", "poster")
        ]


def urls(page: str) -> set[str]:
    found = set(re.findall(r"(?:https?|wss?|ftp)://[^\s\"'<>`)\\]+", page))
    return found - set(offline.NAMES_NOT_FETCHED)


def test_an_invented_line_has_no_address_at_all():
    """Law: nothing on the invented map leads out of the file, and the browser is told to refuse it."""
    page = map_page(invented_profile(), invented_landmarks(), relief())
    assert urls(page) == set()
    assert Addresses(page).loaded == []
    assert "default-src 'none'; img-src data:;" in page
    assert "Invented line" in embedded(page)["invented"]


def test_a_real_line_names_the_street_map_only_and_only_if_asked():
    """Law: one optional online layer with its credit, off at first; none when it is not wanted."""
    page = map_page(real(), invented_landmarks(), relief())
    assert urls(page) == {TILES, TILES_CREDIT_URL, "https://tile.openstreetmap.org;"}
    layer = re.search(r"var (tile_layer_\d+) = L.tileLayer", page)[1]
    assert f"{layer}.addTo(" not in page
    assert urls(map_page(real(), invented_landmarks(), relief(), online_tiles=False)) == set()


def test_any_other_address_fails_loudly():
    """Law: a page that would ask the network is refused, whatever way the address is written."""
    for text in ('<img src="https://example.org/x.png">', "url(//example.org/x)", '<script src="//example.org/x">'):
        with pytest.raises(OutputError, match=r"example\.org"):
            offline.check_whole(text)


def test_nothing_of_the_library_is_left_outside():
    """Law: Leaflet's styles carry their pictures, and no script of another library remains."""
    assert re.findall(r"url\((?!data:|#)", offline.leaflet_style()) == []
    page = map_page(invented_profile(), invented_landmarks(), None)
    assert not re.search(r"jquery|bootstrap|awesome|sourceMappingURL", page, re.IGNORECASE)
    assert page.count("L.imageOverlay(") == 0


def test_a_script_cannot_end_its_element():
    """Worked: the end tag inside a string is broken by a backslash, which JavaScript ignores."""
    assert offline.inline_script('x = "</SCRIPT>"') == 'x = "<\\/SCRIPT>"'


def test_hostile_names_stay_text():
    """Law: text of input files adds no element to the page and comes back as it was."""
    profile = invented_profile()
    route = dataclasses.replace(
        profile.route,
        name=HOSTILE,
        ends=(HOSTILE, HOSTILE),
        source=HOSTILE,
        stations=(Station(HOSTILE, 700.0),),
        structures=(Structure("tunnel", 1000.0, 3000.0, HOSTILE, "tags"),),
    )
    hostile = dataclasses.replace(
        profile, route=route, source_names=(HOSTILE,), attribution=HOSTILE, vertical_datum=HOSTILE
    )
    page = map_page(hostile, invented_landmarks(), None)
    calm = map_page(profile, invented_landmarks(), None)
    assert Addresses(page).tags == Addresses(calm).tags
    assert "<script>alert" not in page
    data = embedded(page)
    assert data["name"] == HOSTILE
    assert HOSTILE in data["credit"]
    assert HOSTILE in {mark["title"] for mark in data["marks"]}


def test_an_address_in_a_name_is_text_too():
    """Law: a name that looks like an address is printed, not refused."""
    profile = invented_profile()
    route = dataclasses.replace(profile.route, name="https://example.org/line")
    page = map_page(dataclasses.replace(profile, route=route), invented_landmarks(), None)
    assert embedded(page)["name"] == "https://example.org/line"


@pytest.mark.parametrize("ground", [None, relief()])
@pytest.mark.parametrize("invented", [True, False], ids=["no street map", "with the street map"])
def test_same_inputs_give_the_same_bytes(tmp_path, ground, invented):
    """Law: folium's random ids do not reach the file."""
    profile = dataclasses.replace(invented_profile(), invented=invented)
    pages = []
    for name in ("a.html", "b.html"):
        draw_map(profile, invented_landmarks(), ground, tmp_path / name)
        pages.append((tmp_path / name).read_bytes())
    assert pages[0] == pages[1]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.html", "b.html"]


def test_a_folder_that_cannot_be_written_is_said(tmp_path):
    """Law: one sentence instead of a traceback, and no half file."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="out"):
        draw_map(invented_profile(), invented_landmarks(), None, tmp_path / "file" / "map.html")


def test_the_size_is_bounded():
    """Outside: the product's own target, 1.5 MB for a line of 60 km with its ground."""
    noise = np.random.default_rng(2).normal(size=(700, 900)).cumsum(axis=0).cumsum(axis=1) / 10
    ground = Relief(noise, Bounds(-31.7, -38.6, -30.9, -37.9), 90.0)
    assert len(map_page(invented_profile(), invented_landmarks(), ground).encode()) < 1.5e6


def test_runs_are_merged_by_class():
    """Worked: nine grades of which none meets a neighbour of its class, cut by two tunnels over 150 m and
    a suspected one inside runs: nine runs and two more for each of the three."""
    runs = class_runs(invented_profile(), invented_landmarks(), DEFAULT_LIMITS)
    assert [r[2] for r in runs if r[3] == 0 and r[1] - r[0] > 1000][:4] == [1, 2, -1, 3]
    assert len(runs) == 9 + 2 * 3
    assert [r[3] for r in runs].count(1) == 2
    assert [r[3] for r in runs].count(2) == 1
    assert all(a[1] == b[0] and a[2:] != b[2:] for a, b in pairwise(runs))


def test_runs_of_one_class_become_one():
    """Worked: 0.6 % and 0.9 % are both moderate: one run over both."""
    both = (GradeRun(0, 20000, 0.006, 1e-4, 120.0), GradeRun(20000, 50000, 0.009, 1e-4, 270.0))
    profile = invented_profile()
    bare = dataclasses.replace(profile, route=dataclasses.replace(profile.route, structures=()))
    assert class_runs(bare, Landmarks((), both, ()), DEFAULT_LIMITS) == [[0.0, 50000.0, 2, 0]]


def test_without_grade_runs_the_profile_itself_gives_the_classes():
    """Worked: the invented grades change at the known points of intersection."""
    profile = invented_profile()
    bare = dataclasses.replace(profile, route=dataclasses.replace(profile.route, structures=()))
    runs = class_runs(bare, Landmarks((), (), ()), DEFAULT_LIMITS)
    assert [r[0] for r in runs] == PVI_M[:-1].tolist()
    assert [r[2] for r in runs] == [1, 2, -1, 3, -3, -4, -3, 2, -2]


def test_the_drawn_line_stays_within_a_metre():
    """Law: no station lies farther from the drawn line than the tolerance, and far fewer vertices are drawn."""
    import shapely

    route = invented_profile().route
    keep = simplified(route.longitude, route.latitude)
    scale = np.radians(1) * EARTH_RADIUS
    x = route.longitude * scale * np.cos(np.radians(route.latitude.mean()))
    y = route.latitude * scale
    line = shapely.linestrings(np.column_stack([x, y])[keep])
    assert shapely.distance(shapely.points(x, y), line).max() < 1.05
    assert keep.size < route.chainage.size / 20
    assert keep[0] == 0
    assert keep[-1] == route.chainage.size - 1


def test_places_come_back_from_their_steps():
    """Law: sums of the steps give longitude and latitude to half a millionth of a degree."""
    route = invented_profile().route
    data = line_data(route)
    keep = simplified(route.longitude, route.latitude)
    assert np.abs(np.cumsum(data["longitude"]) * 1e-6 - route.longitude[keep]).max() <= 0.51e-6
    assert np.abs(np.cumsum(data["latitude"]) * 1e-6 - route.latitude[keep]).max() <= 0.51e-6
    assert np.abs(np.cumsum(data["chainage"]) * 0.1 - route.chainage[keep]).max() <= 0.051


def test_a_line_across_the_date_line_is_one_line():
    """Law: longitude goes on beyond 180 instead of jumping round the world."""
    route = invented_profile().route
    east = route.longitude - route.longitude.mean() + 180
    crossing = dataclasses.replace(route, longitude=np.where(east > 180, east - 360, east))
    steps = np.array(line_data(crossing)["longitude"][1:])
    assert np.abs(steps).max() < 200_000


def test_words_match_the_profile():
    """Worked: 2 km of 1.35 % with 1.32 to 1.38, from chainage 15 km, is posts 38 + 15000/1609.344 on."""
    data = map_data(invented_profile(), invented_landmarks(), DEFAULT_LIMITS, None)
    ruling = [mark for mark in data["marks"] if mark["sign"] == "ruling"]
    assert [mark["label"] for mark in ruling] == ["ruling 1.35 % to Thistle Quay", "ruling 2.45 % to Farrow"]
    assert ruling[0]["where"] == "posts 47.3 to 48.6"
    assert ruling[0]["lines"][0].startswith("1.35 % (1.32–1.38)")
    assert ruling[0]["lines"][1].startswith("1.55 % (1.51–1.59), compensated for curves")
    crests = [mark for mark in data["marks"] if mark["sign"] == "crest"]
    assert [mark["label"] for mark in crests] == ["Crest 45.5", "Crest 54.2"]
    assert "83 % likely" in crests[0]["lines"]
    steepest = min(data["grades"], key=lambda run: invented_landmarks().grade_runs[data["grades"].index(run)].grade)
    assert steepest[2][0] == "Down 2.45 %"
    assert data["classes"] == ("level", "0.1–0.5", "0.5–1", "1–2", "2+")


def test_metric_words_follow_the_units():
    """Worked: the same grades in per mille, the same lengths in metres."""
    data = map_data(invented_profile("metric"), invented_landmarks(), DEFAULT_LIMITS, None)
    labels = {mark["label"] for mark in data["marks"]}
    assert {"ruling 13.5 ‰ to Thistle Quay", "Sallow Viaduct, 400 m", "Break ↘15.0 → ↘24.5"} <= labels
    assert data["classes"][1] == "1–5"


def test_steep_lines_have_steep_classes():
    """Outside: the visual language uses 1, 2 and 3 % where the ruling grade is over 3 %."""
    steep = Landmark(kind="ruling_grade", direction="with", start=0, end=2000, at=1000, value=3.4, unit="%")
    data = embedded(map_page(invented_profile(), Landmarks((steep,), (), ()), None))
    assert data["classes"] == ["level", "0.1–1", "1–2", "2–3", "3+"]


def test_heavy_grades_of_one_stretch_are_one_bracket():
    """Worked: two kinds of heavy grade over the same 17 km in one direction share a bracket and keep their words."""
    items = invented_landmarks().items
    heavy = next(i for i in items if i.kind == "heavy_grade_over_4000")
    twin = dataclasses.replace(heavy, kind="heavy_grade_4000_or_less", start=heavy.start + 100)
    data = map_data(invented_profile(), Landmarks((*items, twin), (), ()), DEFAULT_LIMITS, None)
    brackets = [mark for mark in data["marks"] if mark["sign"] == "heavy"]
    assert len(brackets) == 1
    assert len(brackets[0]["lines"]) == 2


def test_unlikely_structures_are_not_shown():
    """Law: a suspicion below one half stays in the table."""
    tunnel = next(i for i in invented_landmarks().items if i.kind == "suspected_tunnel")
    weak = dataclasses.replace(tunnel, probability=0.4)
    data = map_data(invented_profile(), Landmarks((weak,), (), ()), DEFAULT_LIMITS, None)
    assert not [mark for mark in data["marks"] if mark["sign"] == "suspected"]
    assert not [run for run in data["runs"] if run[3] == 2]


@pytest.mark.parametrize(("probability", "label"), [(0.9, "Crest 45.5"), (0.6, "Crest? 45.5"), (0.4, None)])
def test_a_doubtful_place_is_a_question_or_not_there(probability, label):
    """Law: map and chart agree: a question mark below 80 %, nothing below 50 %."""
    crest = dataclasses.replace(invented_landmarks().of_kind("crest")[0], probability=probability)
    lone = Landmarks((crest,), invented_landmarks().grade_runs, ())
    data = map_data(invented_profile(), lone, DEFAULT_LIMITS, None)
    assert [mark["label"] for mark in data["marks"] if mark["sign"] == "crest"] == ([label] if label else [])
    drawn = compose_chart(invented_profile(), lone)
    words = {item.text for item in drawn.sheet.words}
    assert {word for word in words if word.startswith("Crest")} == ({label} if label else set())


def test_the_band_shows_where_elevations_are_less_sure():
    """Worked: s.e. 6 m in structures is ±11.8 m, over 10 m and not over 25; on open track 2 m is ±3.9 m."""
    profile = invented_profile("metric", se_m=2.0)
    data = map_data(profile, invented_landmarks(), DEFAULT_LIMITS, None)
    spans = [(s.start, s.end + 10.0, 1) for s in profile.route.structures]
    assert [tuple(run) for run in data["unsure"]] == spans
    assert data["band"]["words"] == ("±10 m", "±25 m", "±50 m")


def test_every_place_says_how_sure():
    """Worked: 50 km in places 200 m apart; s.e. 1.5 m in the open is ±2.9 m, in a tunnel ±8.8 m."""
    data = map_data(invented_profile("metric"), invented_landmarks(), DEFAULT_LIMITS, None)
    places = dict(data["places"])
    assert len(places) == 251
    assert "±2.9 m" in places[1000.0]
    assert "up 2.5 ‰" in places[1000.0]
    assert "±8.8 m" in places[21000.0]


def test_a_suspicion_that_meets_the_end_says_so():
    """Law: a suspected tunnel that does not come out before the line ends is never shown as a whole one."""
    tunnel = next(i for i in invented_landmarks().items if i.kind == "suspected_tunnel")
    profile = invented_profile()
    for end, label in ((40400.0, "tunnel? 83 %"), (50000.0, "tunnel? 83 %, no end seen")):
        marks = Landmarks((dataclasses.replace(tunnel, end=end),), (), ())
        sign = next(m for m in map_data(profile, marks, DEFAULT_LIMITS, None)["marks"] if m["sign"] == "suspected")
        assert sign["label"] == label
        assert any(line.startswith("rail height sure to ±") for line in sign["lines"])


def test_posts_follow_an_equation():
    """Worked: posts 0 to 3 km, then a jump from 3.5 back to 3.0: the post 3 stands twice."""
    profile = invented_profile()
    posts = Posts(np.array([0.0, 3500.0, 3500.0]), np.array([0.0, 3.5, 3.0]), "km")
    marks = post_marks(dataclasses.replace(profile, route=dataclasses.replace(profile.route, posts=posts)))
    assert [x for x, post in marks if post == 3] == [3000.0, 3500.0]
    assert marks[:3] == [[0.0, 0], [1000.0, 1], [2000.0, 2]]


def test_a_post_equation_is_a_sign():
    """Worked: 51.36 back is 51.50 ahead, 0.14 mi or 739 ft; one beyond the end is not on the map. Law: turned
    round, back and ahead change places, and the posts left out stay left out."""
    profile = invented_profile()
    posts = Posts(np.array([0.0, 21_500, 21_500, 60_000, 60_000]), np.array([38.0, 51.36, 51.5, 75.0, 76.0]), "mi")
    profile = dataclasses.replace(profile, route=dataclasses.replace(profile.route, posts=posts))
    for seen, label, at in (
        (profile, "mi 51.36 = mi 51.50", 21_500.0),
        (reversed_profile(profile), "mi 51.50 = mi 51.36", 28_500.0),
    ):
        (sign,) = (m for m in marks(seen, Landmarks((), (), ())) if m["sign"] == "equation")
        assert (sign["label"], sign["at"], sign["where"]) == (label, at, "post equation")
        assert sign["lines"] == ["739 ft of posts are left out here"]


def test_colours_are_those_of_the_palette():
    """Law: one module holds the colours; the page's own style and script repeat ink, muted and page only."""
    data = map_data(invented_profile(), invented_landmarks(), DEFAULT_LIMITS, None)
    assert [data["colours"]["open"][str(i)] for i in (-4, -1, 0, 1, 4)] == [DOWN[4], DOWN[1], UP[0], UP[1], UP[4]]
    style, script = offline.own_file("map.css"), offline.own_file("map.js")
    assert f"--ink: {INK}; --muted: {MUTED};" in style
    assert f"--page: {PAGE}" in style
    assert f'INK = "{INK}"' in script
