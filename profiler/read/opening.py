"""Open a vector file by its name, and refuse it when its first bytes say otherwise.

GDAL goes by content: a text file called .geojson may be a virtual source that reads any other
file of the machine. So the name decides the format, and the content has to agree.
"""

from __future__ import annotations

import contextlib
import gzip
import re
import tempfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from profiler.errors import InputError

_XML_START = rb"^(?:\xef\xbb\xbf)?\s*(?:<\?xml[^>]*\?>)?\s*(?:<!--.*?-->\s*)*"

_FORMATS = {
    ".geojson": ("GeoJSON", rb"^(?:\xef\xbb\xbf)?\s*\{"),
    ".json": ("GeoJSON", rb"^(?:\xef\xbb\xbf)?\s*\{"),
    ".gpkg": ("GeoPackage", rb"^SQLite format 3\x00"),
    ".shp": ("Shapefile", rb"^\x00\x00\x27\x0a"),
    ".fgb": ("FlatGeobuf", rb"^fgb\x03"),
    ".kml": ("KML", rb"^(?:\xef\xbb\xbf)?\s*<"),
    ".gpx": ("GPX", rb"^(?:\xef\xbb\xbf)?\s*<"),
    ".osm": ("OpenStreetMap XML", _XML_START + rb"<osm\b"),
    ".pbf": ("OpenStreetMap PBF", rb"^.{4}\x0a\x09OSMHeader"),
}

_READ = "give GeoJSON, GeoPackage, Shapefile, FlatGeobuf, KML, GPX or OpenStreetMap XML or PBF"
_HEAD = 4096
_CHUNK = 1 << 20
_UNPACK_FREELY = 1 << 30  # [byte]
_UNPACK_RATIO = 100


@dataclass(frozen=True)
class VectorFile:
    """A file whose content agrees with its name: ``path`` to read, ``source`` to speak of."""

    path: Path
    source: str
    kind: str


@contextlib.contextmanager
def opened(path: Path | str) -> Iterator[VectorFile]:
    """Check a vector file and hand it on, a ``.gz`` unpacked into a temporary file.

    Raises
    ------
    InputError
        If there is no such file, or it is a folder, empty, of an unknown format, damaged, or not
        what its name says.
    """
    path = Path(path)
    try:
        if not path.exists():
            raise InputError(path, "there is no such file", "check the path")
        if path.is_dir():
            raise InputError(path, "is a folder, not a file", _READ)
        if path.suffix.lower() != ".gz":
            yield _checked(path, str(path))
            return
        with tempfile.TemporaryDirectory(prefix="gradewright-") as folder:
            unpacked = Path(folder) / path.stem
            _unpack(path, unpacked)
            yield _checked(unpacked, str(path))
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror or error})", "check the file") from error


def _checked(path: Path, source: str) -> VectorFile:
    if path.suffix.lower() not in _FORMATS:
        raise InputError(source, f"no line is read from files ending in {path.suffix or 'nothing'}", _READ)
    kind, start = _FORMATS[path.suffix.lower()]
    with path.open("rb") as file:
        head = file.read(_HEAD)
    if not head.strip():
        raise InputError(source, "is empty", f"give {kind} with lines in it")
    if not re.match(start, head, re.DOTALL):
        raise InputError(
            source, f"does not begin like {kind}, though its name says so", "check what the file really is"
        )
    if kind == "Shapefile":
        for suffix in (".shx", ".dbf"):
            if not any(path.with_suffix(s).exists() for s in (suffix, suffix.upper())):
                raise InputError(source, f"its companion {path.stem}{suffix} is missing", "put it beside the .shp")
    return VectorFile(path, source, kind)


def _unpack(path: Path, target: Path) -> None:
    try:
        with gzip.open(path) as packed, target.open("wb") as out:
            _copy(packed, out, max(_UNPACK_FREELY, _UNPACK_RATIO * path.stat().st_size), path)
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise InputError(path, "is cut short or is not gzip", "get the file again") from error


def _copy(packed: gzip.GzipFile, out: BinaryIO, most: int, path: Path) -> None:
    written = 0
    while chunk := packed.read(_CHUNK):
        written += out.write(chunk)
        if written > most:
            raise InputError(
                path, f"unpacks to more than {_UNPACK_RATIO} times its size", "unpack and check it yourself"
            )
