"""Lines of a real OpenStreetMap extract (OpenStreetMap contributors, ODbL), as an area gives them.

Needs the folder named by GRADEWRIGHT_OPEN_DATA.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from pipelines.area import lines_of_area, write_lines
from profiler import build_profile, build_route, read_territory

OPEN_DATA = os.environ.get("GRADEWRIGHT_OPEN_DATA", "")
HERE = Path(OPEN_DATA, "de-bayreuth")
pytestmark = pytest.mark.skipif(not HERE.is_dir(), reason="GRADEWRIGHT_OPEN_DATA is not set")


def published() -> dict[str, tuple[float, float | None]]:
    """Kilometre and elevation [m] of the stations of line 5051 (pages in published_elevations.csv)."""
    with (HERE / "published_elevations.csv").open(encoding="utf-8", newline="") as file:
        return {
            row["station"]: (float(row["km"]), float(row["published_elevation_m"] or "nan"))
            for row in csv.DictReader(file)
        }


@pytest.mark.parametrize("name", ["north-bayreuth.osm.gz", "rail.geojson"])
def test_one_line_in_the_extract(name: str):
    """Published: 13.1 km of line 5051 in 12 ways and three bridges, no junction of main lines (README of the data);
    its stations in order, as far apart as their kilometres say to 50 m."""
    area = lines_of_area(HERE / name)
    (line,) = area.lines
    assert line.ref == "5051"
    assert line.length == pytest.approx(13_100, abs=50)
    assert len(line.pieces) == 12
    assert sum(piece.attributes.get("bridge") == "yes" for piece in line.pieces) == 3
    assert area.said[0].startswith("1 line, 13.1 km; 0 junctions, 2 open ends, 1 network")
    assert [station.name for station in line.stations] == ["Harsdorf", "Ramsenthal", "Bindlach"]
    km = [published()[station.name][0] for station in line.stations]
    along = np.array([station.along for station in line.stations]) / 1000
    assert np.allclose(np.diff(along), -np.diff(km), atol=0.05)


def test_its_territory_is_profiled(tmp_path: Path):
    """Published: elevations of Bindlach and Harsdorf (pages in published_elevations.csv), within 4 m."""
    elevation = {"rasters": [str(HERE / "*.hgt")], "vertical_datum": "EGM96"}
    (path,) = write_lines(lines_of_area(HERE / "north-bayreuth.osm.gz").lines, tmp_path, elevation=elevation)
    profile = build_profile(read_territory(path))
    found = {s.name: float(np.interp(s.chainage, profile.chainage, profile.elevation)) for s in profile.route.stations}
    for name in ("Bindlach", "Harsdorf"):
        assert found[name] == pytest.approx(published()[name][1], abs=4)


def test_between_two_of_its_stations(tmp_path: Path):
    """Published: 6.273 km from Bindlach to Harsdorf by their kilometres."""
    area = lines_of_area(HERE / "north-bayreuth.osm.gz", between=[("Bindlach", "Harsdorf")])
    (path,) = write_lines(area.lines, tmp_path)
    route = build_route(read_territory(path))
    km = published()
    assert route.length == pytest.approx(1000 * (km["Harsdorf"][0] - km["Bindlach"][0]), abs=60)
    assert route.ends == ("Bindlach", "Harsdorf")
