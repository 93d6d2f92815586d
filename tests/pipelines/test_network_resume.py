"""A run that is ended in any way goes on from there: nothing lost, nothing repeated, the same bytes."""

from __future__ import annotations

import errno
import fcntl
import os
import resource
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.network import alone_in
from tests import country
from tests.pipelines.test_network import contents, network, rows
from tests.pipelines.test_pool import heeds_ctrl_c
from tests.waiting import until

ROOT = Path(__file__).parents[2]
NAMES = ("marram", "sallow", "sedge", "thistle")
HELD = """
import os, time
from pathlib import Path

replace = os.replace

def held(source, target, **more):
    lines = Path(target).parent
    while lines.name == "lines" and Path(target).suffix == ".json" and len(list(lines.glob("*.json"))) >= {lines}:
        time.sleep(0.05)
    return replace(source, target, **more)

os.replace = held
"""
"""Every process of a run imports this: none records more than so many lines, however long the test takes to end it."""


@pytest.fixture(scope="module")
def territories(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four territories over one raster, lines of their own."""
    folder = tmp_path_factory.mktemp("territories")
    for i, name in enumerate(NAMES):
        text = country.TERRITORY.replace("Marram", name.title()).replace("line.geojson", f"{name}.geojson")
        country.write_territory(folder, text, name=f"{name}.toml")
        country.write_lines(folder / f"{name}.geojson", country.line(north=20.0 * i))
    (folder / "line.geojson").unlink()
    return folder


@pytest.fixture(scope="module")
def whole(territories: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Every file of a run that nothing ended."""
    out = tmp_path_factory.mktemp("whole") / "out"
    assert network(territories, out, "--workers", "1").exit_code == 0
    return contents(out)


def begin(
    territories: Path, out: Path, *more: str, lines: int = len(NAMES), **options: object
) -> subprocess.Popen[str]:
    """Start a run that records no more than ``lines`` and then waits for its end."""
    hold = out.with_name("hold")
    hold.mkdir()
    (hold / "sitecustomize.py").write_text(HELD.format(lines=lines))
    return subprocess.Popen(
        [sys.executable, "-m", "profiler", "network", str(territories), "--out", str(out), *more],
        env={**os.environ, "PYTHONPATH": f"{hold}{os.pathsep}{ROOT}"},
        stderr=subprocess.PIPE,
        text=True,
        **{"preexec_fn": heeds_ctrl_c, **options},
    )


def until_done(out: Path, lines: int) -> None:
    """Wait until so many lines are recorded."""
    until(lambda: len(list((out / "lines").glob("*.json"))) >= lines)


def last_line(said: str) -> str:
    """What a run said in the end; before it nothing but its progress, told where a busy machine takes long."""
    *before, last = said.splitlines()
    assert all(" of 4 lines, " in line for line in before)
    return last


def stamps(out: Path) -> dict[str, int]:
    """When each recorded line's files were written. [ns]"""
    done = [p.stem for p in (out / "lines").glob("*.json")]
    return {p.name: p.stat().st_mtime_ns for p in (out / "lines").glob("*") if p.stem in done}


@pytest.mark.parametrize(("workers", "lines"), [("1", 1), ("2", 2)])
def test_killed_and_started_again(territories: Path, whole: dict[str, str], tmp_path: Path, workers: str, lines: int):
    """Law: after kill -9 the next start keeps every finished file as it is and ends with the same bytes in all."""
    out = tmp_path / "out"
    run = begin(territories, out, "--workers", workers, lines=lines)
    until_done(out, lines)
    run.send_signal(signal.SIGKILL)
    run.communicate(timeout=120)
    kept = stamps(out)
    assert 2 * lines <= len(kept) < 2 * len(NAMES)
    assert not (out / "network.gpkg").exists()
    result = network(territories, out, "--workers", "1")
    assert result.exit_code == 0
    assert contents(out) == whole
    assert {name: stamp for name, stamp in stamps(out).items() if name in kept} == kept


def test_ctrl_c_says_how_to_go_on(territories: Path, whole: dict[str, str], tmp_path: Path):
    """Law: interrupted, it ends with code 130 and one sentence; the next start goes on."""
    out = tmp_path / "out"
    run = begin(territories, out, "--workers", "2", lines=1)
    until_done(out, 1)
    run.send_signal(signal.SIGINT)
    _, said = run.communicate(timeout=120)
    assert run.returncode == 130
    assert last_line(said).startswith("gradewright: interrupted after ")
    assert last_line(said).endswith(" of 4 lines; the same command goes on from there")
    assert network(territories, out, "--workers", "1").exit_code == 0
    assert contents(out) == whole


def test_a_full_disk(territories: Path, whole: dict[str, str], tmp_path: Path):
    """Law: a file that grows no more ends the run in one sentence; what was done stays, and the next start goes on."""
    out = tmp_path / "out"
    assert network(territories, out, "--workers", "1").exit_code == 0
    for name in NAMES[2:]:
        (out / "lines" / f"{name}.json").unlink()
    kept = stamps(out)
    most = 200_000  # less than a line's file, more than anything else that is written
    assert (out / "lines/marram.gpkg").stat().st_size > most
    run = begin(
        territories,
        out,
        "--workers",
        "1",
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)),
    )
    _, said = run.communicate(timeout=120)
    assert run.returncode == 1
    assert last_line(said).startswith("gradewright: ")
    assert "free some space or choose another folder with --out" in last_line(said)
    assert {name: stamp for name, stamp in stamps(out).items() if name in kept} == kept
    assert network(territories, out, "--workers", "1").exit_code == 0
    assert contents(out) == whole


