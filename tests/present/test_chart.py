"""The strip chart of the invented line: labels apart, words readable, files the same twice."""

from __future__ import annotations

import dataclasses
import itertools
import xml.etree.ElementTree as ET

import matplotlib.image
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from profiler.errors import OutputError
from profiler.grade_classes import DOWN, UP
from profiler.landmark import Landmarks
from profiler.present.chart import Chart, compose_chart, draw_chart
from profiler.present.chart_frame import Panel, Row
from profiler.present.chart_key import FINE, provenance, wrapped
from profiler.present.chart_rows import draw_posts
from profiler.present.typeface import extent
from profiler.profile import Profile, reversed_profile
from profiler.route import Posts, Station
from profiler.units import MILE
from tests.invented import invented_known, invented_landmarks, invented_profile, seen_profile

TOTAL = 50_000.0
TURNED = {"with": "against", "against": "with", "both": "both"}


def turned(marks: Landmarks) -> Landmarks:
    """The invented landmarks seen from the other end."""
    items = tuple(
        dataclasses.replace(
            m,
            start=TOTAL - m.end,
            end=TOTAL - m.start,
            at=TOTAL - m.at,
            direction=TURNED[m.direction],
        )
        for m in reversed(marks.items)
    )
    doubts = [0.0, *(run.end_se for run in marks.grade_runs)]
    runs = tuple(
        dataclasses.replace(r, start=TOTAL - r.end, end=TOTAL - r.start, grade=-r.grade, end_se=doubts[i])
        for i, r in reversed(list(enumerate(marks.grade_runs)))
    )
    return Landmarks(items, runs, ())


def crowded(profile: Profile) -> Profile:
    """The line with 60 stations of long names."""
    names = tuple(Station(f"Upper Ombersley Halt {i}", 400.0 + 820.0 * i) for i in range(60))
    return dataclasses.replace(profile, route=dataclasses.replace(profile.route, stations=names))


def unsure(marks: Landmarks) -> Landmarks:
    """The same landmarks with edges and grades little known."""
    runs = tuple(dataclasses.replace(r, end_se=6 * r.end_se, grade_se=0.004) for r in marks.grade_runs)
    return dataclasses.replace(marks, grade_runs=runs)


def bare(profile: Profile) -> Profile:
    """The line with nothing on it and no name."""
    nothing = dict.fromkeys(("curves", "structures", "stations", "limits", "slow_orders"), ())
    return dataclasses.replace(profile, route=dataclasses.replace(profile.route, name="", ends=("", ""), **nothing))


def chart(units: str = "us", case: str = "plain", scale: float | None = None) -> Chart:
    """The invented line as a chart, in one of several states."""
    profile, marks = invented_profile(units), invented_landmarks()
    if case == "seen":
        profile = seen_profile(units)
    elif case == "reversed":
        profile, marks = reversed_profile(profile), turned(marks)
    elif case == "crowded":
        profile = crowded(profile)
    elif case == "unsure":
        marks = unsure(marks)
    elif case == "bare":
        profile, marks = bare(profile), Landmarks((), marks.grade_runs, ())
    return compose_chart(profile, marks, scale=scale)


