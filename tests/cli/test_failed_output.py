"""Runs that cannot finish: a full disk, a place that takes nothing, an interruption. The earlier output stays whole."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import resource
import shutil
import subprocess
import sys
from pathlib import Path

import pyogrio
import pytest
from click.testing import CliRunner, Result
from pyogrio.errors import DataSourceError

import profiler.results
from profiler.cli.main import main
from tests import country

ARGS = ("profile", "route.toml", "--tables-only")


@pytest.fixture(scope="module")
def complete(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a territory and a complete output made in US units."""
    folder = tmp_path_factory.mktemp("complete")
    path = country.write_territory(folder)
    out = folder / "route-profile"
    assert CliRunner().invoke(main, ["profile", str(path), "--tables-only", "--out", str(out)]).exit_code == 0
    return folder


@pytest.fixture
def here(complete: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, to stand in."""
    shutil.copytree(complete, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def contents(folder: Path) -> dict[str, str]:
    """Every file and folder, hidden ones too, with a hash of its bytes."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() if p.is_file() else "folder"
        for p in folder.rglob("*")
    }


def failed(here: Path, *more: str, code: int = 1) -> str:
    """What a run says that has to fail; nothing may have changed on disk."""
    before = contents(here)
    result: Result = CliRunner().invoke(main, [*ARGS, "--units", "metric", *more])
    assert contents(here) == before
    assert result.exit_code == code, result.output
    assert result.stdout == ""
    assert str(here) not in result.stderr
    assert result.stderr.count("\n") == 1
    return result.stderr.removeprefix("gradewright: ").removesuffix("\n")


FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("writer", ["write_tables", "write_geopackage", "_provenance"])
def test_full_disk(here: Path, monkeypatch: pytest.MonkeyPatch, writer: str):
    """Law: whichever file finds the disk full, the run ends with one sentence and the earlier output stays."""
    whole = getattr(profiler.results, writer)

    def fill(*args: object, **options: object) -> None:
        whole(*args, **options)
        raise FULL

    monkeypatch.setattr(profiler.results, writer, fill)
    said = "route-profile: the disk is full; free some space or choose another folder with --out"
    assert failed(here) == said


def test_full_disk_of_the_vector_library(here: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: the library's own class of error, which is no OSError, becomes the same kind of sentence."""

    def fill(*_: object, **__: object) -> None:
        raise DataSourceError("database or disk is full")

    monkeypatch.setattr(pyogrio.raw, "write", fill)
    assert failed(here) == (
        "route-profile/profile.gpkg: cannot be written (database or disk is full); "
        "free some space or choose another folder with --out"
    )


@pytest.mark.parametrize("most", [20_000, 150_000, 400_000])
def test_files_that_may_not_grow(here: Path, most: int):
    """Outside: the operating system itself stops the tables or the GeoPackage at a size."""
    before = contents(here)
    run = subprocess.run(
        [sys.executable, "-m", "profiler", *ARGS, "--units", "metric"],
        capture_output=True,
        text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)),
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert run.returncode == 1, run.stderr
    assert run.stdout == ""
    assert run.stderr.startswith("gradewright: route-profile")
    assert run.stderr.count("\n") == 1
    assert contents(here) == before


def test_read_only(here: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a folder that may not be written is refused before any work. Root may write anywhere: asking is mocked."""
    monkeypatch.setattr(os, "access", lambda *_: False)
    monkeypatch.setattr("profiler.build.build_profile", lambda *_, **__: pytest.fail("worked in vain"))
    said = "route-profile: cannot be written, permission is denied; choose another folder with --out"
    assert failed(here) == said


def test_read_only_found_late(here: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a disk that turns out to be read-only when the folder is made is no traceback either."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("tempfile.mkdtemp", refuse)
    assert failed(here).startswith("route-profile: cannot be written, permission is denied; ")


@pytest.mark.parametrize("place", ["notes.txt", "notes.txt/results"])
def test_file_in_the_way(here: Path, place: str):
    """Law: a file where the folder should stand is named, and kept."""
    (here / "notes.txt").write_text("mine")
    said = "notes.txt: is in the way, a file stands where a folder is needed; choose another --out"
    assert failed(here, "--out", place) == said


def test_folder_in_the_way(here: Path):
    """Law: a folder where a result file should stand is named, and kept."""
    (here / "route-profile/profile.csv").unlink()
    (here / "route-profile/profile.csv").mkdir()
    assert failed(here).startswith("route-profile/profile.csv: is in the way, a folder stands where a file is needed")


@pytest.mark.parametrize("step", ["sampling the ground", "estimating the rail", "writing tables", "writing the record"])
def test_interrupted(here: Path, monkeypatch: pytest.MonkeyPatch, step: str):
    """Law: stopped at any step, the earlier output is as it was, and the run says so."""

    def stop(told: str, _share: float) -> None:
        if told == step:
            raise KeyboardInterrupt

    monkeypatch.setattr("profiler.cli.progress.progress_bar", lambda: contextlib.nullcontext(stop))
    assert failed(here, code=130) == "interrupted; an earlier output is as it was"


def test_after_a_failure_the_next_run_is_whole(here: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a failed run leaves nothing that hinders the next."""
    with monkeypatch.context() as broken:
        broken.setattr(profiler.results, "write_tables", lambda *_: (_ for _ in ()).throw(FULL))
        failed(here)
    result = CliRunner().invoke(main, [*ARGS, "--units", "metric"])
    assert result.exit_code == 0
    assert not [p for p in (here / "route-profile").iterdir() if p.name.startswith(".")]