def test_a_disk_full_for_the_last_file(territories: Path, whole: dict[str, str], tmp_path: Path, monkeypatch):
    """Law: what fills the disk while the one file is written loses no line, nor an earlier file."""
    out = tmp_path / "out"
    assert network(territories, out, "--workers", "1").exit_code == 0

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("profiler.write.network_gpkg._Filling.add", full)
        result = network(territories, out, "--workers", "1")
    assert result.exit_code == 1
    assert result.stderr.endswith(
        "network.gpkg: the disk is full; free some space or choose another folder with --out\n"
    )
    assert contents(out) == whole


def test_what_changed_is_done_again(tmp_path: Path):
    """Law: of lines whose inputs changed, and of those alone, new results are written."""
    folder = tmp_path / "territories"
    country.write_territory(folder, name="one.toml")
    country.write_territory(folder, country.TERRITORY.replace("line.geojson", "other.geojson"), name="two.toml")
    country.write_lines(folder / "other.geojson", country.line(north=30.0))
    out = tmp_path / "out"

    def changed() -> set[str]:
        before = stamps(out)
        assert network(folder, out, "--workers", "1").exit_code == 0
        return {Path(name).stem for name, stamp in stamps(out).items() if before.get(name) != stamp}

    assert changed() == {"one", "two"}
    assert changed() == set()
    text = (folder / "one.toml").read_text()
    (folder / "one.toml").write_text("# a remark changes nothing\n" + text)
    assert changed() == set()
    (folder / "one.toml").write_text(text + "\n[settings]\nprominence_m = 3.0\n")
    assert changed() == {"one"}
    country.write_lines(folder / "other.geojson", country.line(north=31.0))
    assert changed() == {"two"}
    os.utime(folder / "ground.tif", ns=(1, 1))
    assert changed() == {"one", "two"}
    (folder / "ground.tif.aux.xml").write_text("<PAMDataset/>")
    assert changed() == {"one", "two"}
    (out / "lines/two.gpkg").write_bytes(b"cut")
    assert changed() == {"two"}
    kept = bytearray((out / "lines/one.gpkg").read_bytes())
    kept[-1] ^= 1  # by hand, or zeros after a power failure: the size is as it was
    (out / "lines/one.gpkg").write_bytes(kept)
    assert changed() == {"one"}
    before = stamps(out)
    assert network(folder, out, "--workers", "1", "--again").exit_code == 0
    assert not set(before.items()) & set(stamps(out).items())


