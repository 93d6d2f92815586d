"""Results come whole or not at all: staging, moving into place, and what stays after a failure."""

from __future__ import annotations

import errno
import hashlib
import os
import tempfile
from pathlib import Path

import pytest

from profiler.errors import InputError, OutputError
from profiler.files import sha256, source_date, staged_folder

NAMES = {"profile": "profile.csv", "chart": "chart.svg", "map": "map.html"}


@pytest.fixture
def earlier(tmp_path: Path) -> Path:
    """A folder with the output of an earlier run and one file of somebody else's."""
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "profile.csv").write_text("old profile")
    (folder / "chart.svg").write_text("old chart")
    (folder / "notes.txt").write_text("mine")
    return folder


def contents(folder: Path) -> dict[str, str]:
    return {p.name: p.read_text() for p in folder.iterdir()}


def run(folder: Path, *, stop: BaseException | None = None, **files: str) -> None:
    """One run that writes files (profile="…" is profile.csv) and may be stopped at its end."""
    with staged_folder(folder, replaces=tuple(NAMES.values())) as stage:
        for name, text in files.items():
            (stage / NAMES[name]).write_text(text)
        if stop is not None:
            raise stop


OLD = {"profile.csv": "old profile", "chart.svg": "old chart", "notes.txt": "mine"}


def test_files_take_their_places(earlier: Path):
    """Law: new files replace old ones, stale ones of the same kind go, foreign ones stay."""
    with staged_folder(earlier, replaces=tuple(NAMES.values())) as stage:
        (stage / "profile.csv").write_text("new profile")
        (stage / "map.html").write_text("new map")
        assert (earlier / "profile.csv").read_text() == "old profile"
    assert contents(earlier) == {"profile.csv": "new profile", "map.html": "new map", "notes.txt": "mine"}


@pytest.mark.parametrize("stop", [KeyboardInterrupt(), ValueError(), SystemExit()])
def test_interrupted_run_leaves_the_earlier_output(earlier: Path, stop: BaseException):
    """Law: whatever ends a run, the earlier output stands and nothing unfinished is left."""
    with pytest.raises(type(stop)):
        run(earlier, profile="half", stop=stop)
    assert contents(earlier) == OLD


@pytest.mark.parametrize("moves", range(4))
@pytest.mark.parametrize("stop", [KeyboardInterrupt(), OSError(errno.EIO, "Input/output error")])
def test_stopped_while_moving(earlier: Path, monkeypatch, moves: int, stop: BaseException):
    """Law: stopped between any two of the four moves, all is put back."""
    replace, done = Path.replace, []

    def stopping(self: Path, target: Path) -> Path:
        done.append(target)
        if len(done) == moves + 1:
            raise stop
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", stopping)
    with pytest.raises((KeyboardInterrupt, OutputError)):
        run(earlier, profile="new profile", map="new map")
    assert contents(earlier) == OLD


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.EACCES, "permission is denied"),
        (errno.EROFS, "permission is denied"),
        (errno.ENOSPC, "the disk is full"),
        (errno.EIO, "Input/output error"),
    ],
)
def test_folder_that_takes_nothing(tmp_path: Path, monkeypatch, code: int, words: str):
    """Law: a folder that cannot be written is named before any work, and none is left behind."""

    def refuse(*_: object, **__: object) -> str:
        raise OSError(code, os.strerror(code), "somewhere")

    monkeypatch.setattr(tempfile, "mkdtemp", refuse)
    folder = tmp_path / "deep" / "out"
    with pytest.raises(OutputError, match=words) as caught, staged_folder(folder):
        pytest.fail("the body must not run")
    assert caught.value.source == str(folder)
    assert not folder.parent.exists()


def test_full_disk_in_mid_run(earlier: Path):
    """Law: ENOSPC of a writer, which names no file, becomes the sentence; the earlier output stands."""
    full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    with pytest.raises(OutputError, match="the disk is full; free some space") as caught:
        run(earlier, profile="half", stop=full)
    assert caught.value.source == str(earlier)
    assert contents(earlier) == OLD


def test_failed_first_run_leaves_no_folder(tmp_path: Path):
    """Law: folders made for a run that fails are taken away again, older ones stay."""
    with pytest.raises(IndexError):
        run(tmp_path / "a" / "b", profile="half", stop=IndexError())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_file_in_the_way_of_the_folder(tmp_path: Path, below: str):
    """Law: a file is never replaced by a folder."""
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError, match="a file stands where a folder is needed"):
        run(tmp_path / "out" / below, profile="new")
    assert (tmp_path / "out").read_text() == "mine"


def test_a_folder_in_the_way_of_a_file(earlier: Path):
    """Law: a folder that bears a result's name is nobody's to remove."""
    (earlier / "map.html").mkdir()
    (earlier / "map.html" / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="a folder stands where a file is needed") as caught:
        run(earlier, profile="new")
    assert caught.value.source == str(earlier / "map.html")
    assert (earlier / "map.html" / "mine.txt").read_text() == "mine"
    assert (earlier / "profile.csv").read_text() == "old profile"


def test_error_of_reading_is_not_called_one_of_writing(earlier: Path):
    """Law: an input that vanishes in mid-run keeps its own error."""
    with pytest.raises(FileNotFoundError) as caught, staged_folder(earlier):
        (earlier.parent / "out-of-reach.tif").read_bytes()  # begins like the folder's name, on purpose
    assert not isinstance(caught.value, OutputError)
    with pytest.raises(OSError, match="not recognised") as caught, staged_folder(earlier):
        raise OSError("not recognised")  # as raster readers raise theirs, without a number
    assert not isinstance(caught.value, OutputError)


def test_message_names_the_final_place(earlier: Path):
    """Law: nobody is told about the hidden folder."""
    with pytest.raises(OutputError) as caught, staged_folder(earlier) as stage:
        raise OutputError(stage / "profile.gpkg", "cannot be written", "free some space")
    assert caught.value.source == str(earlier / "profile.gpkg")


def test_relative_folder(tmp_path: Path, monkeypatch):
    """Law: a folder relative to where one stands works as any other, errors too."""
    monkeypatch.chdir(tmp_path)
    with staged_folder(Path("out")) as stage:
        (stage / "profile.csv").write_text("new")
    assert contents(tmp_path / "out") == {"profile.csv": "new"}
    with pytest.raises(OutputError, match=r"^out: "), staged_folder(Path("out")) as stage:
        (stage / "missing" / "profile.csv").write_text("new")


def test_sha256_of_a_file(tmp_path: Path):
    """Published: SHA-256 of "abc" (FIPS 180-4 example), and hashlib over 3 MB."""
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256(tmp_path / "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    (tmp_path / "long").write_bytes(bytes(3_000_001))
    assert sha256(tmp_path / "long") == hashlib.sha256(bytes(3_000_001)).hexdigest()


def test_date_comes_from_the_environment_only(monkeypatch):
    """Published: 1,000,000,000 s after the epoch is 2001-09-09 01:46:40 UTC."""
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    assert source_date() is None
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    date = source_date()
    assert date is not None
    assert date.isoformat() == "2001-09-09T01:46:40+00:00"
    for wrong in ("yesterday", "1.5", "9" * 30):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", wrong)
        with pytest.raises(InputError, match=r"SOURCE_DATE_EPOCH: .* is no date"):
            source_date()
