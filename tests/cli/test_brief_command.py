"""gradewright brief: what is said, what is written, and what is refused in one sentence."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from profiler.write.outputs import BRIEFING_FILES
from tests.cli.test_bad_input import refused
from tests.cli.test_known_profile_command import said

SAMPLES = Path(__file__).parents[2] / "sample_routes"
ROUTE = """[route]
name = "Nettlebank"
ends = ["Quay", "Pit"]
[profile]
table = "chart.csv"
[[stations]]
name = "Halt"
at = { chainage_m = 9000 }
[[stops]]
at = { chainage_m = 7500 }
"""
CHART = "chainage_m,elevation_m,curve_length_m\n0,100,\n4000,108,100\n10000,204,200\n16000,140,\n"
"""Up 2 ‰, up 16 ‰ for 6 km, down 10.7 ‰."""


HEAVY = """[train]
name = "Heavy"
units = "us"
air_brake = "direct release"
[[block]]
like = "AC six-axle locomotive"
count = 1
[[block]]
like = "ore car, loaded"
count = 84
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a sound chart and three trains."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "route.toml").write_text(ROUTE)
    (tmp_path / "chart.csv").write_text(CHART)
    for path in SAMPLES.glob("train-*.toml"):
        shutil.copy(path, tmp_path)
    return tmp_path


def test_five_in_front(here: Path):
    """Law: the console says by how much the draft is over its limit, behind which vehicle and where, that the rating
    is exceeded, what would help at the planned stop, and never orders; files stand in the train's own folder."""
    words = said("brief", "route.toml", "--train", "train-ore-five-in-front.toml", "--units", "us", "--tables-only")
    assert "Loaded ore, all five in front, to Pit" in words
    assert "3,730 ft long, 13,052 short tons, rail dry" in words
    place = here / "route-briefing" / "train-ore-five-in-front" / "with"
    rows = pd.read_csv(place / "under_train.csv")
    kips = rows.draft_kn.max() / 4.4482216
    assert f"largest draft under way: {kips:.0f} kips behind unit 5" in words
    assert f"{kips - 250:.0f} over the limit of 250 kips" in words
    assert "over its rating" in words
    assert "stop at chainage 7500 m: does not start within the draft limit" in words
    assert "would help: doubling" in words
    assert "a typical knuckle breaks at about 300,000 lb (common practice, no source)" in words
    assert "A mark is never an instruction to operate." in words
    assert "run by plan: " in words
    assert "it stalls, its pull held to the draft limit, head at post" in words
    assert "no map: the table does not say where the line lies" in words
    assert {p.name for p in place.iterdir()} <= set(BRIEFING_FILES)
    assert (here / "route-briefing" / "provenance.json").exists()


def test_both_directions_with_pictures(here: Path):
    """Law: a folder for each direction, with chart, starts and a handout, and no map where there is no line."""
    words = said("brief", "route.toml", "--train", "train-gravel-metric.toml", "--both", "--out", "out")
    assert "Gravel, 600 tonnes, to Pit" in words
    assert "Gravel, 600 tonnes, to Quay" in words
    assert "226 m long, 772 t, rail dry, curves at Röckl’s 650/(R − 55) ‰" in words
    assert f"  {Path('out') / 'page.html'}" in words
    assert (here / "out" / "page.html").exists()
    record = json.loads((here / "out" / "provenance.json").read_text(encoding="utf-8"))
    assert record["settings"]["curve_resistance_of_trains"] == {"train-gravel-metric": "roeckl"}
    for direction in ("with", "against"):
        names = {p.name for p in (here / "out" / "train-gravel-metric" / direction).iterdir()}
        assert {"chart.svg", "chart.png", "starting.svg", "starting.png", "marks.csv"} <= names
        assert {"briefing.pdf", "briefing.html"} <= names
        assert "map.html" not in names


def test_towards_an_end(here: Path):
    """Law: --to names an end, whatever its capitals; up and down change places."""
    said("brief", "route.toml", "--train", "train-gravel-metric.toml", "--to", "quay", "--tables-only")
    rows = pd.read_csv(here / "route-briefing" / "train-gravel-metric" / "against" / "under_train.csv")
    assert rows.head_m.iloc[0] == 16_000
    assert rows.grade_under_train_pct.max() == pytest.approx(1.0667, abs=0.01)
    assert rows.grade_under_train_pct.min() == pytest.approx(-1.6, abs=0.01)


