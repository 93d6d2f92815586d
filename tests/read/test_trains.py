"""Train files: what is read, what is refused and how, and that a written train is read as the same one."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.errors import InputError, TrainError
from profiler.read.train_keys import BLOCK, HANDLING, LIMITS, Quantity
from profiler.read.trains import check_train, read_train
from profiler.train import Train
from profiler.units import BAR, FOOT, KIP, MPH, POUND, PSI, SHORT_TON, UNITS
from profiler.vehicle import CanadianNational1990, ModifiedDavis1970, RunDown
from profiler.write.trains import train_text, write_train
from tests.any_trains import CARS, LOCOMOTIVES, figures_of

SAMPLES = Path(__file__).parents[2] / "sample_routes"
UNIT = {"like": "AC six-axle locomotive", "count": 2}


def made(*blocks: dict[str, Any], **tables: Any) -> Train:
    return check_train({"train": {}, "block": [UNIT, *blocks], **tables}, source="train.toml")


def again(train: Train) -> Train:
    return check_train(tomllib.loads(train_text(train)), source="again.toml")


def test_the_example_of_the_sample():
    """Worked: three and two units of 208 short tons, 84 cars of 143, 90 psi, a margin of 2 mph, 250 kips."""
    train = read_train(SAMPLES / "train-ore-three-and-two.toml")
    assert train.mass == pytest.approx((5 * 208 + 84 * 143) * SHORT_TON)
    assert train.pipe_pressure == pytest.approx(90 * PSI)
    assert train.handling.margin == pytest.approx(2 * MPH)
    assert train.limits.draft == pytest.approx(250 * KIP)
    assert [float(r / PSI) for r in train.handling.reductions] == pytest.approx([7, 8, 10, 12, 15])
    assert train.units == "us"
    assert train.assumed == ("brake_position", "weather", "curve_resistance")


def test_one_figure_in_any_unit():
    """Worked: 143 short tons are 286 000 lb and 129.72741782 t."""
    figures = {"mass_short_tons": 143, "mass_lb": 286_000, "mass_t": 129.72741782, "mass_kg": 129_727.41782}
    masses = [made({"like": "ore car, loaded", key: x}).blocks[1].vehicle.mass for key, x in figures.items()]
    assert masses == pytest.approx([286_000 * POUND] * 4)


def test_defaults_follow_the_brake_and_the_couplers():
    """Our choice, no source: graduated release has 5 bar, steps from 0.5 bar and 3 km/h; screw couplings 450 kN."""
    wagons = {"like": "two-axle wagon, loaded", "count": 5}
    metric = check_train({"train": {"air_brake": "graduated release"}, "block": [UNIT, wagons]}, source="m.toml")
    assert metric.pipe_pressure == 5 * BAR
    assert [r / BAR for r in metric.handling.reductions] == pytest.approx([0.1 * step for step in range(5, 16)])
    assert metric.limits.draft == 450_000
    assert metric.units == "metric"
    assert made().limits.draft == pytest.approx(250 * KIP)
    assert made().pipe_pressure == pytest.approx(90 * PSI)
    assert metric.name == "m"


def test_a_lower_draft_limit_takes_the_caution_along():
    """Law: the caution is never above the limit; stated so it is refused."""
    assert made(limits={"draft_kips": 150}).limits.draft_caution == pytest.approx(150 * KIP)
    with pytest.raises(TrainError, match="draft_caution is above draft"):
        made(limits={"draft_kips": 150, "draft_caution_kips": 180})


def test_a_vehicle_of_ones_own():
    """Worked: kind and figures instead of a catalogue entry; the rest is a plain car's, and said to be a choice."""
    own = {
        "kind": "car",
        "length_ft": 50,
        "mass_t": 90,
        "axles": 4,
        "count": 3,
        "name": "slag car",
        "braking_ratio_pct": 10,
    }
    car = made(own).blocks[1].vehicle
    assert (car.name, car.like, car.length, car.mass) == ("slag car", "", pytest.approx(50 * FOOT), 90_000)
    assert car.brake.braking_ratio == pytest.approx(0.1)
    assert car.tare.source == "choice"
    engine = {"kind": "locomotive", "length_m": 15, "mass_t": 80, "axles": 4, "driven_axles": 4, "power_kw": 1500,
              "starting_effort_kn": 240, "dynamic_effort_kn": 100, "dynamic_fade_kmh": 10, "dynamic_knee_kmh": 40,
              "dynamic_adhesion": 0.2}  # fmt: skip
    unit = made(engine).blocks[1].vehicle
    assert unit.traction
    assert unit.dynamic
    assert (unit.traction.power, unit.dynamic.peak, unit.tare) == (1.5e6, 100_000, 80_000)
    assert made({**UNIT, "dynamic_brake": False}).blocks[1].vehicle.dynamic is None


