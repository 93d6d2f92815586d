"""OpenStreetMap PBF, written by another library."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import osmium
import pytest

from profiler import InputError, read_centreline


def written(path: Path) -> Path:
    """A main line of two ways, a bridge on the second, a siding, a station."""
    places = [(7.0 + 0.001 * i, 46.0) for i in range(8)]
    with osmium.SimpleWriter(str(path)) as out:
        for number, place in enumerate(places, start=1):
            tags = {"railway": "station", "name": "Sedge"} if number == 3 else {}
            out.add_node(osmium.osm.mutable.Node(id=number, location=place, tags=tags))
        rail = {"railway": "rail", "usage": "main"}
        out.add_way(osmium.osm.mutable.Way(id=1, nodes=[1, 2, 3, 4], tags=rail))
        out.add_way(osmium.osm.mutable.Way(id=2, nodes=[4, 5, 6], tags={**rail, "bridge": "yes"}))
        out.add_way(osmium.osm.mutable.Way(id=3, nodes=[6, 7, 8], tags={"railway": "rail", "service": "siding"}))
    return path


def test_ways_and_stations(tmp_path: Path):
    """Outside: what pyosmium wrote is read back; sidings stay out by default."""
    line = read_centreline(written(tmp_path / "small.osm.pbf"))
    assert [p.longitude.size for p in line.pieces] == [4, 3]
    np.testing.assert_allclose(line.pieces[0].longitude, [7.0, 7.001, 7.002, 7.003], atol=1e-7)
    assert line.pieces[1].attributes["bridge"] == "yes"
    assert [p.attributes["name"] for p in line.points] == ["Sedge"]
    assert any("service" in reason for reason in line.left_out)


def test_a_cut_file_is_refused(tmp_path: Path):
    """Law: a damaged file gets a sentence that names it."""
    whole = written(tmp_path / "small.osm.pbf").read_bytes()
    (tmp_path / "cut.osm.pbf").write_bytes(whole[: len(whole) * 2 // 3])
    with pytest.raises(InputError, match=r"cut\.osm\.pbf"):
        read_centreline(tmp_path / "cut.osm.pbf")
