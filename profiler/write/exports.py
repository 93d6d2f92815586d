"""Formats that a written profile can be carried on in: one table, one function."""

from __future__ import annotations

import importlib
import mmap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from profiler.errors import InputError, OutputError
from profiler.files import output_error, staged_file, staged_folder
from profiler.write.outputs import DATA_PACKAGE_FILES, PROFILE_FILES

if TYPE_CHECKING:
    from profiler.landmark import Landmarks
    from profiler.profile import Profile

    Writer = Callable[[Profile, Landmarks, Path], tuple[str, ...]]

_OURS = (b"gradewright", b"Gradewright")


class Export(NamedTuple):
    """A format: what file names end with, where its writer is, what it is; ``files`` if it is a folder."""

    suffix: str
    writer: str
    words: str
    files: tuple[str, ...] = ()


EXPORTS = {
    "csv": Export("-csv", "tables.write_csv", "folder of CSV tables as a Data Package", DATA_PACKAGE_FILES),
    "geojson": Export(".geojson", "geojson.write_geojson", "features with all figures (RFC 7946)"),
    "gpkg": Export(".gpkg", "gis.write_gis", "GeoPackage with layers for a GIS"),
    "geoparquet": Export(".parquet", "geoparquet.write_geoparquet", "stations as GeoParquet"),
    "gpx": Export(".gpx", "gpx.write_gpx", "GPX 1.1: track with elevations, waypoints"),
    "kml": Export(".kml", "kml.write_kml", "KML 2.2: line coloured by grade, placemarks"),
    "landxml": Export(".landxml.xml", "landxml.write_landxml", "LandXML 1.2: plan, vertical line, ground"),
    "railml2": Export(".railml2.xml", "railml2.write_railml2", "railML 2.4: one track with gradients and limits"),
    "railml3": Export(".railml3.xml", "railml3.write_railml3", "railML 3.2: one track with gradients and curves"),
    "ifc": Export(".ifc", "ifc.write_ifc", "IFC 4.3: alignment with its vertical line"),
}
"""Name of a format to its facts; a writer says in sentences what its format could not carry."""


def export(profile: Profile, landmarks: Landmarks, name: str, path: Path | str) -> tuple[str, ...]:
    """Write a profile in a format; until all of it stands, an earlier export stays whole.

    Parameters
    ----------
    profile, landmarks
        What to write.
    name : str
        A key of `EXPORTS`.
    path : path
        The file, or for csv the folder. An earlier export of ours is replaced, nothing else is.

    Returns
    -------
    tuple of str
        What the format could not carry or does not say, in sentences.

    Raises
    ------
    InputError
        If there is no such format, or it cannot hold this line.
    OutputError
        If the file cannot be written, or stands there and is not ours.
    """
    path = Path(path)
    if name not in EXPORTS:
        raise InputError(name, "is no format", f"the formats are {', '.join(EXPORTS)}")
    check_free(name, path)
    found = EXPORTS[name]
    if not found.files:
        _check_on_map(profile)
    module, function = found.writer.split(".")
    writer: Writer = getattr(importlib.import_module(f"profiler.write.{module}"), function)
    if found.files:
        with staged_folder(path, replaces=found.files) as stage:
            return writer(profile, landmarks, stage)
    with staged_file(path) as stage:
        return writer(profile, landmarks, stage)


def check_free(name: str, path: Path) -> None:
    """Find out before long work that an export in a format takes no file's place that is not an earlier one.

    Raises
    ------
    OutputError
        If something else stands there.
    """
    folder = path if EXPORTS[name].files else path.parent
    stands = path / "datapackage.json" if EXPORTS[name].files else path
    remedy = "choose another place with --out"
    if (folder / "profile.gpkg").exists() and (stands.parent == path or path.name in PROFILE_FILES):
        raise OutputError(path, "belongs to the profile itself", remedy)
    if path.exists() and path.is_dir() != bool(EXPORTS[name].files):
        kind = "folder" if path.is_dir() else "file"
        raise OutputError(path, f"is in the way, a {kind} of that name stands there", remedy)
    if stands.is_file() and not _ours(stands):
        raise OutputError(stands, "stands there and was not written by gradewright", f"move it away or {remedy}")


def _check_on_map(profile: Profile) -> None:
    """Every format but tables needs to know where the line lies."""
    route = profile.route
    if not route.on_map:
        raise InputError(
            route.name or route.source,
            "lies on no map, it is known by a table alone",
            "export it to csv, or give the line when you profile it",
        )


def _ours(path: Path) -> bool:
    """Whether a file says who wrote it: every export of ours does."""
    try:
        if path.stat().st_size == 0:
            return False
        with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
            return any(content.find(name) >= 0 for name in _OURS)
    except OSError as error:
        raise output_error(path, error) from error
