"""The map: one HTML file that needs nothing but itself."""

from __future__ import annotations

import html
import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import folium
import numpy as np

from profiler import wording
from profiler.errors import OutputError
from profiler.grade_classes import Limits, class_limits
from profiler.ground import Bounds, Relief
from profiler.landmark import Landmarks
from profiler.present import map_curves, map_line, map_marks
from profiler.present.hillshade import shade
from profiler.present.offline import check_whole, data_url, inline_script, own_file, whole_page, write_page
from profiler.present.palette import BAND
from profiler.profile import Profile

SCRIPTS = ("page_window.js", "map.js")
"""The map's own script, in the order in which it is put together."""
TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png"
TILES_CREDIT_URL = "https://www.openstreetmap.org/copyright"
TILES_CREDIT = f'Street map © <a href="{TILES_CREDIT_URL}">OpenStreetMap</a> contributors'
TILES_NAME = "Street map (from the network)"
RELIEF_PANE = "relief"


def draw_map(
    profile: Profile,
    landmarks: Landmarks,
    relief: Relief | None,
    path: Path,
    *,
    limits: Limits | None = None,
    online_tiles: bool = True,
    train: Mapping[str, Any] | None = None,
) -> None:
    """Write the map of a profile as one self-contained HTML file.

    Parameters
    ----------
    profile : Profile
        Drawn as travelled with its chainage; its ``units`` are what people read.
    landmarks : Landmarks
        Signs beside the line; its grade runs colour it.
    relief : Relief or None
        Ground for the shaded picture underneath; None leaves the paper plain.
    path : Path
        The file to write; an earlier one is replaced only by a whole new one.
    limits : tuple of float, optional
        Lower limits of grade classes 1 to 4 [m/m]; by default those that fit the ruling grade.
    online_tiles : bool
        Offer a street map from the network as an extra layer, off at first. An invented line
        never has one.
    train : mapping, optional
        The layer of one train, as `profiler.present.train_map.train_layer` makes it.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    page = map_page(profile, landmarks, relief, limits=limits, online_tiles=online_tiles, train=train)
    write_page(page, path)


def map_page(
    profile: Profile,
    landmarks: Landmarks,
    relief: Relief | None,
    *,
    limits: Limits | None = None,
    online_tiles: bool = True,
    train: Mapping[str, Any] | None = None,
) -> str:
    """The map of `draw_map` as text."""
    limits = limits or class_limits(landmarks.steepest_ruling)
    tiles = online_tiles and not profile.invented
    allowed = (TILES, TILES_CREDIT_URL) if tiles else ()
    page = whole_page(_folium_map(profile, relief, tiles).get_root().render(), allowed=allowed)
    for name in (*SCRIPTS, "map.css"):
        check_whole(own_file(name))
    data = map_data(profile, landmarks, limits, relief)
    return _completed(page, data | ({"train": train} if train else {}), tiles)


def map_data(profile: Profile, landmarks: Landmarks, limits: Limits, relief: Relief | None) -> dict[str, Any]:
    """Everything the page's script draws, in plain values; it computes nothing but places on paper."""
    route, units = profile.route, profile.units
    plan = map_curves.curve_marks(profile, landmarks)
    return {
        "name": route.name or wording.travel_words(route),
        "direction": wording.travel_words(route),
        "units": units,
        "line": map_line.line_data(route),
        "runs": map_line.class_runs(profile, landmarks, limits),
        "colours": map_line.colours(),
        "widths": map_line.WIDTHS_PX,
        "classes": wording.class_words(limits, units),
        "grade_unit": wording.grade_unit(units),
        "unsure": map_line.unsure_runs(profile),
        "band": {"colour": BAND, "widths": map_line.BAND_WIDTHS_PX, "words": wording.unsure_words(units)},
        "places": map_marks.place_words(profile),
        "grades": map_marks.grade_words(profile, landmarks),
        "posts": map_marks.post_marks(profile),
        "post_words": map_marks.post_unit_words(route.posts),
        "marks": map_marks.marks(profile, landmarks),
        "plan": plan,
        "plan_words": map_curves.heading(plan),
        "invented": wording.INVENTED if profile.invented else "",
        "notes": notes_of(profile, relief),
        "credit": wording.credit_words(profile.attribution, profile.licence),
        "caution": wording.CAUTION_SHORT,
    }


