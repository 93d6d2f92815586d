"""A line of a network read for its view, out of its written profile."""

from __future__ import annotations

import dataclasses
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from profiler.errors import InputError
from profiler.network_line import NetworkLine
from profiler.results import write_network_view, write_profile_file
from profiler.write.network_shown import shown_line
from tests.invented import invented_landmarks, invented_profile


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented line as `write_profile_file` writes it."""
    return write_profile_file(invented_profile(), invented_landmarks(), tmp_path_factory.mktemp("line") / "a.gpkg")


def test_it_comes_back_as_it_was(written: Path):
    """Law: what is shown of a written line is what is shown of the profile itself."""
    back, own = shown_line("a", written), NetworkLine.of("a", invented_profile(), invented_landmarks())
    for field in dataclasses.fields(NetworkLine):
        mine, theirs = getattr(own, field.name), getattr(back, field.name)
        if field.name == "posts":
            assert np.array_equal(mine.at(own.chainage), theirs.at(own.chainage))
            assert (mine.unit, mine.prefix, mine.plus) == (theirs.unit, theirs.prefix, theirs.plus)
        elif isinstance(mine, np.ndarray):
            assert np.allclose(mine, theirs, rtol=0, atol=1e-9)
        elif field.name == "grade_runs":
            assert np.allclose([dataclasses.astuple(x) for x in mine], [dataclasses.astuple(x) for x in theirs])
        elif field.name == "landmarks":  # a view has no places of doubt
            assert [dataclasses.replace(x, place_low=None, place_high=None) for x in mine] == list(theirs)
        else:
            assert mine == theirs, field.name


def test_a_damaged_file_is_named(written: Path, tmp_path: Path):
    """Law: one sentence with the file in it, and the view is not begun."""
    broken = tmp_path / "broken.gpkg"
    broken.write_bytes(written.read_bytes())
    with sqlite3.connect(broken) as file:
        file.execute("UPDATE about SET value = '3' WHERE key = 'ends'")
    view = tmp_path / "network.html"
    with pytest.raises(InputError, match=r"broken\.gpkg: is cut short or damaged"):
        write_network_view([("a", written), ("b", broken)], view)
    assert not view.exists()


def test_a_line_on_no_map_is_told_of(tmp_path: Path):
    """Law: a profile without coordinates is a row without a place."""
    profile = invented_profile()
    nowhere = np.full(profile.chainage.size, np.nan)
    route = dataclasses.replace(profile.route, longitude=nowhere, latitude=nowhere)
    file = write_profile_file(dataclasses.replace(profile, route=route), invented_landmarks(), tmp_path / "a.gpkg")
    assert shown_line("a", file).track[0].size == 0
    assert "on no map" in write_network_view([("a", file)], tmp_path / "network.html").read_text(encoding="utf-8")
