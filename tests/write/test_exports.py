"""The table of formats, and what no export does: leave a half, overwrite what is not ours."""

from __future__ import annotations

import contextlib
import dataclasses
import importlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from profiler.errors import InputError, OutputError
from profiler.profile import Profile
from profiler.write import exports
from profiler.write.exports import EXPORTS, export
from profiler.write.geopackage import write_geopackage
from tests.exported import plain
from tests.invented import invented_landmarks

ON_A_MAP = [name for name, found in EXPORTS.items() if not found.files]


@contextlib.contextmanager
def room_for(size: int) -> Iterator[None]:
    """No file of this process may grow beyond ``size`` bytes: what a full disk does to a writer."""
    resource = pytest.importorskip("resource", reason="the system must be able to limit files")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def place(name: str, folder: Path) -> Path:
    return folder / f"line{EXPORTS[name].suffix}"


def nowhere() -> Profile:
    """A line known by a table alone."""
    profile = plain(500.0)
    none = np.full(profile.chainage.size, np.nan)
    route = dataclasses.replace(profile.route, longitude=none, latitude=none, heading=none, lateral_se=none)
    return dataclasses.replace(profile, route=route)


def test_the_table():
    """Law: every writer is there, every suffix belongs to one format."""
    assert len({found.suffix for found in EXPORTS.values()}) == len(EXPORTS)
    for found in EXPORTS.values():
        module, function = found.writer.split(".")
        assert callable(getattr(importlib.import_module(f"profiler.write.{module}"), function))


@pytest.mark.parametrize("name", EXPORTS)
def test_it_knows_its_own_file_again(name: str, tmp_path: Path):
    """Law: an earlier export is replaced, and nothing else appears beside it."""
    for _ in range(2):
        export(plain(500.0), invented_landmarks(), name, place(name, tmp_path))
    assert [p.name for p in tmp_path.iterdir()] == [place(name, tmp_path).name]


@pytest.mark.parametrize("name", EXPORTS)
def test_the_file_of_somebody_else_stays(name: str, tmp_path: Path):
    """Law: what we did not write is never replaced, an empty file neither."""
    path = place(name, tmp_path)
    stands = path / "datapackage.json" if EXPORTS[name].files else path
    stands.parent.mkdir(exist_ok=True)
    for content in ("mine", ""):
        stands.write_text(content)
        with pytest.raises(OutputError, match="was not written by gradewright"):
            export(plain(500.0), invented_landmarks(), name, path)
        assert stands.read_text() == content


@pytest.mark.parametrize("name", EXPORTS)
def test_something_of_another_kind_stands_there(name: str, tmp_path: Path):
    """Law: no file takes a folder's place, and no folder a file's."""
    path = place(name, tmp_path)
    path.write_text("gradewright") if EXPORTS[name].files else path.mkdir()
    with pytest.raises(OutputError, match="is in the way"):
        export(plain(500.0), invented_landmarks(), name, path)


@pytest.mark.parametrize("name", EXPORTS)
def test_full_disk(name: str, tmp_path: Path):
    """Law: a full disk ends in a sentence that names the place; the earlier export stays, no half is left."""
    path, profile = place(name, tmp_path), plain(500.0)
    export(profile, invented_landmarks(), name, path)
    earlier = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    largest = max(len(content) for content in earlier.values())
    for share in (0.0, 0.3, 0.9):
        with room_for(int(share * largest)), pytest.raises(OutputError, match="free some space") as caught:
            export(profile, invented_landmarks(), name, path)
        assert Path(caught.value.source).is_relative_to(tmp_path)
        assert ".unfinished" not in str(caught.value)
        assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == earlier


def test_the_profile_itself_stays(tmp_path: Path):
    """Law: an export to the place of profile.gpkg, or into its folder as CSV, is refused."""
    write_geopackage(plain(500.0), invented_landmarks(), tmp_path / "profile.gpkg")
    before = (tmp_path / "profile.gpkg").read_bytes()
    for name, path in (("gpkg", tmp_path / "profile.gpkg"), ("csv", tmp_path)):
        with pytest.raises(OutputError, match="belongs to the profile itself"):
            export(plain(500.0), invented_landmarks(), name, path)
    assert (tmp_path / "profile.gpkg").read_bytes() == before
    export(plain(500.0), invented_landmarks(), "gpkg", tmp_path / "gis.gpkg")


@pytest.mark.parametrize("name", ON_A_MAP)
def test_a_line_on_no_map(name: str, tmp_path: Path):
    """Law: formats of places refuse a line without places, in one sentence; tables take it."""
    with pytest.raises(InputError, match="lies on no map"):
        export(nowhere(), invented_landmarks(), name, place(name, tmp_path))
    assert list(tmp_path.iterdir()) == []
    export(nowhere(), invented_landmarks(), "csv", tmp_path / "o")
    assert (tmp_path / "o/profile.csv").read_text().splitlines()[1].startswith("0.0,38.000,,,")


def test_unknown_format(tmp_path: Path):
    """Law: whoever asks for another format is told those there are."""
    with pytest.raises(InputError, match=r"the formats are csv, geojson, "):
        export(plain(500.0), invented_landmarks(), "dxf", tmp_path / "a.dxf")


def test_a_file_that_cannot_be_looked_into(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: no traceback where a file that stands there may not be read. Root may read anything: mocked."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.kml").write_text("gradewright")
    monkeypatch.setattr(exports.mmap, "mmap", refuse)
    with pytest.raises(OutputError, match="permission is denied"):
        export(plain(500.0), invented_landmarks(), "kml", tmp_path / "a.kml")
