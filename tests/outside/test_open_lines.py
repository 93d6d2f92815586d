"""Lines of open data, read and joined straight from their files.

Needs the folder named by GRADEWRIGHT_OPEN_DATA: SNCF Réseau open data (ODbL), OpenStreetMap (ODbL).
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod

from profiler.alignment.join import join
from profiler.errors import RouteError
from profiler.read.centreline import read_centreline

OPEN_DATA = os.environ.get("GRADEWRIGHT_OPEN_DATA", "")
pytestmark = pytest.mark.skipif(not Path(OPEN_DATA, "fr-puymorens").is_dir(), reason="GRADEWRIGHT_OPEN_DATA is not set")
GEOD = Geod(ellps="WGS84")


@pytest.mark.parametrize(
    ("file", "pieces", "length", "tolerance"),
    [
        ("fr-maurienne/line_900000.geojson", 12, 247_316 - 101_355, 800),
        ("fr-puymorens/line_672000.geojson", 7, 164_724 - 12_180, 200),
        ("de-bayreuth/rail.geojson", 12, 13_100, 50),
        ("de-bayreuth/north-bayreuth.osm.gz", 12, 13_100, 50),
    ],
)
def test_real_lines_join_into_one(file, pieces, length, tolerance):
    """Published: kilometre points of the two ends (SNCF Réseau); 13.1 km of line 5051 in the extract."""
    centreline = read_centreline(Path(OPEN_DATA, file))
    assert len(centreline.pieces) == pieces
    line = join(centreline)
    assert GEOD.line_length(line.longitude, line.latitude) == pytest.approx(length, abs=tolerance)
    assert sorted({span.piece for span in line.spans}) == list(range(pieces))
    bearing, _, step = GEOD.inv(line.longitude[:-1], line.latitude[:-1], line.longitude[1:], line.latitude[1:])
    turn = np.abs((np.diff(bearing) + 180) % 360 - 180)
    assert turn.max() < 45  # a zigzag left at a joint would turn by 180°
    assert step.min() > 0.5


def test_stations_come_with_the_openstreetmap_line():
    """Published: Ramsenthal, Bindlach and Harsdorf stand on line 5051; sidings and abandoned ways drop out."""
    centreline = read_centreline(Path(OPEN_DATA, "de-bayreuth/north-bayreuth.osm.gz"))
    assert {p.attributes.get("name") for p in centreline.points} >= {"Ramsenthal", "Bindlach", "Harsdorf"}
    assert centreline.left_out == {"abandoned": 2, "platform": 3, "service track": 5}


def test_tunnels_of_a_line_are_no_line():
    """Law: 29 tunnels are read as pieces, and joining them names a gap."""
    tunnels = read_centreline(Path(OPEN_DATA, "fr-maurienne/tunnels_900000.geojson"))
    assert len(tunnels.pieces) == 29
    with pytest.raises(RouteError, match="gap of"):
        join(tunnels)