def test_resistance_of_ones_own():
    """Law: the formula named is taken, with the catalogue's coefficients only where it is the same formula."""

    def formula(like: str, **table: Any) -> Any:
        return made({"like": like, "resistance": table}).blocks[1].vehicle.resistance

    found = formula("ore car, loaded", formula="modified Davis 1970", k_lbf_per_mph2=0.1)
    assert isinstance(found, ModifiedDavis1970)
    assert found.k == pytest.approx(0.1 * UNITS["lbf"] / MPH**2)
    kept = formula("auto rack, empty", formula="Canadian National 1990", streamlining=12.3)
    assert isinstance(kept, CanadianNational1990)
    assert (kept.streamlining, kept.area) == (12.3, pytest.approx(170 * FOOT**2))
    run = formula("ore car, loaded", formula="run-down", a_n=1200, b_n_per_kmh=4, c_n_per_kmh2=0.2)
    assert isinstance(run, RunDown)
    assert run.b == pytest.approx(4 * 3.6)


WRONG = {
    "unknown key": ({"like": "ore car, loaded", "cuont": 3}, "block[2].cuont: no such key; did you mean count?"),
    "unknown unit": (
        {"like": "ore car, loaded", "mass_tons": 143},
        "block[2]: mass_tons is in no unit known here; write mass_t or mass_short_tons or mass_kg or mass_lb",
    ),
    "no unit": (
        {"like": "ore car, loaded", "length": 40},
        "block[2]: length has no unit; write length_m or length_ft",
    ),
    "two units": (
        {"like": "ore car, loaded", "mass_t": 130, "mass_lb": 286_000},
        "block[2]: mass_t and mass_lb say the same figure twice; keep one of them",
    ),
    "unknown vehicle": (
        {"like": "ore wagon, loaded"},
        "block[2].like: there is no 'ore wagon, loaded' in the catalogue; did you mean ",
    ),
    "vehicle like nothing": ({"like": "xyz"}, "block[2].like: there is no 'xyz' in the catalogue; known are: AC six"),
    "zero mass": ({"like": "ore car, loaded", "mass_t": 0}, "block[2]: mass_t is 0; give one above zero"),
    "negative length": ({"like": "ore car, loaded", "length_ft": -4}, "block[2]: length_ft is -4; give one above zero"),
    "mass in the wrong unit": (
        {"like": "ore car, loaded", "mass_t": 286_000},
        "block[2]: mass_t is 286000, which is absurd; it lies between 0.5 and 1e+03",
    ),
    "lighter than empty": (
        {"like": "ore car, loaded", "mass_short_tons": 14},
        "block[2] (ore car, loaded): it weighs 12700.6 kg, less than empty; correct its mass, or its tare",
    ),
    "too many isolated": (
        {**UNIT, "isolated": 3},
        "block[2] (AC six-axle locomotive): 3 isolated of 2; isolate no more than there are",
    ),
    "isolated cars": ({"like": "ore car, loaded", "isolated": 1}, "isolated belongs to locomotives"),
    "absurd adhesion": (
        {**UNIT, "adhesion": 0.9},
        "block[2]: adhesion is 0.9, which is absurd; it lies between 0.03 and 0.5",
    ),
    "power of a car": (
        {"like": "ore car, loaded", "power_hp": 100},
        "block[2] (ore car, loaded): power, effort and dynamic brake belong to locomotives; say kind",
    ),
    "nothing said": ({"count": 3}, "block[2]: it is not said what vehicles these are; give like"),
    "own without mass": ({"kind": "car", "length_m": 14}, "block[2]: mass is missing; add mass_t or mass_short_tons"),
    "kind beside like": ({"like": "ore car, loaded", "kind": "car"}, "block[2]: kind stands beside like"),
    "text for a figure": ({"like": "ore car, loaded", "mass_t": "143"}, "block[2].mass_t: '143' is not possible"),
    "more driven than axles": ({**UNIT, "driven_axles": 8}, "8 of 6 axles are driven"),
    "dynamic brake in part": (
        {"kind": "locomotive", "length_m": 15, "mass_t": 80, "axles": 4, "driven_axles": 4, "power_kw": 1500,
         "starting_effort_kn": 240, "dynamic_effort_kn": 100},
        "dynamic_fade is missing; add dynamic_fade_kmh",
    ),
    "none and figures": ({**UNIT, "dynamic_brake": False, "dynamic_adhesion": 0.2}, "beside dynamic_brake = false"),
    "notches in part": ({**UNIT, "notch_power_pct": [50, 100]}, "belong together; give both or none"),
    "falling notches": (
        {**UNIT, "notch_power_pct": [100, 50], "notch_standing_pct": [50, 100]},
        "block[2]: notches fall; give them from the lowest to full power",
    ),
    "alien coefficient": (
        {"like": "ore car, loaded", "resistance": {"formula": "Strahl", "streamlining": 4}},
        "resistance.streamlining is no part of Strahl; its own are base, air",
    ),
    "missing coefficient": (
        {"like": "ore car, loaded", "resistance": {"formula": "Strahl", "air": 0.05}},
        "resistance.base is missing for Strahl; add base_permille",
    ),
}  # fmt: skip


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_block_is_refused_in_one_sentence(wrong: str):
    """Law: the file, the block, what is wrong and what to do; never a traceback of the checking library."""
    table, words = WRONG[wrong]
    with pytest.raises(TrainError) as caught:
        made(table)
    said = str(caught.value)
    assert said.startswith("train.toml: block[2]")
    assert words in said
    assert "\n" not in said
    assert "pydantic" not in said
    assert said.count(";") == 1 or "known are" in said


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"train": {}, "block": [{"like": "ore car, loaded"}]}, "train: no locomotive pulls; add one, or"),
        ({"train": {}, "block": [{**UNIT, "isolated": 2}]}, "train: no locomotive pulls"),
        ({"train": {}, "block": []}, "block"),
        ({"train": {}}, "block is missing; add it"),
        ({"block": [UNIT]}, "train is missing; add it"),
        ({"train": {"rails": "dry"}, "block": [UNIT]}, "train.rails: no such key; did you mean rail?"),
        ({"train": {"rail": "icy"}, "block": [UNIT]}, "train.rail: 'icy' is not possible; it should be 'dry', 'wet'"),
        ({"train": {"curve_resistence": "roeckl"}, "block": [UNIT]}, "no such key; did you mean curve_resistance?"),
        ({"train": {"curve_resistance": "Röckl"}, "block": [UNIT]}, "it should be 'per degree' or 'roeckl'"),
        ({"train": {}, "block": [UNIT], "handling": {"short_time": 20}}, "has no unit; write short_time_min"),
        ({"train": {}, "block": [UNIT], "handling": {"short_time_minutes": 500}}, "short_time_minutes is 500, which"),
        ({"train": {}, "block": [UNIT], "limit": {}}, "limit: no such key; did you mean limits?"),
        ({"train": {}, "block": [UNIT], "handling": {"reductions_psi": [10, 7]}}, "give them rising, each once"),
        ({"train": {}, "block": [UNIT], "handling": {"reductions_psi": [7, 95]}}, "as large as the brake pipe"),
        ({"train": {"brake_pipe_psi": 90, "brake_pipe_bar": 5}, "block": [UNIT]}, "say the same figure twice"),
        ({"train": {"brake_pipe": 90}, "block": [UNIT]}, "brake_pipe has no unit; write brake_pipe_bar or"),
    ],
)  # fmt: skip
def test_a_wrong_file_is_refused_in_one_sentence(data: dict[str, Any], words: str):
    """Law: as for blocks."""
    with pytest.raises(TrainError) as caught:
        check_train(data, source="train.toml")
    assert words in str(caught.value)
    assert str(caught.value).startswith("train.toml: ")


