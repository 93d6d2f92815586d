"""PLAN: checked whole; twenty broken lines of a thousand are told, and the rest done; names are safe."""

from __future__ import annotations

import re
from pathlib import Path

import geopandas
import numpy as np
import pytest

from pipelines.network import alone_in, outcomes, report
from pipelines.networks.job import Task
from pipelines.networks.plan import read_plan
from pipelines.networks.records import Outcome
from pipelines.networks.tasks import Options, completed, tasks_of
from profiler import ElevationTable, InputError, build_profile, read_profile, read_territory
from tests import country
from tests.pipelines.mapped import Mapped, straight
from tests.pipelines.test_network import contents, network, rows

TRAIN = """[train]
name = "Empties"
units = "us"
[[block]]
like = "AC six-axle locomotive"
count = 1
[[block]]
like = "ore car, empty"
count = 10
"""
TRIVIAL = '[centreline]\npath = "line.geojson"\n[elevation]\nrasters = ["ground.tif"]\n'


def write_plan(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_everything_wrong_is_told_at_once(tmp_path: Path):
    """Law: each key that is wrong is named, with what to do, in one error; nothing is made."""
    path = write_plan(
        tmp_path,
        '[network]\nnmae = "x"\nunits = "imperial"\nto = "Marram"\nboth = true\n[elevation]\nrasters = []\n'
        "[settings]\nstep_m = 0.1\nstepp = 3\n[areas]\n",
    )
    with pytest.raises(InputError) as caught:
        read_plan(path, tmp_path / "out")
    said = str(caught.value)
    for words in (
        "network.nmae: no such key, did you mean name?",
        "settings.stepp: no such key, did you mean step_m?",
        "areas: no such key, did you mean area?",
        "network.units: 'imperial' is not possible",
        "elevation is given in no way, or in more than one, give rasters, or a catalogue to fetch them from",
        "settings.step_m: 0.1 is not possible",
    ):
        assert words in said
    assert said.count("\n") == 0
    assert [p.name for p in tmp_path.iterdir()] == ["plan.toml"]


def test_directions_exclude_each_other(tmp_path: Path):
    """Law: to and both are refused together."""
    path = write_plan(tmp_path, '[network]\nto = "Marram"\nboth = true\nterritories = ["a.toml"]\n')
    with pytest.raises(InputError, match="to names one direction, and both asks for two; leave one of them out"):
        read_plan(path, tmp_path)


def test_nothing_to_do(tmp_path: Path):
    """Law: a plan without a line is refused."""
    with pytest.raises(InputError, match=r"names no line; give territories in \[network\], \[\[line\]\] rows"):
        read_plan(write_plan(tmp_path, '[network]\nname = "Nothing"\n'), tmp_path)


def test_trains_of_all_are_read_before_any_work(tmp_path: Path):
    """Law: every train file that is wrong is named."""
    (tmp_path / "bad.toml").write_text("[train]\nnmae = 'x'\n")
    path = write_plan(tmp_path, '[network]\nterritories = ["a.toml"]\ntrains = ["gone.toml", "bad.toml"]\n')
    with pytest.raises(InputError) as caught:
        read_plan(path, tmp_path)
    said = str(caught.value)
    gone, bad = (f"trains: {tmp_path / name}.toml: " for name in ("gone", "bad"))
    assert said.startswith(f"{path}: 2 things are wrong: (1) {gone}there is no such file, check the name; (2) {bad}")
    assert said.endswith("train.nmae: no such key, did you mean name?; correct them all")


def test_one_bad_train_has_one_remedy(tmp_path: Path):
    """Law: what is wrong with one train ends with what to do about it, and no more; two of one name are told so."""
    (tmp_path / "a.toml").write_text(TRIVIAL)
    (tmp_path / "bad.toml").write_text("[train\n")
    row = '[[line]]\nterritory = "a.toml"\ntrains = '
    (line,) = read_plan(write_plan(tmp_path, f'{row}["bad.toml"]\n'), tmp_path).lines
    bad = f"{tmp_path / 'plan.toml'}, line[1]: trains: {tmp_path / 'bad.toml'}: is no valid TOML, "
    assert line.problem.startswith(bad)
    assert line.problem.endswith("; correct that place")
    assert line.problem.count(";") == 1
    (tmp_path / "north").mkdir()
    for folder in (tmp_path, tmp_path / "north"):
        (folder / "light.toml").write_text(TRAIN)
    (line,) = read_plan(write_plan(tmp_path, f'{row}["light.toml", "north/light.toml"]\n'), tmp_path).lines
    assert line.problem.endswith("line[1]: trains: two files are called light; rename one of them")


def broken_plan(folder: Path) -> tuple[Path, dict[str, str]]:
    """A plan of 1,000 lines, 20 of them broken in ten ways, and the words that tell each of these."""
    country.write_lines(folder / "line.geojson", country.line(end=300.0))
    country.write_ground(folder / "ground.tif")
    (folder / "notes.txt").write_text("Not a line.")
    (folder / "cut.geojson").write_text('{"type": "FeatureCollection", "features": [')
    names = [f"t{number:04d}" for number in range(1000)]
    for name in names:
        (folder / f"{name}.toml").write_text(TRIVIAL)
    row = {name: f'[[line]]\nterritory = "{name}.toml"\n' for name in names}
    words = {}
    ways = (
        ("file", "[centreline\n", "is no valid TOML"),
        ("file", TRIVIAL.replace("path", "pth"), "centreline.pth: no such key; did you mean path?"),
        ("file", TRIVIAL + "[settings]\nstep_m = 0\n", "settings.step_m: 0 is not possible"),
        ("file", TRIVIAL.replace("line.geojson", "gone.geojson"), "gone.geojson: there is no such file"),
        ("file", TRIVIAL.replace("ground.tif", "gone.tif"), "gone.tif: there is no such file"),
        ("file", TRIVIAL.replace("line.geojson", "cut.geojson"), "cut.geojson"),
        ("file", TRIVIAL.replace("line.geojson", "notes.txt"), "notes.txt"),
        ("row", 'trian = ["a.toml"]\n', "trian: no such key; did you mean trains?"),
        ("row", 'to = "Sallow"\nboth = true\n', "leave one of them out"),
        ("row", 'trains = ["gone-train.toml"]\n', "gone-train.toml: there is no such file"),
    )
    for number, (where, text, told) in enumerate((*ways, *ways)):
        name = names[50 * number]
        words[name] = told
        if where == "file":
            (folder / f"{name}.toml").write_text(text)
        else:
            row[name] += text
    return write_plan(folder, '[network]\nname = "Thousand"\n' + "".join(row.values())), words


def stub(task: Task) -> Outcome:
    """A job that does nothing."""
    return Outcome(task.key, task.name, 0.3)


def in_turn(tasks, job, lost):  # noqa: ARG001 (the same interface as the other maps)
    """The plainest of all maps."""
    return map(job, tasks)


def test_twenty_of_a_thousand_are_broken(tmp_path: Path):
    """Law: each of the twenty has a sentence that names what is wrong; the 980 others are done."""
    path, words = broken_plan(tmp_path)
    out = tmp_path / "out"
    (out / "lines").mkdir(parents=True)
    found = list(outcomes(read_plan(path, out), out, Options(), in_turn, stub))
    assert len(found) == 1000
    failed = {outcome.territory.removesuffix(".toml"): outcome.error for outcome in found if outcome.error}
    assert failed.keys() == words.keys()
    for name, told in words.items():
        assert told in failed[name]
        assert "\n" not in failed[name]
        assert "bug" not in failed[name]
    assert report(found).count(",failed,") == 20


def test_rows_with_no_territory_and_twice(tmp_path: Path):
    """Law: a row that names none, or one that an earlier row names, is told by its number or name."""
    (tmp_path / "a.toml").write_text(TRIVIAL)
    plan = read_plan(
        write_plan(
            tmp_path,
            '[network]\nterritories = ["*.toml", "north/*.toml"]\n[[line]]\nterritory = "a.toml"\n'
            '[[line]]\nboth = true\n[[line]]\nterritory = "a.toml"\n[[line]]\nterritory = 3\nx = 1\n',
        ),
        tmp_path,
    )
    assert [line.key for line in plan.lines if not line.problem] == ["a"]
    problems = sorted(line.problem for line in plan.lines if line.problem)
    assert len(problems) == 4
    assert any(re.search(r"line\[2\]: territory is missing; add it", problem) for problem in problems)
    assert any("a.toml: stands in two rows" in problem for problem in problems)
    assert any(re.search(r"line\[4\]: 2 things are wrong: \(1\) x: no such key", problem) for problem in problems)
    assert any("north/*.toml: no territory file matches" in problem for problem in problems)


def test_one_file_however_it_is_written(tmp_path: Path):
    """Law: brackets of a name that is there are no pattern, and a way round leads to the same file."""
    (tmp_path / "north").mkdir()
    for name in ("old [1].toml", "a.toml"):
        (tmp_path / name).write_text(TRIVIAL)
    text = '[network]\nterritories = ["old [1].toml", "north/../a.toml", "*.toml"]\n[[line]]\nterritory = "a.toml"\n'
    plan = read_plan(write_plan(tmp_path, text), tmp_path)
    assert sorted(line.territory.name for line in plan.lines) == ["a.toml", "old [1].toml"]
    assert not any(line.problem for line in plan.lines)


def test_keys_are_safe_unique_and_stable(tmp_path: Path):
    """Law: no name of a file leads out of the folder, two names that differ by case only are told apart, and a key
    does not depend on the other lines or on where the plan stands."""
    names = (
        *("../outside.toml", "A.toml", "a.toml", "con.toml", "a b.toml", "🚂.toml", f"{'x' * 200}.toml"),
        *("north/x.toml", "north-x.toml", "-rf.toml", "tab\\tname.toml", "..toml"),
    )
    text = "".join(f'[[line]]\nterritory = "{name}"\n' for name in names)
    keys = {}
    for place in ("here", "there/below"):
        plan = read_plan(write_plan(tmp_path / place, text), tmp_path)
        keys[place] = {line.territory.name: line.key for line in plan.lines}
        found = [line.key for line in plan.lines]
        assert len({key.casefold() for key in found}) == len(names)
        assert found == sorted(found)
        for key in found:
            assert re.fullmatch(r"[\w-]{1,80}", key)
            assert not key.startswith("-")
            assert key.lower() != "con"
    assert keys["here"] == keys["there/below"]


def test_what_the_plan_states_for_all(tmp_path: Path):
    """Law: a territory's own keys go before those of the plan, which fill in the rest; paths start where they stand."""
    folder = tmp_path / "north"
    country.write_territory(folder, country.TERRITORY + "[settings]\nprominence_m = 3.0\n")
    (folder / "bare.toml").write_text('[centreline]\npath = "line.geojson"\n')
    country.write_ground(tmp_path / "wide.tif")
    plan = read_plan(
        write_plan(
            tmp_path,
            '[network]\nunits = "metric"\ninvented = true\nterritories = ["north/*.toml"]\n'
            '[elevation]\nrasters = ["wide.tif"]\nvertical_datum = "EGM2008"\n'
            "[settings]\nprominence_m = 7.0\nstep_m = 20.0\n",
        ),
        tmp_path,
    )
    own, bare = (completed(read_territory(folder / f"{name}.toml"), plan) for name in ("route", "bare"))
    assert (own.route.units, own.settings.prominence_m, own.settings.step_m) == ("us", 3.0, 20.0)
    assert own.elevation is not None
    assert own.elevation.rasters == ["ground.tif"]
    assert (bare.route.units, bare.route.invented, bare.settings.prominence_m) == ("metric", True, 7.0)
    assert bare.elevation == ElevationTable(rasters=["wide.tif"], vertical_datum="EGM2008")
    assert bare.raster_folder == tmp_path
    found = {task.key: task for task in tasks_of(plan, tmp_path, Options()) if isinstance(task, Task)}
    assert [source.name for source in found["north-bare"].ground or ()] == ["wide.tif"]


def test_only_rasters_about_the_line_go_with_it(tmp_path: Path):
    """Law: of tiles side by side those near the line, once read; the profile is that of all tiles."""
    folder = tmp_path / "territories"
    country.write_territory(folder, country.TERRITORY.replace("ground.tif", "tiles/*.tif"))
    (folder / "tiles").mkdir()
    values = country.hills()
    wide = values.shape[1] * country.CELL
    for i in range(-3, 4):
        tile = values if i == 0 else values * 0 + 300
        country.write_ground(folder / "tiles" / f"{i + 3}.tif", tile, country.WEST + i * wide)
    (task,) = tasks_of(read_plan(folder, tmp_path), tmp_path, Options())
    assert isinstance(task, Task)
    (source,) = task.ground or ()
    assert [tile.name for tile in source.tiles] == ["2.tif", "3.tif", "4.tif"]
    assert source.name == "tiles/*.tif"
    assert network(folder, tmp_path / "few", "--workers", "1").exit_code == 0
    for i in (0, 1, 5, 6):
        (folder / "tiles" / f"{i}.tif").unlink()
    assert network(folder, tmp_path / "all", "--workers", "1").exit_code == 0
    few, every = (contents(tmp_path / name)["lines/route.gpkg"] for name in ("few", "all"))
    assert few == every


def test_trains_are_briefed(tmp_path: Path):
    """Law: a row's own trains and direction go before those of the plan; an end that is none fails the trains there,
    and their line's profile stands."""
    folder = tmp_path / "plan"
    for name in ("one", "two", "three"):
        country.write_territory(folder, name=f"{name}.toml")
    for name in ("light", "heavy"):
        (folder / f"{name}.toml").write_text(TRAIN)
    path = write_plan(
        folder,
        '[network]\nresult = "parquet"\nterritories = ["one.toml"]\ntrains = ["light.toml"]\n'
        '[[line]]\nterritory = "two.toml"\ntrains = ["heavy.toml"]\nto = "Marram"\n'
        '[[line]]\nterritory = "three.toml"\nto = "Nowhere"\n',
    )
    out = tmp_path / "out"
    result = network(path, out, "--workers", "1")
    assert result.exit_code == 1
    assert [row["state"] for row in rows(out)] == ["done", "trains failed", "done"]
    assert "'Nowhere' is no end of the line; write 'Sallow' or 'Marram'" in rows(out)[1]["error"]
    made = {str(p.relative_to(out / "briefings").parent) for p in out.rglob("marks.csv")}
    assert made == {"one/light/with", "two/heavy/against"}
    assert (out / "network.parquet").is_file()


def test_whole_of_failures_alone(tmp_path: Path):
    """Law: where every line failed there is still a file that says so."""
    (tmp_path / "a.toml").write_text("[centreline\n")
    result = network(write_plan(tmp_path, '[network]\nterritories = ["a.toml"]\n'), tmp_path / "out")
    assert result.exit_code == 1
    assert result.stdout.startswith("0 done, 1 failed: ")
    assert (tmp_path / "out/network.gpkg").is_file()


def area_plan(folder: Path, usage: str = "main") -> Path:
    """A plan of an area of three lines, where they are of a usage that is kept."""
    east, north = country.degrees(np.array([country.WEST + 6000]), np.array([country.NORTH - 1500]))[0]
    mapped = Mapped(float(east), float(north))
    for start in (-4000.0, 0.0):
        mapped.way(straight(start, start + 4000), name="Marram Line", usage=usage)
    mapped.way([(0, 0), (100, 3), (400, 60), (900, 250), (1400, 500)], name="Sedge Branch", usage=usage)
    mapped.write(folder / "area.osm")
    country.write_ground(folder / "ground.tif")
    text = '[network]\ninvented = true\n[area]\npath = "area.osm"\n[elevation]\nrasters = ["ground.tif"]\n'
    return write_plan(folder, text + 'vertical_datum = "EGM2008"\n')


def test_an_area(tmp_path: Path):
    """Law: every line of an extract becomes a territory that also stands by itself, and is profiled; a second start
    does nothing again."""
    path, out = area_plan(tmp_path), tmp_path / "out"
    result = network(path, out, "--workers", "1")
    assert result.exit_code == 0, result.stderr
    made = sorted(p.stem for p in (out / "area").glob("*.toml"))
    assert len(made) == 3
    assert [row["line"] for row in rows(out)] == made
    assert sum(float(row["length_km"]) for row in rows(out)) == pytest.approx(8 + 1.5, abs=0.1)
    alone = read_territory(out / "area" / f"{made[0]}.toml")
    assert build_profile(alone).vertical_datum == "EGM2008"
    before = {p: p.stat().st_mtime_ns for p in (out / "lines").glob("*.gpkg")}
    assert network(path, out, "--workers", "1").exit_code == 0
    assert {p: p.stat().st_mtime_ns for p in (out / "lines").glob("*.gpkg")} == before


def test_an_area_is_written_by_a_run_that_is_alone(tmp_path: Path):
    """Law: reading a plan writes nothing, nor does a run beside another, nor one whose area has no line to do."""
    path, out = area_plan(tmp_path), tmp_path / "out"
    plan = read_plan(path, out)
    assert len(plan.lines) == 3
    assert not out.exists()
    with alone_in(out):
        result = network(path, out, "--workers", "1")
    assert result.exit_code == 1
    assert "another run is at work there" in result.stderr
    assert sorted(str(p.relative_to(out)) for p in out.rglob("*")) == ["lines", "lines/.lock"]
    (tmp_path / "sidings").mkdir()
    path, out = area_plan(tmp_path / "sidings", usage="industrial"), tmp_path / "sidings/out"
    result = network(path, out, "--workers", "1")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert not out.exists()


def test_what_is_wrong_for_many_is_told_once(tmp_path: Path):
    """Law: the same failure of several lines is one sentence, with the first of them, and how many more; an area
    without any elevation is refused before it is read."""
    country.write_lines(tmp_path / "line.geojson", country.line())
    for name in ("a", "b", "c"):
        (tmp_path / f"{name}.toml").write_text('[centreline]\npath = "line.geojson"\n')
    path = write_plan(tmp_path, '[network]\nterritories = ["?.toml"]\n[elevation]\nrasters = ["dem/*.tif"]\n')
    result = network(path, tmp_path / "out", "--workers", "1")
    assert result.exit_code == 1
    told = [line for line in result.stderr.splitlines() if "dem/*.tif" in line]
    assert len(told) == 2
    assert told[0].startswith("failed: a.toml: ")
    assert told[1].startswith("so did 2 more: ")
    path = write_plan(tmp_path, '[network]\n[area]\npath = "nowhere.pbf"\n')
    with pytest.raises(InputError, match=r"there is no \[elevation\]"):
        read_plan(path, tmp_path)


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ('catalogue = "glo-30"\nrasters = ["a.tif"]', "give rasters, or a catalogue to fetch them from"),
        ('vertical_datum = "EGM96"', "give rasters, or a catalogue to fetch them from"),
        ('rasters = ["a.tif"]\ncache = "x"', "cache, collection and asset belong to a catalogue"),
    ],
)
def test_rasters_or_a_catalogue(tmp_path: Path, table: str, told: str):
    """Law: one of the two, said as such."""
    path = write_plan(tmp_path, f'[network]\nterritories = ["a.toml"]\n[elevation]\n{table}\n')
    with pytest.raises(InputError, match=told):
        read_plan(path, tmp_path)


