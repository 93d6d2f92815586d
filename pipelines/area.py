"""Lines of an area, from an OpenStreetMap extract: each a territory file and its drawing.

`lines_of_area` reads an extract; `survey` is pure: the ways of main and branch lines become one
track for every corridor (`tracks`, `corridors`), cut where lines meet or laid between named stations (`ways`), with
the speeds, posts and stations that their tags tell (`laid_lines`, `line_tags`). `write_lines` makes files of them.

A limit is what somebody mapped, and nothing here says which trains run.
"""

from __future__ import annotations

import json
from bisect import insort
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
import tomli_w
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from pipelines.lines.between import ways_between
from pipelines.lines.corridors import Corridors, corridors_of, together
from pipelines.lines.gauges import by_gauge
from pipelines.lines.kept_ways import Keep, kept_ways, value_of
from pipelines.lines.laid_lines import Line, Surroundings, is_post, is_station, lay_line, place_of, points_of
from pipelines.lines.line_tags import counted, plain, slug_of, unique
from pipelines.lines.meeting import Contact
from pipelines.lines.tracks import Track, links_of, strokes_of
from profiler import Centreline, InputError, OutputError, Piece, read_centreline, staged_folder

MAIN_LINES: Keep = {"usage": ("main", "branch")}
"""Ways of main and branch lines, by the tag `usage`."""

SHORTEST = 1000.0
"""Lines shorter than this are left out, dead ends make no junction, junctions nearer together are one. [m]"""

LEAST = 100.0
"""No line is shorter than this, whatever is asked for. [m]"""

NAMED_AT_MOST = 5
"""Of railways without a line so many are named, those of the greatest length."""

CREDIT = {
    "attribution": "OpenStreetMap contributors",
    "licence": "Open Database License 1.0 (openstreetmap.org/copyright)",
}
"""Of the drawing of every line that is not invented; goes from its territory file to whatever is made of it."""
_WRITTEN = "# A line of an area, written by gradewright"


@dataclass(frozen=True, eq=False)
class Area:
    """The lines of an area in order of their names, and what was ``said`` in finding them, in sentences."""

    lines: tuple[Line, ...]
    said: tuple[str, ...]


def lines_of_area(
    path: Path | str,
    *,
    keep: Keep = MAIN_LINES,
    between: Sequence[tuple[str, str]] = (),
    tracks: Literal["one", "all"] = "one",
    shortest_m: float = SHORTEST,
) -> Area:
    """The lines of an OpenStreetMap extract, see `survey`; also of other files whose lines have a field `railway`.

    Raises
    ------
    InputError
        If the file is damaged, is not what its name says, or holds no such line.
    """
    at_reading = {tag: values for tag, values in keep.items() if tag in ("railway", "service")}
    centreline = read_centreline(path, keep=at_reading or None)
    return survey(centreline, keep=keep, between=between, tracks=tracks, shortest_m=shortest_m)


def survey(
    centreline: Centreline,
    *,
    keep: Keep = MAIN_LINES,
    between: Sequence[tuple[str, str]] = (),
    tracks: Literal["one", "all"] = "one",
    shortest_m: float = SHORTEST,
) -> Area:
    """Lines of an area from the ways and nodes of an extract, from junction to junction.

    Parameters
    ----------
    centreline : Centreline
        As read, without service tracks.
    keep : mapping of str to sequence of str
        Tags and the values wanted; "" stands for no value.
    between : sequence of (str, str)
        Names of stations: instead of all lines, the shortest way between the two of each pair.
    tracks : "one" or "all"
        One track for every corridor, or every track by itself.
    shortest_m : float
        Lines shorter than this (100 m at least) are left out and counted. [m]

    Raises
    ------
    InputError
        If nothing is a railway, nothing is kept, or a station is not there or not the only one of its name.
    RouteError
        If no train gets from one of two stations to the other without turning back.
    """
    if tracks not in ("one", "all"):
        raise InputError("tracks", f"is {plain(tracks)}", 'give "one" or "all"')
    pieces, of_reading = kept_ways(centreline, keep)
    shortest_m = max(shortest_m, LEAST)
    links = links_of(pieces)
    gauges = by_gauge(links, pieces)
    met = together(
        [
            corridors_of(strokes_of(alike, pieces), all_tracks=tracks == "all", shortest=shortest_m)
            for alike in gauges.values()
        ]
    )
    around = Surroundings(
        pieces, points_of(centreline.points, is_station), points_of(centreline.points, is_post), centreline.source
    )
    if between:
        found = [lay_line(track, around, ends=pair) for pair, track in ways_between(met, around, between)]
        return Area(_named(found), of_reading)
    laid, short, closed = _cut(met, shortest_m)
    if not laid:
        raise InputError(
            centreline.source,
            f"none of its lines is {shortest_m:g} m long ({counted(len(short), 'shorter one')})",
            "ask for shorter lines",
        )
    found = [lay_line(track, around) for track in laid]
    found.sort(key=lambda line: (line.name, line.start, line.end, line.length))
    said = (
        *_said(met, found, short, closed, shortest_m),
        *_said_of_gauges(gauges),
        *_said_of_lost(links, laid, pieces, shortest_m),
    )
    return Area(_named(found), (*said, *of_reading))