def test_no_file_and_no_toml(tmp_path: Path):
    """Law: a missing file, and one that is no TOML, are told as such."""
    with pytest.raises(InputError, match="there is no such file"):
        read_train(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("[train\n")
    with pytest.raises(InputError, match="is no valid TOML"):
        read_train(tmp_path / "bad.toml")


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("train-*.toml")), ids=lambda p: p.name)
def test_the_samples_come_back(path: Path, tmp_path: Path):
    """Law: read, written and read again they are the same trains, sources of figures included."""
    train = read_train(path)
    write_train(train, tmp_path / path.name)
    back = read_train(tmp_path / path.name)
    assert back == train
    assert sources(back) == sources(train)
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def sources(train: Train) -> list[tuple[str, str, str, float]]:
    return [(path, f.source, f.unit, f.stated) for path, f in figures_of(train)]


@st.composite
def figures(draw: st.DrawFn, quantities: dict[str, Quantity], stems: list[str]) -> dict[str, float]:
    """Some of the figures, each in any of its units, within its bounds."""
    table = {}
    for stem in draw(st.lists(st.sampled_from(stems), unique=True, max_size=6)):
        quantity = quantities[stem]
        unit = draw(st.sampled_from(quantity.units))
        low, high = (bound / UNITS[unit] for bound in (quantity.low, quantity.high))
        key = f"{stem}_{unit}" if unit else stem
        table[key] = draw(st.floats(low + (high - low) * 1e-6, high * (1 - 1e-6)))
    return table


