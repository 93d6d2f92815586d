"""XML files: names escaped, characters that XML cannot carry left out, the same elements the same bytes."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

from profiler.files import source_date, staged_folder

_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""All but the characters of XML 1.0 (W3C recommendation, fifth edition, production 2)."""


def element(parent: ET.Element | None, tag: str, text: str = "", **attributes: str | None) -> ET.Element:
    """A new element, the last of its parent's; attributes that are None are left out."""
    given = {name: clean(value) for name, value in attributes.items() if value is not None}
    made = ET.Element(tag, given) if parent is None else ET.SubElement(parent, tag, given)
    if text:
        made.text = clean(text)
    return made


def clean(text: str) -> str:
    """A text on one line without what XML 1.0 forbids."""
    return " ".join(_FORBIDDEN.sub("", text).split())


def figure(value: float, decimals: int = 4) -> str:
    """A figure with at most so many decimals; nothing reads "-0"."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def write_xml(root: ET.Element, path: Path) -> None:
    """Write a document aside, then put it in its place.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    path = Path(path)
    ET.indent(root)
    text = '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
    with staged_folder(path.parent) as stage:
        (stage / path.name).write_text(text, encoding="utf-8", newline="\n")


def date_written() -> tuple[str, str]:
    """Date and time that a format demands: SOURCE_DATE_EPOCH, else a fixed one that is no date of anything."""
    date = source_date()
    return (date.strftime("%Y-%m-%d"), date.strftime("%H:%M:%S")) if date is not None else ("2000-01-01", "00:00:00")