def words_of(drawn: Chart) -> list[str]:
    """All words on a sheet."""
    return [item.text for item in drawn.sheet.words]


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize(
    ("case", "scale"),
    [
        ("plain", None),
        ("reversed", None),
        ("plain", 0.012),
        ("reversed", 0.05),
        ("crowded", 0.018),
        ("unsure", None),
        ("seen", None),
        ("bare", None),
    ],
)
def test_no_two_words_meet(units, case, scale):
    """Outside: matplotlib's renderer measures all words at 300 dots an inch; no two boxes share ink room."""
    drawn = chart(units, case, scale)
    figure = Figure((drawn.sheet.width / 72, drawn.sheet.height / 72), dpi=300)
    renderer = FigureCanvasAgg(figure).get_renderer()
    places = [(item.left / drawn.sheet.width, item.y / drawn.sheet.height, item) for item in drawn.sheet.words]
    texts = [figure.text(x, y, t.text, fontproperties=t.style.font, parse_math=False) for x, y, t in places]
    boxes = np.array([t.get_window_extent(renderer).extents for t in texts])
    slack = 0.6 * 300 / 72
    for i, j in itertools.combinations(range(len(texts)), 2):
        overlap = np.minimum(boxes[i, 2:], boxes[j, 2:]) - np.maximum(boxes[i, :2], boxes[j, :2])
        assert not (overlap > slack).all(), (texts[i].get_text(), texts[j].get_text())
    inside = (boxes[:, :2] >= 0).all() and (boxes[:, 2:] <= figure.bbox.extents[2:]).all()
    assert inside


@pytest.mark.parametrize("case", ["plain", "crowded", "bare"])
def test_no_word_is_smaller_than_the_floor(case):
    """Law: nothing under 6.5 pt on paper; what does not fit goes instead."""
    assert min(item.style.size for item in chart("us", case).sheet.words) >= 6.5


def test_what_is_dropped_is_listed_and_not_drawn():
    """Law: of 60 stations each name is either on the sheet or in the list, never both, and some of each."""
    drawn = chart("us", "crowded", 0.018)
    there = set(words_of(drawn))
    names = [f"Upper Ombersley Halt {i}" for i in range(60)]
    listed = {name.rpartition(",")[0] for name in drawn.dropped}
    assert all((name in there) != (name in listed) for name in names)
    assert 5 < sum(name in there for name in names) < 60


def test_ruling_grades_are_named_for_both_ends():
    """Worked: the invented line: 1.35 % to Thistle Quay (1.55 compensated), 2.45 % to Farrow, with intervals."""
    words = " | ".join(words_of(chart("us")))
    assert "ruling to Thistle Quay: 1.35 % (1.32–1.38), compensated 1.55 % (1.51–1.59)" in words
    assert "ruling to Farrow: 2.45 % (2.42–2.48)" in words


def test_figures_of_the_blocks():
    """Worked: 37.5 − 31.0 = 6.5 km fall at 24.5 per mille: 2.45 % over 4.0 mi; classes by 1 and 2 %."""
    words = words_of(chart("us"))
    assert words[words.index("↘2.45") + 1] == "4.0 mi"
    assert "↘24.5" in words_of(chart("metric"))


def test_digits_follow_certainty():
    """Worked: a standard error of 0.4 % allows one decimal with "≈", and nothing finer anywhere."""
    words = words_of(chart("us", "unsure"))
    assert "↘≈2.5" in words or "↘≈2.4" in words
    assert "↘2.45" not in words


def test_travelled_the_other_way_the_line_falls_the_other_way():
    """Law: climbs become falls when the line is turned round, and the sentence names the ends in order."""
    forth, back = words_of(chart("us")), words_of(chart("us", "reversed"))
    assert "↘2.45" in forth
    assert "↗2.45" in back
    assert any("from Thistle Quay to Farrow" in text for text in back)


def test_rows_without_data_are_absent():
    """Law: no curves, limits or slow orders known: no row of theirs, rather than an empty one."""
    assert {"Curves", "Speed"} <= set(words_of(chart("us")))
    assert not {"Curves", "Speed"} & set(words_of(chart("us", "bare")))
    assert "Line without a name" in words_of(chart("us", "bare"))


def test_unsure_edges_have_bars_and_no_dotted_line():
    """Worked: 120 m × 6 at 0.0246 pt/m is 17.7 pt, over 4 pt; the key then explains the bar."""
    assert "edge may lie in here" in words_of(chart("us", "unsure"))
    assert "edge may lie in here" not in words_of(chart("us"))