def test_failed_lines_are_tried_again(tmp_path: Path):
    """Law: a failure is recorded, takes an earlier result away, and is tried at the next start."""
    folder, out = tmp_path / "territories", tmp_path / "out"
    country.write_territory(folder, name="one.toml")
    assert network(folder, out, "--workers", "1").exit_code == 0
    ground = (folder / "ground.tif").read_bytes()
    (folder / "ground.tif").write_bytes(ground[: len(ground) // 2])
    assert network(folder, out, "--workers", "1").exit_code == 1
    assert rows(out)[0]["state"] == "failed"
    assert "ground.tif" in (out / "lines/one.json").read_text()
    assert not (out / "lines/one.gpkg").exists()
    (folder / "ground.tif").write_bytes(ground)
    assert network(folder, out, "--workers", "1").exit_code == 0
    assert rows(out)[0]["state"] == "done"


def test_inputs_that_are_away_for_a_while(tmp_path: Path):
    """Law: what an earlier run finished outlasts a disk that is not there: a failure now, done again without work."""
    folder, out = tmp_path / "territories", tmp_path / "out"
    country.write_territory(folder, name="one.toml")
    assert network(folder, out, "--workers", "1").exit_code == 0
    before = stamps(out)
    (folder / "ground.tif").rename(tmp_path / "away.tif")
    assert network(folder, out, "--workers", "1").exit_code == 1
    assert rows(out)[0]["state"] == "failed"
    (tmp_path / "away.tif").rename(folder / "ground.tif")
    assert network(folder, out, "--workers", "1").exit_code == 0
    assert rows(out)[0]["state"] == "done"
    assert stamps(out) == before


def test_a_folder_beside_that_has_gone(tmp_path: Path):
    """Law: with --tables a line is not done while its folder is missing."""
    folder, out = tmp_path / "territories", tmp_path / "out"
    country.write_territory(folder, name="one.toml")
    assert network(folder, out, "--workers", "1", "--tables").exit_code == 0
    every = contents(out)
    shutil.rmtree(out / "one-profile")
    assert network(folder, out, "--workers", "1", "--tables").exit_code == 0
    assert contents(out) == every


def test_killed_while_it_is_done_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a line that was being done with other inputs has no record of the earlier ones any more."""
    folder, out = tmp_path / "territories", tmp_path / "out"
    country.write_territory(folder, name="one.toml")
    text = (folder / "one.toml").read_text()
    assert network(folder, out, "--workers", "1", "--tables").exit_code == 0
    every = contents(out)

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    (folder / "one.toml").write_text(text.replace("Sedge Tunnel", "Thistle Tunnel"))
    with monkeypatch.context() as patch:
        patch.setattr("pipelines.networks.job.keep", killed)
        assert network(folder, out, "--workers", "1", "--tables").exit_code == 130
    (folder / "one.toml").write_text(text)
    assert network(folder, out, "--workers", "1", "--tables").exit_code == 0
    assert contents(out) == every


def test_one_run_at_a_time(territories: Path, tmp_path: Path):
    """Law: a second run in the same folder is refused in one sentence."""
    out = tmp_path / "out"
    (out / "lines").mkdir(parents=True)
    with (out / "lines/.lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        result = network(territories, out)
    assert result.exit_code == 1
    assert result.stderr == f"gradewright: {out}: another run is at work there; wait for it, or choose another --out\n"


def test_what_is_taken_away(tmp_path: Path):
    """Law: what a killed run left unfinished goes; a folder that the run did not make is not looked into."""
    ours = [tmp_path / name / ".unfinished-1" for name in (".", "lines", "a-profile", "briefings/a/train/with")]
    other = tmp_path / "project/results/.unfinished-1"
    for place in (*ours, other):
        place.mkdir(parents=True)
    with alone_in(tmp_path):
        assert not any(place.exists() for place in ours)
    assert other.exists()


def test_a_disk_without_locks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a file system that knows no locks does not keep anybody out."""

    def unknown(*_: object) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr("fcntl.flock", unknown)
    with alone_in(tmp_path):
        pass


def test_nowhere_to_write(territories: Path, tmp_path: Path):
    """Law: a file where the folder should stand is told before any work."""
    (tmp_path / "file").write_text("")
    result = network(territories, tmp_path / "file")
    assert result.exit_code == 1
    assert result.stderr.startswith(f"gradewright: {tmp_path / 'file'}: ")