OF_CARS = ["length", "rotating_factor", "coupler_length", "braking_ratio", "braked_weight", "operative_brakes"]
OF_LOCOMOTIVES = [stem for stem in BLOCK if stem not in ("mass", "tare", "braking_ratio", "braked_weight")]


@st.composite
def files(draw: st.DrawFn) -> dict[str, Any]:
    """Any train file that is right."""
    blocks = []
    for _ in range(draw(st.integers(0, 4))):
        table = {"like": draw(st.sampled_from(CARS)), "count": draw(st.integers(1, 150))}
        weights = {"mass_t": draw(st.floats(400, 900)), "tare_t": draw(st.floats(1, 400))}
        blocks.append({**table, **weights, **draw(figures(BLOCK, OF_CARS))})
    unit = {"like": draw(st.sampled_from(LOCOMOTIVES)), "count": 2, "isolated": draw(st.integers(0, 1))}
    blocks.insert(draw(st.integers(0, len(blocks))), {**unit, **draw(figures(BLOCK, OF_LOCOMOTIVES))})
    head = draw(st.fixed_dictionaries({"name": st.text(max_size=12)}, optional={
        "train_class": st.sampled_from(["freight", 'a "mixed" one\n']),
        "rail": st.sampled_from(["dry", "wet", "poor"]),
        "air_brake": st.sampled_from(["direct release", "graduated release"]),
        "weather": st.sampled_from(["mild", "cold"]),
        "curve_resistance": st.sampled_from(["per degree", "roeckl"]),
    }))  # fmt: skip
    limits = draw(figures(LIMITS, ["buff", "dynamic_axles"]))
    return {"train": head, "block": blocks, "limits": limits, "handling": draw(figures(HANDLING, list(HANDLING)))}


@given(files())
@settings(deadline=None)
def test_every_train_comes_back(data: dict[str, Any]):
    """Law: read, written and read again it is an equal train, figure by figure with unit and source."""
    train = check_train(data, source="one.toml")
    back = again(train)
    assert back == train
    assert sources(back) == sources(train)


def test_a_train_that_no_file_can_say(tmp_path: Path):
    """Law: what the catalogue entry has and the train lacks cannot be written, and is not dropped in silence."""
    train = made({"like": "ore car, loaded"})
    car = train.blocks[1].vehicle
    bare = replace(car, brake=replace(car.brake, braking_ratio=None))
    with pytest.raises(InputError, match="braking_ratio: is taken away"):
        write_train(
            replace(train, blocks=(train.blocks[0], replace(train.blocks[1], vehicle=bare))), tmp_path / "t.toml"
        )
    assert not list(tmp_path.iterdir())