def notes_of(profile: Profile, relief: Relief | None) -> list[str]:
    """Where the figures come from, and how sure they are, in sentences."""
    se = profile.elevation_se
    ground = ", ".join(profile.source_names) or "given with the profile"
    origin = "Elevations: typed from a track chart" if profile.charted else f"Ground: {ground}"
    shading = f" Shading: {relief.name}." if relief is not None and relief.name not in ("", ground) else ""
    datum = wording.datum_words(profile.vertical_datum)
    notes = [
        f"{origin}.{shading} {datum[:1].upper()}{datum[1:]}.",
        f"Line: {profile.route.source}." if profile.route.source else "",
        f"How sure (95 %): {wording.elevation_sure_words(float(np.median(se)), float(se.max()), profile.units)}.",
    ]
    return [note for note in notes if note]


@lru_cache(maxsize=1)
def _shaded(relief: Relief) -> tuple[str, Bounds]:
    """The shaded picture as a data URL, and its edges; the maps of all trains on a line share it."""
    shading = shade(relief)
    return data_url("image/jpeg", shading.jpeg()), shading.bounds


def _folium_map(profile: Profile, relief: Relief | None, tiles: bool) -> folium.Map:
    route = profile.route
    # A fixed first view: the script fits the line to whatever screen it finds.
    map_ = folium.Map(
        location=[float(np.mean(route.latitude)), float(np.mean(route.longitude))],
        zoom_start=9,
        tiles=None,
        zoom_control=False,
        zoom_snap=0.25,
        max_zoom=18,
        min_zoom=3,
    )
    folium.map.CustomPane(RELIEF_PANE, z_index=150, pointer_events=True).add_to(map_)
    if relief is not None:
        picture, b = _shaded(relief)
        folium.raster_layers.ImageOverlay(
            picture,
            [[b.south, b.west], [b.north, b.east]],
            pixelated=False,
            pane=RELIEF_PANE,
            alt="",
            control=False,
        ).add_to(map_)
    if tiles:
        folium.TileLayer(TILES, attr=TILES_CREDIT, name=TILES_NAME, overlay=True, show=False, max_zoom=18).add_to(map_)
        folium.LayerControl(position="topright", collapsed=False).add_to(map_)
    return map_


def _completed(page: str, data: dict[str, Any], tiles: bool) -> str:
    """Title, policy, style, data and script around the folium map.

    They are put in after rendering: no text of an input file ever passes through a template.
    """
    title = html.escape(f"{data['name']}: grade map")
    # The browser itself refuses whatever is not in the file, the tile server excepted.
    images = f"data: {TILES.partition('/{')[0]}" if tiles else "data:"
    policy = f"default-src 'none'; img-src {images}; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
    head = (
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n"
    )
    body = (
        '<noscript><p class="foot">This map needs script. The landmarks stand in landmarks.csv, '
        f"the profile in chart.svg. {html.escape(data['caution'])}</p></noscript>\n"
        f'<footer class="foot">{html.escape(data["caution"])}</footer>\n'
    )
    end = (
        f'<script type="application/json" id="map-data">{_json(data)}</script>\n'
        f"<script>\n{inline_script(''.join(own_file(name) for name in SCRIPTS))}</script>\n"
    )
    page = _once(page, "<html>", '<html lang="en">')
    page = _without_viewport(page)
    page = _once(page, "<head>", "<head>\n" + head)
    page = _once(page, "</head>", f"<style>\n{own_file('map.css')}</style>\n</head>")
    page = _once(page, "</body>", body + "</body>")
    return _once(page, "</html>", end + "</html>", last=True)


def _without_viewport(page: str) -> str:
    """Folium forbids zooming the page by hand; readers may need it."""
    start = page.find('<meta name="viewport"')
    return page if start < 0 else page[:start] + page[page.index("/>", start) + 2 :]


def _once(page: str, old: str, new: str, *, last: bool = False) -> str:
    if old not in page:
        raise OutputError("map page", f"{old} is missing", "install folium 0.17 or newer")
    if last:
        before, _, after = page.rpartition(old)
        return before + new + after
    return page.replace(old, new, 1)


def _json(data: dict[str, Any]) -> str:
    """Compact JSON in which no markup can begin or end."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text
