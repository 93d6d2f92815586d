"""Text inside XML that is put together as text: formats with a point a station."""

from __future__ import annotations

from xml.sax.saxutils import escape

from profiler.write.xml import clean


def xml_text(text: str) -> str:
    """Text for an element or an attribute, without what XML cannot hold."""
    return escape(clean(text), {'"': "&quot;"})


def tag(name: str, text: str) -> str:
    """One element with text inside; nothing where there is none."""
    said = xml_text(text)
    return f"<{name}>{said}</{name}>" if said else ""
