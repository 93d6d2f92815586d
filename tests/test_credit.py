"""Whose the elevation data and the drawing are: from the territory to every place where they are credited."""

from __future__ import annotations

import dataclasses
import html
import json
from pathlib import Path

import pytest
from pydantic import ValidationError

from profiler.build import build_profile, landmarks_of
from profiler.cli.summary import summary
from profiler.network_line import NetworkLine
from profiler.present.book import book_of
from profiler.present.book_html import write_book_html
from profiler.present.network_rows import said_of
from profiler.present.page import page_of
from profiler.read.profile import read_profile
from profiler.read.territory import read_territory
from profiler.results import write_profile
from profiler.territory import ElevationTable
from profiler.wording import credit_words
from profiler.write.exports import export
from tests.briefed import briefed
from tests.country import TERRITORY, write_territory

WORDS, LICENCE = "© Sedge & Sons <2021>", "open, with credit"
LINE = f"Elevation data: {WORDS}; licence: {LICENCE}."
STATED = TERRITORY.replace("rasters =", f'attribution = "{WORDS}"\nlicence = "{LICENCE}"\nrasters =')


def test_one_line_of_credit():
    """Worked: both, either, and nothing where nobody says; no full stop twice."""
    assert credit_words(WORDS, LICENCE) == LINE
    assert credit_words("Sedge.", "") == "Elevation data: Sedge."
    assert credit_words("", LICENCE) == f"Elevation data: licence: {LICENCE}."
    assert credit_words("", "") == ""


def test_words_of_a_territory():
    """Law: lines and blanks become one blank; a book is no credit."""
    assert ElevationTable(rasters=["x.tif"], attribution=" a\n\n b\t").attribution == "a b"
    with pytest.raises(ValidationError, match="1000"):
        ElevationTable(rasters=["x.tif"], licence="x" * 1001)


def test_whose_drawing_the_line_is(tmp_path: Path):
    """Law: what a territory says of its drawing is told with what was assumed of the line, in record and view."""
    stated = TERRITORY.replace("[centreline]", f'[centreline]\nattribution = "{WORDS}"\nlicence = "{LICENCE}"')
    territory = read_territory(write_territory(tmp_path, stated))
    profile = build_profile(territory)
    landmarks = landmarks_of(profile, territory)
    folder = write_profile(profile, landmarks, tmp_path / "out", territory=territory)
    said = f"the line is as drawn by {WORDS}; licence of the drawing: {LICENCE}"
    assert said in json.dumps(json.loads((folder / "provenance.json").read_text(encoding="utf-8")), ensure_ascii=False)
    assert f"Assumed: {said}." in said_of(NetworkLine.of("a", profile, landmarks))


def test_from_the_territory_to_every_file(tmp_path: Path):
    """Law: record, map, chart, GeoPackage and exports carry the words of the territory, as text."""
    territory = read_territory(write_territory(tmp_path, STATED))
    profile = build_profile(territory)
    landmarks = landmarks_of(profile, territory)
    folder = write_profile(profile, landmarks, tmp_path / "out", territory=territory)
    assert f"  e{LINE[1:]}" in summary(profile, landmarks, folder).splitlines()
    record = json.loads((folder / "provenance.json").read_text(encoding="utf-8"))
    assert record["elevation_data"] == {"attribution": WORDS, "licence": LICENCE}
    again = read_profile(folder)
    assert (again.attribution, again.licence) == (WORDS, LICENCE)
    page = (folder / "map.html").read_text(encoding="utf-8")
    data = page.partition('id="map-data">')[2].partition("</script>")[0]
    assert json.loads(data)["credit"] == LINE
    assert "<2021>" not in page
    chart = html.unescape((folder / "chart.svg").read_text(encoding="utf-8"))
    assert "Elevation data: © Sedge" in chart
    export(profile, landmarks, "geojson", tmp_path / "carried.geojson")
    export(profile, landmarks, "gpx", tmp_path / "carried.gpx")
    assert json.dumps(LINE, ensure_ascii=False) in (tmp_path / "carried.geojson").read_text(encoding="utf-8")
    assert html.escape(LINE, quote=False) in (tmp_path / "carried.gpx").read_text(encoding="utf-8")


def test_briefings_credit_it_too(tmp_path: Path):
    """Law: page and printed briefing have the line among the words of where the figures come from, escaped."""
    briefing = briefed()
    briefing = dataclasses.replace(
        briefing, profile=dataclasses.replace(briefing.profile, attribution=WORDS, licence=LICENCE)
    )
    assert html.escape(LINE) in page_of({"b": [briefing]})
    write_book_html(book_of(briefing), tmp_path / "briefing.html")
    assert html.escape(LINE) in (tmp_path / "briefing.html").read_text(encoding="utf-8")