def _cut(met: Corridors, shortest: float) -> tuple[list[Track], list[float], int]:
    """Tracks from junction to junction; lengths of those too short [m]; how many were closed upon themselves."""
    at: dict[int, dict[float, bool]] = {t: {} for t in range(len(met.tracks))}
    for c in met.contacts:
        for t, s in ((c.track, c.at), (c.other, c.other_at)):
            at[t][s] = at[t].get(s, False) or c.track == c.other
    found, short, closed = [], [], 0
    for t, track in enumerate(met.tracks):
        cuts = _spaced(at[t], track.length, shortest)
        for start, end in zip(cuts, [*cuts[1:], track.length], strict=True):
            part = track.part(start, end) if cuts[1:] else track
            if part.length < shortest:
                short.append(part.length)
            elif float(np.linalg.norm(part.position[0] - part.position[-1])) > min(30.0, 0.1 * part.length):
                found.append(part)
            else:
                closed += 1
                middle = float(part.along[np.argmin(np.abs(part.along - part.length / 2))])
                found += [part.part(0.0, middle), part.part(middle, part.length)]
    return found, short, closed


def _spaced(at: Mapping[float, bool], length: float, shortest: float) -> list[float]:
    """Where a track is cut [m], from 0 on: no nearer together than ``shortest``, but always where it meets itself."""
    cuts = [0.0, *(s for s in sorted(at) if at[s] and 1.0 < s < length - 1.0)]
    for s in sorted(at):
        if length - s >= shortest and all(abs(s - other) >= shortest for other in cuts):
            insort(cuts, s)
    return cuts


def _named(lines: Sequence[Line]) -> tuple[Line, ...]:
    """Lines whose names and file names are told apart."""
    names = unique([line.name for line in lines], " ")
    slugs = unique([slug_of(line.name, f"way {line.pieces[0].attributes.get('osm_id', '')}") for line in lines], "-")
    return tuple(replace(line, name=n, slug=s) for line, n, s in zip(lines, names, slugs, strict=True))


def _said(
    met: Corridors, lines: Sequence[Line], short: Sequence[float], closed: int, shortest: float
) -> tuple[str, ...]:
    junctions, loose, networks = _shape(met)
    total = sum(line.length for line in lines) / 1000
    said = [
        f"{counted(len(lines), 'line')}, {total:,.1f} km; {counted(junctions, 'junction')}, "
        f"{counted(loose, 'open end')}, {counted(networks, 'network')}"
    ]
    said += [f"{reason}: {length / 1000:,.1f} km left out" for reason, length in sorted(met.left_out.items())]
    if short:
        said.append(f"lines shorter than {shortest:g} m: {len(short):,} left out, {sum(short) / 1000:,.1f} km")
    if closed:
        said.append(f"lines closed upon themselves: {closed:,} cut into two")
    return tuple(said)


def _shape(met: Corridors) -> tuple[int, int, int]:
    """Numbers of junctions, of ends where nothing meets, and of networks."""
    spots = sorted({spot for c in met.contacts for spot in _spots(c)})
    number = {spot: i for i, spot in enumerate(spots)}
    pairs = [[number[spot] for spot in _spots(c)] for c in met.contacts]
    own_ends = [
        c.track == c.other and {0, round(met.tracks[c.track].length)} == {round(c.at), round(c.other_at)}
        for c in met.contacts
    ]
    junctions = _groups([pair for pair, own in zip(pairs, own_ends, strict=True) if not own], len(spots), alone=False)
    networks = _groups([(c.track, c.other) for c in met.contacts], len(met.tracks), alone=True)
    met_ends = sum(at in (0, round(met.tracks[t].length)) for t, at in spots)
    return junctions, 2 * len(met.tracks) - met_ends, networks


def _spots(c: Contact) -> tuple[tuple[int, int], tuple[int, int]]:
    return (c.track, round(c.at)), (c.other, round(c.other_at))


def _groups(pairs: Sequence[Sequence[int]], count: int, *, alone: bool) -> int:
    """How many groups pairs hold together; with what stands alone or without it."""
    if not count:
        return 0
    a, b = np.array(pairs, dtype=int).reshape(-1, 2).T
    label = connected_components(csr_matrix((np.ones(a.size), (a, b)), shape=(count, count)), directed=False)[1]
    return int(np.unique(label if alone else label[a]).size)


def _said_of_gauges(gauges: Mapping[int, Sequence[Track]]) -> tuple[str, ...]:
    if len(gauges) < 2:
        return ()
    lengths = ", ".join(
        f"{gauge} mm ({sum(link.length for link in links) / 1000:,.1f} km of track)" for gauge, links in gauges.items()
    )
    return (f"gauges: {lengths}; no line goes on from one to another",)


