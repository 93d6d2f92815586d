"""XML from strangers: sound, and without entities."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import parse

from profiler.errors import InputError


def local_name(element: Any) -> str:
    """Name of an element without its namespace."""
    return str(element.tag).rpartition("}")[2]


def xml_root(path: Path, source: str, name: str) -> Any:
    """Root element of a file, which has to have this name.

    Raises
    ------
    InputError
        If the file is not sound XML, defines entities, or has another root.
    """
    try:
        root: Any = parse(path).getroot()
    except ParseError as error:
        raise InputError(source, f"is not sound XML ({error})", "get or write the file again") from error
    except DefusedXmlException as error:
        raise InputError(source, "its XML defines entities, which can hide harm", "remove the DOCTYPE") from error
    if local_name(root) != name:
        raise InputError(source, f"is XML, but not {name.upper()}", "check what the file really is")
    return root


def check_kml(path: Path, source: str) -> None:
    """Refuse KML that GDAL would misread: entities, and coordinates that are no numbers (it reads 0).

    Raises
    ------
    InputError
        As above, or if the file is not KML.
    """
    root = xml_root(path, source, "kml")
    placemark = 0
    for element in root.iter():
        placemark += local_name(element) == "Placemark"
        if local_name(element) == "coordinates":
            for place in (element.text or "").split():
                _check_numbers(place, f"{source}, placemark {placemark}")


def _check_numbers(place: str, where: str) -> None:
    try:
        count = len([float(part) for part in place.split(",")])
    except ValueError:
        count = 0
    if count not in (2, 3):
        raise InputError(where, f"{place!r} is not a position", "write longitude,latitude or longitude,latitude,height")