def test_descents_are_told(here: Path):
    """Law: of a descent place, speed, first act with its window, air, what is left without the dynamic brake, and what
    the draws make of it; a train that nothing holds is told so, with the custom on grades and its source."""
    (here / "route.toml").write_text(
        ROUTE + "[[speed_limits]]\nspeed_mph = 25\nfrom = { chainage_m = 0 }\nto = { chainage_m = 16000 }\n"
    )
    steep = "chainage_m,elevation_m,curve_length_m\n0,100,\n4000,108,100\n10000,258,200\n16000,240,\n"
    (here / "chart.csv").write_text(steep)
    (here / "heavy.toml").write_text(HEAVY)
    args = ("--to", "quay", "--units", "us", "--tables-only", "--out", "out")
    words = said("brief", "route.toml", "--train", "train-ore-three-and-two.toml", "--train", "heavy.toml", *args)
    ore, heavy = words.split("to Quay\n")[1:]
    assert "descent, posts" in ore
    assert "power off by post" in ore
    assert "of the draws pass the limit" in ore
    assert "without the dynamic brake " in ore
    assert "NOT HELD at any speed from 23 mph to 5.0 mph" in heavy
    assert "49 CFR 232.109" in heavy
    marks = pd.read_csv(here / "out" / "heavy" / "against" / "marks.csv")
    assert "not held at any speed" in marks[marks.kind == "not_held"].reason.iloc[0]


@pytest.mark.parametrize(
    ("minutes", "verdict"),
    [
        (0, "below the minimum continuous speed for "),
        (60, " min below the minimum continuous speed, which its file allows"),
    ],
)
def test_short_time_effort_is_told(here: Path, minutes: int, verdict: str):
    """Law: a DC train that climbs slower than its units may go on for hours is told for how long, and whether the train
    file allows it; if it does, no helper is asked for."""
    (here / "chart.csv").write_text("chainage_m,elevation_m\n0,100\n3000,100\n7000,190\n9000,190\n")
    (here / "route.toml").write_text('[profile]\ntable = "chart.csv"\n')
    train = '[train]\n[[block]]\nlike = "DC six-axle locomotive"\ncount = 3\n[[block]]\n'
    train += f'like = "covered hopper, loaded"\ncount = 40\n[handling]\nshort_time_minutes = {minutes}\n'
    (here / "dc.toml").write_text(train)
    words = said("brief", "route.toml", "--train", "dc.toml", "--tables-only", "--out", "out")
    assert verdict in words
    assert ("helper district" in words) == (minutes == 0)
    climbs = pd.read_csv(here / "out" / "dc" / "with" / "climbs.csv")
    assert (climbs.short_time_s > 0).all()
    assert (climbs.enough == "yes").all() == (minutes > 0)