def _said_of_lost(
    links: Sequence[Track], laid: Sequence[Track], pieces: Sequence[Piece], shortest: float
) -> tuple[str, ...]:
    """Railways, by ref or name, of which no line is left although they are long enough for one."""
    label = [plain(value_of(piece, "ref") or value_of(piece, "name")) for piece in pieces]
    left = {label[number] for track in laid for number in np.unique(track.piece).tolist() if number >= 0}
    total: Counter[str] = Counter()
    for link in links:
        if label[int(link.piece[0])] not in left:
            total[label[int(link.piece[0])]] += link.length  # type: ignore[assignment]
    lost = sorted((-round(length, 1), name) for name, length in total.items() if name and length >= shortest)
    if not lost:
        return ()
    named = [f"{name} ({-length / 1000:,.1f} km)" for length, name in lost[:NAMED_AT_MOST]]
    named += [f"{len(lost) - len(named):,} more"] if len(lost) > len(named) else []
    return (
        f'no line is left of {", ".join(named)}: beside others or in short pieces; tracks = "all" keeps every track',
    )


def write_lines(
    lines: Sequence[Line], folder: Path | str, *, elevation: Mapping[str, Any] | None = None, invented: bool = False
) -> tuple[Path, ...]:
    """A territory file and a GeoJSON for every line, all or nothing; those of an earlier run are replaced.

    Parameters
    ----------
    lines : sequence of Line
    folder : path
        Made if it is missing.
    elevation : mapping, optional
        The table [elevation] of each: rasters, vertical_datum and so on; paths start at the folder.
    invented : bool
        Whether the lines exist nowhere, and not in OpenStreetMap either.

    Returns
    -------
    tuple of Path
        The territory files, in the order of the lines.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    folder = Path(folder)
    with staged_folder(folder, replaces=_earlier(folder)) as stage:
        for line, path in zip(lines, territory_files(lines, stage), strict=True):
            territory = _territory(line, elevation, invented)
            head = [_WRITTEN, f"# Source: {plain(line.source)}", *(f"# {plain(said)}" for said in line.said)]
            text = "\n".join([*head, "", tomli_w.dumps(territory)])
            path.write_text(text, encoding="utf-8", newline="\n")
            drawing = json.dumps(_drawing(line), ensure_ascii=False, separators=(",", ":"))
            path.with_suffix(".geojson").write_text(drawing + "\n", encoding="utf-8", newline="\n")
    return territory_files(lines, folder)


def territory_files(lines: Sequence[Line], folder: Path) -> tuple[Path, ...]:
    """Where `write_lines` puts the territory file of each line."""
    return tuple(folder / f"{line.slug}.toml" for line in lines)


def _earlier(folder: Path) -> tuple[str, ...]:
    """Files that this wrote before."""
    try:
        ours = [p for p in sorted(folder.glob("*.toml")) if p.read_bytes().startswith(_WRITTEN.encode())]
    except OSError as error:
        raise OutputError(folder, f"cannot be read ({error.strerror})", "choose another folder") from error
    return tuple(name for p in ours for name in (p.name, f"{p.stem}.geojson"))


def _territory(line: Line, elevation: Mapping[str, Any] | None, invented: bool) -> dict[str, Any]:
    table: dict[str, Any] = {
        "route": {"name": line.name, "units": line.units, "invented": invented},
        "centreline": {"path": f"{line.slug}.geojson", **({} if invented else CREDIT)}
        | {"start": _at(line.start), "end": _at(line.end)},
    }
    if elevation is not None:
        table["elevation"] = dict(elevation)
    if line.posts:
        at = [{"post": f"{round(tied.post.value, 4):g}", **_at(tied.place)} for tied in line.posts]
        table["posts"] = {"unit": line.posts[0].post.unit, "at": at}
    if line.stations:
        table["stations"] = [{"name": station.name, "at": _at(station.place)} for station in line.stations]
    if line.limits:
        keys = {"km/h": "speed_kmh", "mph": "speed_mph"}
        table["speed_limits"] = [
            {"from": _at(limit.start), "to": _at(limit.end), keys[limit.speed.unit]: limit.speed.figure}
            for limit in line.limits
        ]
    return table


def _at(place: tuple[float, float]) -> dict[str, float]:
    return {"longitude": round(place[0], 7), "latitude": round(place[1], 7)}


def _drawing(line: Line) -> dict[str, Any]:
    """A feature for every piece, its vertices as they were read."""
    features = [
        {
            "type": "Feature",
            "properties": dict(piece.attributes),
            "geometry": {
                "type": "LineString",
                "coordinates": [place_of(piece, i) for i in range(piece.longitude.size)],
            },
        }
        for piece in line.pieces
    ]
    return {"type": "FeatureCollection", "features": features}
