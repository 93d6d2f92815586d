"""The line as somebody drew it from above: vertices a little off, in pieces, in no order."""

from __future__ import annotations

import itertools
import json

import numpy as np
from scipy.ndimage import gaussian_filter1d

from profiler.units import FloatArray
from sample_routes.maker.line import LENGTH, WORKS, alignment, chainage_of, geographic

SHARP_SD, SLOW_SD, SLOW_LENGTH = 0.6, 0.8, 250.0
"""Error of a vertex to each side: its own, and one shared with its neighbours over a length. [m]"""
SAGITTA = 0.18
"""How far a chord of the drawing may stand off the curve; chords are 5 to 60 m long. [m]"""
PIECES = 24

TAGGED = ("Tunnel 2", "Teasel Bridge")
"""Works that the drawing itself tells; the territory file lists the others by their posts."""

SIDINGS = (  # first and last post, side (+ left), tags
    (38.28, 38.62, 4.6, {"service": "yard", "name": "Farrow mine road"}),
    (43.70, 44.28, -4.6, {"service": "siding", "name": "Long Garth siding"}),
    (57.70, 57.98, 4.6, {"service": "siding", "name": "Nettlebank siding"}),
    (69.95, 70.55, -4.6, {"service": "spur", "name": "Quay road"}),
)


def drawing(seed: int) -> str:
    """The centreline as GeoJSON text."""
    rng = np.random.default_rng(seed)
    s = vertices(rng)
    off_east, off_north = error(s, rng), error(s, rng)
    east, north = alignment().place(s)
    places = np.column_stack([east + off_east, north + off_north])
    pieces = [(places[a : b + 1], tags) for a, b, tags in _cut(s, rng)]
    pieces += [_siding(s, places, *siding) for siding in SIDINGS]
    rng.shuffle(pieces)
    features = []
    for number, (piece, tags) in enumerate(pieces):
        run = piece[::-1] if rng.random() < 0.35 else piece
        features.append(_feature(number + 1, run, tags))
    body = ",\n".join(json.dumps(f, separators=(",", ":")) for f in features)
    return '{"type":"FeatureCollection","name":"Farrow to Thistle Quay, invented",\n"features":[\n' + body + "\n]}\n"


def vertices(rng: np.random.Generator) -> FloatArray:
    """Chainages of the vertices: close where the line bends, and one at either end of tagged works."""
    line = alignment()
    s, laid = 0.0, [0.0]
    while s < LENGTH:
        bend = float(np.interp(s + 10, line.chainage, np.abs(line.curvature)))
        chord = np.clip(np.sqrt(8 * SAGITTA / max(bend, 1e-5)), 5, 60)
        s += float(np.clip(chord * rng.uniform(0.55, 1.15), 5, 60))
        laid.append(s)
    ends = [x for work in WORKS if work.name in TAGGED for x in (work.start, work.end)]
    free = np.array(laid)
    free = free[(free < LENGTH - 5) & (np.abs(free[:, None] - np.array(ends)).min(axis=1) > 5)]
    return np.sort(np.r_[free, ends, LENGTH])


def error(s: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Error of the vertices along one axis. [m]"""
    grid = np.arange(0.0, LENGTH + 10, 10.0)
    slow = gaussian_filter1d(rng.normal(size=grid.size), SLOW_LENGTH / 20, mode="nearest")
    return np.interp(s, grid, slow / slow.std()) * SLOW_SD + rng.normal(size=s.size) * SHARP_SD


def _cut(s: FloatArray, rng: np.random.Generator) -> list[tuple[int, int, dict[str, str]]]:
    """First and last vertex of every piece, with its own tags."""
    tagged = {}
    for work in WORKS:
        if work.name in TAGGED:
            a, b = (int(np.abs(s - x).argmin()) for x in (work.start, work.end))
            layer = "-1" if work.kind == "tunnel" else "1"
            tagged[a, b] = {work.kind: "yes", "layer": layer, f"{work.kind}:name": work.name}
    cuts = {i for ends in tagged for i in ends} | {0, s.size - 1}
    for i in rng.choice(np.arange(8, s.size - 8), PIECES, replace=False).tolist():
        if min(abs(i - j) for j in cuts) > 4 and not any(a < i < b for a, b in tagged):
            cuts.add(i)
    order = sorted(cuts)
    return [(a, b, tagged.get((a, b), {})) for a, b in itertools.pairwise(order)]


def _siding(
    s: FloatArray, places: FloatArray, first: float, last: float, side: float, tags: dict[str, str]
) -> tuple[FloatArray, dict[str, str]]:
    """A track beside the line that leaves it at a vertex and, unless a spur, comes back at another."""
    a, b = (int(np.abs(s - chainage_of(post)).argmin()) for post in (first, last))
    inner = np.arange(s[a] + 55, s[b] - 50, 45.0)
    track = np.column_stack(alignment().place(inner, side))
    back = [] if tags["service"] == "spur" else [places[b]]
    return np.vstack([places[a], track, *back]), tags


def _feature(number: int, piece: FloatArray, tags: dict[str, str]) -> dict[str, object]:
    lon, lat = geographic(*piece.T)
    usage = {} if "service" in tags else {"usage": "main"}
    return {
        "type": "Feature",
        "id": number,
        "properties": {"railway": "rail", "gauge": "1435", "invented": "yes", **usage, **tags},
        "geometry": {
            "type": "LineString",
            "coordinates": np.round(np.column_stack([lon, lat]), 6).tolist(),
        },
    }