def test_from_a_catalogue(tmp_path: Path):
    """Law: a line without elevation takes what the catalogue has along it, with its datum and whose it is."""
    (tmp_path / "tiles").mkdir()
    west, south = np.floor(country.line().min(axis=0)).astype(int)
    name = f"{'N' if south >= 0 else 'S'}{abs(south):02d}{'E' if west >= 0 else 'W'}{abs(west):03d}.hgt"
    y, x = np.mgrid[:1201, :1201]
    (tmp_path / "tiles" / name).write_bytes((300 + 20 * np.sin(x / 40) + 5 * np.cos(y / 30)).astype(">i2").tobytes())
    country.write_lines(tmp_path / "line.geojson", country.line())
    (tmp_path / "a.toml").write_text('[centreline]\npath = "line.geojson"\n')
    path = write_plan(
        tmp_path,
        '[network]\nterritories = ["a.toml"]\n[elevation]\ncatalogue = "tiles"\nattribution = "Elevation: invented"\n',
    )
    out = tmp_path / "out"
    result = network(path, out, "--workers", "1")
    assert result.exit_code == 0, result.stderr
    lines = geopandas.read_file(out / "network.gpkg", layer="lines")
    assert lines["attribution"].tolist() == ["Elevation: invented"]
    (name,) = read_profile(out / "lines/a.gpkg").source_names
    assert name.endswith("/*.tif")
