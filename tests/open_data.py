"""The folder of open data named by GRADEWRIGHT_OPEN_DATA, and what several tests read from it.

Each of its folders names source and licence of every file. Lines: SNCF Réseau open data (ODbL),
OpenStreetMap (ODbL); ground: SRTM (public domain).
"""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from profiler.profile import Profile
from profiler.read.territory import check_territory
from profiler.territory import Territory

OPEN_DATA = os.environ.get("GRADEWRIGHT_OPEN_DATA", "")
needs_open_data = pytest.mark.skipif(
    not Path(OPEN_DATA, "fr-puymorens").is_dir(), reason="GRADEWRIGHT_OPEN_DATA is not set"
)


def territory(folder: str, line: str, rasters: list[str], tunnels: str = "", **more: Any) -> Territory:
    """A territory around files of the open data."""
    tables = {
        "route": {"name": folder},
        "centreline": {"path": line, **more.pop("centreline", {})},
        "elevation": {"rasters": rasters, "vertical_datum": "EGM96"},
        **more,
    }
    if tunnels:
        by_post = {"start": "pkd", "length_m": "longueur"}
        tables["structures"] = [{"kind": "tunnel", "path": tunnels, "name_from": "libelle", "posts_from": by_post}]
    return check_territory(tables, source=f"{folder}.toml", folder=Path(OPEN_DATA, folder))


def puymorens(*, tunnels: bool = True) -> Territory:
    """Foix to Latour-de-Carol, with its list of tunnels or without."""
    posts = {"start": "pkd", "end": "pkf", "unit": "km"}
    line = {"posts_from": posts, "start": {"post": "82.183"}}
    listed = "tunnels_672000.geojson" if tunnels else ""
    return territory("fr-puymorens", "line_672000.geojson", ["N42E001.hgt"], listed, centreline=line)


def maurienne(*, tunnels: bool = True, **settings: Any) -> Territory:
    """Culoz to the frontier in the Fréjus tunnel, of which the raster reaches the eastern two thirds."""
    line = {"posts_from": {"start": "pkd", "end": "pkf", "unit": "km"}}
    listed = "tunnels_900000.geojson" if tunnels else ""
    return territory("fr-maurienne", "line_900000.geojson", ["N45E006.hgt"], listed, centreline=line, settings=settings)


def published(folder: str, post: str) -> list[tuple[str, float, float]]:
    """(station, post, elevation [m]) of the folder's published elevations."""
    with Path(OPEN_DATA, folder, "published_elevations.csv").open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["published_elevation_m"] and r[post]]
    return [(r["station"], float(r[post]), float(r["published_elevation_m"])) for r in rows]


def residuals(profile: Profile, stations: list[tuple[str, float, float]]) -> dict[str, tuple[float, float]]:
    """Estimated minus published elevation [m] at the stations that lie on the route, and the estimate's
    standard error there [m]."""
    found = {}
    for name, post, elevation in stations:
        places = [c for c in profile.route.posts.chainages(post) if 0 <= c <= profile.route.length]
        if places:
            told, se = (np.interp(places[0], profile.chainage, v) for v in (profile.elevation, profile.elevation_se))
            found[name] = (float(told) - elevation, float(se))
    return found


def mean_grades(profile: Profile, length: float) -> np.ndarray:
    """Mean grade [m/m] over every stretch of a length [m]."""
    s, z = profile.chainage, profile.elevation
    starts = s[s <= s[-1] - length]
    return (np.interp(starts + length, s, z) - np.interp(starts, s, z)) / length