def test_runs_are_not_called_pvis_and_pvis_are():
    """Law: the word stands on a chart only where PVIs are seen; grades in runs say that they are runs."""
    runs, seen = chart("us"), chart("us", "seen")
    assert "PVI" not in runs.description
    assert "grade runs, %" in words_of(runs)
    assert "Blocks lie between PVIs where these are seen" in seen.description
    assert "grade, %" in words_of(seen)


def test_suspected_structure_says_how_likely():
    """Worked: the invented line has one suspected tunnel, of probability 0.83."""
    assert "tunnel? 83 %" in words_of(chart("us"))
    assert any("Suspected from the ground only, not in the data given: 1 tunnel." in x for x in words_of(chart("us")))


def test_certainty_of_elevation_in_words():
    """Worked: s.e. 1.5 m, 4.5 m in structures: 1.96 × 1.5 = 2.94 m and 8.82 m; ÷ 0.3048 = 9.6 and 28.9 ft."""
    assert {"sure to ±3,", "at worst ±9"} <= set(words_of(chart("metric")))
    assert {"sure to ±10,", "at worst ±29"} <= set(words_of(chart("us")))


def test_known_elevations_are_counted():
    """Law: the sheet says how many known elevations count, and nothing where none were given."""
    told = compose_chart(dataclasses.replace(invented_profile(), known=invented_known()), invented_landmarks())
    assert "Known elevations: 1 of 3 used." in " ".join(words_of(told))
    assert "Known elevations" not in " ".join(words_of(chart()))


def test_same_profile_same_bytes(tmp_path):
    """Law: the same inputs give the same files."""
    written = []
    for name in ("first", "second"):
        svg, png = tmp_path / f"{name}.svg", tmp_path / f"{name}.png"
        draw_chart(invented_profile(), invented_landmarks(), svg=svg, png=png)
        written.append((svg.read_bytes(), png.read_bytes()))
    assert written[0] == written[1]
    assert b"<dc:date>" not in written[0][0]


def test_svg_has_title_and_description(tmp_path):
    """Published: SVG 2, 5.8: <title> and <desc> come first; names with markup are escaped and stay whole."""
    profile = invented_profile()
    route = dataclasses.replace(profile.route, name='Farrow & "Quay" <b>$x_1$</b>\x07')
    path = tmp_path / "chart.svg"
    draw_chart(dataclasses.replace(profile, route=route), invented_landmarks(), svg=path)
    root = ET.parse(path).getroot()
    first, second = list(root)[:2]
    assert first.tag.endswith("}title")
    assert first.text == 'Strip chart: Farrow & "Quay" <b>$x_1$</b>'
    assert second.tag.endswith("}desc")
    assert "Invented line" in (second.text or "")
    assert root.get("role") == "img"
    assert not root.findall(".//{http://www.w3.org/2000/svg}text")


def test_blocks_are_drawn_in_their_colours(tmp_path):
    """Outside: the PNG read back holds the fills of the classes on this line and none of the others."""
    path = tmp_path / "chart.png"
    draw_chart(invented_profile(), invented_landmarks(), png=path)
    picture = np.round(matplotlib.image.imread(path)[..., :3] * 255).astype(int)
    above_key = picture[: int(picture.shape[0] * 0.85)]
    count = {
        fill: int((above_key == [int(fill[i : i + 2], 16) for i in (1, 3, 5)]).all(axis=2).sum())
        for fill in (*UP[1:], *DOWN[1:])
    }
    assert count[UP[4]] == 0  # no climb reaches 2 %
    assert min(count[fill] for fill in (UP[1], UP[2], UP[3], *DOWN[1:])) > 1000
    # 24.5 per mille over 6.5 km against 11 over 5.5 km: areas go with length times grade,
    # and figures cover a larger share of small blocks
    assert count[DOWN[4]] / count[UP[2]] == pytest.approx(24.5 * 6.5 / (8.5 * 6 + 6.5 * 3), rel=0.2)