def test_a_train_longer_than_the_line(here: Path):
    """Law: it is said, and what can be worked out is."""
    (here / "chart.csv").write_text("chainage_m,elevation_m\n0,100\n900,109\n")
    (here / "route.toml").write_text('[profile]\ntable = "chart.csv"\n')
    words = said("brief", "route.toml", "--train", "train-ore-three-and-two.toml", "--out", "out")
    assert "longer than the line (900 m): nowhere all of it lies on it" in words
    rows = pd.read_csv(here / "out" / "train-ore-three-and-two" / "with" / "under_train.csv")
    assert rows.grade_under_train_pct.to_numpy() == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--train", "train-none.toml"), "train-none.toml: there is no such file; check the name"),
        (
            ("--train", "train-gravel-metric.toml", "--train", "sub/Train-Gravel-Metric.toml"),
            "sub/Train-Gravel-Metric.toml: would be written into the same folder as train-gravel-metric.toml; rename",
        ),
        (("--train", "train-gravel-metric.toml", "--to", "Pitt"), "--to: 'Pitt' is no end of the line; write 'Pit' or"),
        (
            ("--train", "train-gravel-metric.toml", "--to", "Pit", "--both"),
            "--to: names one direction, and --both asks for two; leave one of them out",
        ),
        (("--train", "route.toml"), "route.toml: "),
        (
            ("--train", "train-gravel-metric.toml", "--dem", "ground.tif"),
            "route.toml: [profile] and --dem both tell the elevation",
        ),
    ],
)
def test_slips(here: Path, args: tuple[str, ...], words: str):
    """Law: one sentence, exit code 1, nothing written."""
    assert refused(here, "brief", "route.toml", *args).startswith(words)
    assert not (here / "route-briefing").exists()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("count = 15", "count = 0", "block[2].count: 0 is not possible"),
        ("count = 2", "count = 2\nisolated = 3", "3 isolated of 2"),
        ("four-axle bulk wagon, loaded", "four axle bulk wagon loaded", "did you mean"),
        ("mass_t = 40", "mass = 40", "mass"),
        ("mass_t = 40", "mass_t = -40", "-40"),
        ("mass_t = 40", "mass_t = 40\nmass_kg = 40000", "mass"),
    ],
)
def test_trains_that_are_none(here: Path, old: str, new: str, words: str):
    """Law: a train that cannot be is refused before any work, in one sentence that names its file."""
    path = here / "train-gravel-metric.toml"
    path.write_text(path.read_text().replace(old, new, 1))
    sentence = refused(here, "brief", "route.toml", "--train", path.name)
    assert sentence.startswith("train-gravel-metric.toml")
    assert words in sentence


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("speed_limits", "speed limit: 2.0 km/h, km 1.0 to 3.0, is below walking pace"),
        ("slow_orders", "slow order: 2.0 km/h, km 1.0 to 3.0, is below walking pace"),
    ],
)
def test_a_limit_below_walking_pace(here: Path, table: str, words: str):
    """Law: nothing can be planned at it: one sentence tells which, and where."""
    ends = "from = { chainage_m = 1000 }\nto = { chainage_m = 3000 }"
    with (here / "route.toml").open("a") as file:
        file.write(f"[[{table}]]\n{ends}\nspeed_kmh = 2\n")
    assert words in refused(here, "brief", "route.toml", "--train", "train-gravel-metric.toml")


def test_a_unit_on_its_own(here: Path):
    """Law: a locomotive without a train has no couplers, and a briefing all the same; so light, it changes its speed
    faster than heavy trains, and no draw makes it pass a limit that the estimate keeps."""
    text = HEAVY[: HEAVY.index('[[block]]\nlike = "ore car')]
    (here / "light.toml").write_text(text)
    words = said("brief", "route.toml", "--train", "light.toml", "--both", "--sudden", "--tables-only")
    assert "what couplers feel" not in words
    for direction in ("with", "against"):
        folder = here / "route-briefing" / "light" / direction
        forces = pd.read_csv(folder / "run.csv")
        assert (forces[["draft_kn", "buff_kn"]] == 0).all(axis=None)
        assert (pd.read_csv(folder / "descent_plans.csv").share_late <= 0.05).all()


def test_gradually_and_suddenly(here: Path):
    """Law: asked for, the console tells each marked place as planned and suddenly, with the slack assumed; the tables
    are written, with the ways it tells of; steady forces of the run stay as they are without it."""
    args = ("brief", "route.toml", "--train", "train-gravel-metric.toml", "--tables-only")
    folder = here / "route-briefing" / "train-gravel-metric" / "with"
    plain = said(*args)
    assert not (folder / "in_train.csv").exists()
    run = (folder / "run.csv").read_bytes()
    words = said(*args, "--sudden")
    added = set(words.splitlines()) - set(plain.splitlines())
    assert set(plain.splitlines()) <= set(words.splitlines())
    assert any("usual slack assumed, 20 mm a coupling" in line for line in added)
    rows = pd.read_csv(folder / "in_train.csv")
    assert sum(", head at " in line and ": as planned" in line for line in added) == len(
        rows[(rows.way == "planned") & (rows.wear == "usual")]
    )
    assert any(" / suddenly, " in line for line in added)
    assert "Side buffers are left out" in words
    assert (folder / "make_up_ranking.csv").exists()
    assert (folder / "run.csv").read_bytes() == run
