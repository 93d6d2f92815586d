"""An alternative to the invented line: a straighter one over a part of it, through the same country.

Nothing is carved for it: the raster shows the ground as it is, and the line lies where it lies.
"""

from __future__ import annotations

import json

import numpy as np
from scipy.ndimage import gaussian_filter1d

from profiler.units import MILE, FloatArray
from sample_routes.maker.drawing import error, vertices
from sample_routes.maker.line import LENGTH, NAME, WORKS, Work, alignment, chainage_of, geographic, post_of
from sample_routes.maker.words import LEVELLED, SEA, level_table, opening, posts_table, station_table, work_table

CUTOFF_NAME = f"{NAME}, Nettlebank cut-off"
FROM_POST, TO_POST = 56.0, 63.2
"""Where it leaves the line and comes back."""
STRAIGHTENED, EASED_POSTS = 900.0, 0.7
"""Bends shorter than this are taken out [m]; over so many posts it swings from the line to itself."""
TIED = (44.0, 49.0, 54.3, FROM_POST, 65.0)
VIADUCT = Work("bridge", "Sallow High Viaduct", 56.15, 56.50, 34.0)
STATIONS = (("Farrow", 38.4), ("Ombersley Gap", 55.1), ("Thistle Quay", 70.2))


def cutoff_drawing(seed: int) -> str:
    """The centreline of the alternative as GeoJSON text: one piece, about a metre off."""
    rng = np.random.default_rng(seed + 1)
    s = vertices(rng)
    east, north = alignment().place(s)
    away_east, away_north = _away()
    east = east + np.interp(s, _grid(), away_east) + error(s, rng)
    north = north + np.interp(s, _grid(), away_north) + error(s, rng)
    feature = {
        "type": "Feature",
        "id": 1,
        "properties": {"railway": "proposed", "invented": "yes"},
        "geometry": {
            "type": "LineString",
            "coordinates": np.round(np.column_stack(geographic(east, north)), 6).tolist(),
        },
    }
    body = json.dumps(feature, separators=(",", ":"))
    return f'{{"type":"FeatureCollection","name":"{CUTOFF_NAME}, invented",\n"features":[\n{body}\n]}}\n'


def _grid() -> FloatArray:
    return np.append(np.arange(0.0, LENGTH, 20.0), LENGTH)


def _away() -> tuple[FloatArray, FloatArray]:
    """How far east and north of the line the alternative lies, every 20 m of the line. [m]"""
    s = _grid()
    post = post_of(s)
    share = np.clip(np.minimum(post - FROM_POST, TO_POST - post) / EASED_POSTS, 0, 1)
    share = share**2 * (3 - 2 * share)
    east, north = (share * (gaussian_filter1d(v, STRAIGHTENED / 20, mode="nearest") - v) for v in alignment().place(s))
    return east, north


def _equation() -> tuple[float, float, float]:
    """Where it comes back: distance from the start [m], the post counted along it, and that of the line."""
    east, north = (np.asarray(v) + away for v, away in zip(alignment().place(_grid()), _away(), strict=True))
    along = np.r_[0.0, np.cumsum(np.hypot(np.diff(east), np.diff(north)))]
    left, back = (float(np.interp(chainage_of(post), _grid(), along)) for post in (FROM_POST, TO_POST))
    return back, FROM_POST + (back - left) / MILE, TO_POST


def cutoff_territory() -> str:
    """The territory file of the alternative: on the way that both share the works are the same."""
    kept = [w for w in WORKS if w.name and (w.end_post < FROM_POST or w.start_post > TO_POST)]
    note = (
        f"# {CUTOFF_NAME}: an invented alternative to farrow.toml.\n"
        f"# {SEA}\n# Set it beside the line: gradewright beside farrow.toml farrow-cutoff.toml\n"
    )
    parts = [
        opening(note, CUTOFF_NAME, "farrow-cutoff-centreline.geojson", "proposed"),
        posts_table(TIED, _equation()),
        *(work_table(work) for work in (*kept, VIADUCT)),
        *(level_table(post) for post in LEVELLED),
        *(station_table(name, post) for name, post in STATIONS),
    ]
    return "\n".join(parts)
