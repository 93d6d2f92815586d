"""gradewright check, of train files."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from profiler.cli.main import main

SAMPLES = Path(__file__).parents[2] / "sample_routes"


def said(*arguments: str, code: int = 0) -> str:
    result = CliRunner().invoke(main, ["check", *arguments])
    assert result.exit_code == code, result.output
    return result.output


def test_the_ore_train_in_us_words():
    """Worked: 5 · 74 + 84 · 40 = 3,730 ft; 5 · 208 + 84 · 143 = 13,052 short tons; 21,500 hp over 12,012 trailing;
    0.30 · 416 kips · 3 = 374; 34.5 equivalent axles of 28 allowed."""
    words = said(str(SAMPLES / "train-ore-three-and-two.toml"))
    for part in (
        ": can be used\n",
        "   84 ore car, loaded: 3,360 ft, 12,012 short tons (143.0 short tons each)",
        "length: 3,730 ft, 89 vehicles, 366 axles",
        "mass: 13,052 short tons, 12,012 short tons trailing; 84 loads, 0 empties",
        "21,500 hp, 17,659 hp at the rail; 1.79 hp per trailing short ton",
        "84 operative brakes, 143.0 short tons per operative brake",
        "powered axles: 30",
        "power at the head: 3 units, 374 kips to start, dynamic brake 34.5 equivalent axles, of which the limit",
        "power at the rear: 2 units",
        "assumed: AC six-axle locomotive: length 74 ft",
        "(common practice, no source)",
    ):
        assert part in words
    assert "kN" not in words
    assert "brake position" not in words  # it belongs to graduated release


def test_the_gravel_train_in_metric_words():
    """Worked: 2 · 19 + 15 · 12.5 m = 226 m; 2 · 86 + 15 · 40 = 772 t; 2 · 5600 kW over 600 t; 0.30 · 86 t · g · 2."""
    words = said(str(SAMPLES / "train-gravel-metric.toml"))
    for part in (
        "length: 226 m, 17 vehicles, 68 axles",
        "mass: 772 t, 600 t trailing; 15 loads, 0 empties",
        "18.7 kW per trailing tonne",
        "graduated release, 5 bar; 15 operative brakes, 40.0 t per operative brake; position P",
        "2 units, 506 kN to start",
    ):
        assert part in words
    assert "short ton" not in words


def test_what_is_stated_is_not_assumed():
    """Law: a figure of the file is not told as an assumption, one of the catalogue is."""
    assumed = [line for line in said(str(SAMPLES / "train-ore-three-and-two.toml")).splitlines() if "assumed" in line]
    ours = " ".join(line for line in assumed if "ore car" in line)
    assert "length 40 ft" in ours
    assert "mass" not in ours
    assert not [
        line for line in assumed if line.startswith(("assumed: limits", "assumed: handling", "assumed: brake pipe"))
    ]
    five = said(str(SAMPLES / "train-ore-five-in-front.toml"))
    assert "assumed: limits: draft 250 kips" in five


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[train]\n[[block]]\nlike = 'ore car, loaded'\n", "no locomotive pulls"),
        ("[train]\nrial = 'dry'\n[[block]]\nlike = 'ore car, loaded'\n", "train.rial: no such key; did you mean rail?"),
        ("[[block]]\nlike = 'ore car, loaded'\n", "train is missing; add it"),
    ],
)
def test_a_wrong_train_is_one_sentence_and_exit_code_1(tmp_path: Path, text: str, words: str):
    """Law: bad input is one sentence that names the file, and exit code 1."""
    (tmp_path / "t.toml").write_text(text)
    shown = said(str(tmp_path / "t.toml"), code=1)
    assert words in shown
    assert "t.toml" in shown
    assert "Traceback" not in shown


def test_rasters_for_a_train_are_refused():
    """Law: what would go unused is not taken in silence."""
    train = str(SAMPLES / "train-ore-five-in-front.toml")
    assert "a train has no elevation" in said(train, "--dem", "x.tif", code=1)