@pytest.mark.parametrize("width", [90.0, 333.0, 1000.0])
def test_sentences_are_broken_where_they_must_be(width):
    """Law: no line is wider than there is room, and the first word of the next would not have fitted into any."""
    lines = wrapped([*provenance(chart().frame), *provenance(chart("metric", "seen").frame)], FINE, width)
    assert len(lines) > 2
    assert max(extent(line, FINE)[0] for line in lines) <= width
    for line, after in itertools.pairwise(lines):
        assert extent(f"{line} {after.split(' ')[0]}", FINE)[0] > width


def test_long_lines_break_into_panels():
    """Worked: 50 km is one panel of at most 60 km; with 31 mi of 35 likewise; 10 times as long, 9 panels."""
    profile = invented_profile(step=50.0)
    assert len(compose_chart(profile, invented_landmarks()).frame.panels_m) == 1
    route = dataclasses.replace(
        profile.route,
        chainage=profile.chainage * 10,
        posts=Posts(np.array([0.0]), np.array([38.0]), "mi"),
        curves=(),
        structures=(),
        stations=(),
        limits=(),
        slow_orders=(),
    )
    stretched = dataclasses.replace(profile, route=route, grade=profile.grade / 10, units="metric")
    drawn = compose_chart(stretched, Landmarks((), (), ()))
    assert len(drawn.frame.panels_m) == 9
    assert words_of(drawn).count("Rail") == 9
    lengths = [b - a for a, b in drawn.frame.panels_m]
    assert lengths == pytest.approx([500_000 / 9] * 9)


def test_posts_jump_at_an_equation():
    """Worked: posts 38 to 50.43 over the first 20 km, then 60: none of 51…59 is on the ruler."""
    profile = invented_profile()
    posts = Posts(np.array([0.0, 20_000.0, 20_000.0]), np.array([38.0, 50.43, 60.0]), "mi")
    profile = dataclasses.replace(profile, route=dataclasses.replace(profile.route, posts=posts))
    words = words_of(compose_chart(profile, invented_landmarks()))
    assert {"38", "50", "61", "78"} <= set(words)
    assert not {str(post) for post in range(51, 60)} & set(words)
    assert "50.43 = 60.00" in words
    assert "post equation, back = ahead" in words
    assert "post equation, back = ahead" not in words_of(compose_chart(invented_profile(), invented_landmarks()))


def test_a_ruler_in_feet_beyond_the_post():
    """Worked: at 80 pt a mile every half mile is labelled, 2,640 ft beyond the post; whole posts stay bare."""
    posts = Posts(np.array([0.0]), np.array([38.0]), "mi", prefix="", plus=True)
    sheet = compose_chart(invented_profile(step=100.0), Landmarks((), (), ())).sheet
    rows = {"posts": Row(30.0, 60.0), "foot": Row(0.0, 20.0)}
    labels = draw_posts(sheet, Panel(0, 0.0, 2.2 * MILE, 50.0, 80 / MILE, 1.0, 0.0, rows), posts)
    figures = [label.candidates[0].text for label in labels]
    assert figures[::2] == figures[1::2] == ["38", "38+2640", "39", "39+2640", "40"]


def test_ground_without_data_and_a_level_line():
    """Law: a profile known from a table has no ground, and a dead level one no range; both are drawn."""
    profile = invented_profile(step=100.0)
    n = profile.chainage.size
    level = dataclasses.replace(profile, ground=np.full(n, np.nan), elevation=np.full(n, 10.0), grade=np.zeros(n))
    drawn = compose_chart(level, Landmarks((), (), ()))
    assert drawn.frame.exaggeration == pytest.approx(100.0)
    assert drawn.sheet.png().startswith(b"\x89PNG")


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path):
    """Law: what cannot be written is an OutputError that names the file."""
    with pytest.raises(OutputError, match=r"chart\.svg"):
        draw_chart(invented_profile(), invented_landmarks(), svg=tmp_path / "none" / "chart.svg")
