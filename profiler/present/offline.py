"""Pages made whole: every script, style and picture inside them, nothing fetched; and how they are written."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import re
from collections.abc import Iterable
from importlib import resources
from pathlib import Path

from profiler.errors import OutputError
from profiler.files import output_error

LIBRARY = "js_lib_leaflet"
"""Import name of the installed package that carries Leaflet's own files."""
_STATIC = f"static/{LIBRARY}"
_TYPES = {"png": "image/png", "gif": "image/gif", "svg": "image/svg+xml", "jpg": "image/jpeg"}

_REMOTE = re.compile(r"[ \t]*<script src=\"[^\"]*\"></script>\n?|[ \t]*<link rel=\"stylesheet\"[^>]*>\n?")
_RANDOM_ID = re.compile(r"\b([a-z]+(?:_[a-z]+)*_)([0-9a-f]{32})(?![0-9a-f])")  # more words may follow it
_CSS_URL = re.compile(r"url\(\s*['\"]?(?!data:|#)([^'\")]+)['\"]?\s*\)")
_URL = re.compile(r"(?:https?:|wss?:|ftp:)//[^\s\"'<>`)\\]+|(?:src|href)\s*=\s*[\"']//[^\"']+|url\(\s*['\"]?//[^)]+")

NAMES_NOT_FETCHED = ("http://www.w3.org/2000/svg", "http://www.w3.org/1999/xhtml", "https://leafletjs.com")
"""Addresses that stand in the library as names or in a hidden credit; nothing loads them."""


def whole_page(page: str, *, allowed: Iterable[str] = ()) -> str:
    """A rendered folium page with Leaflet inlined and every other remote file dropped.

    Parameters
    ----------
    page : str
        What ``folium.Map.get_root().render()`` gives.
    allowed : iterable of str
        The only addresses that may stand in the page, such as a tile template.

    Returns
    -------
    str
        The page; folium's random ids are numbered in order of appearance, so that the same map
        gives the same bytes.

    Raises
    ------
    OutputError
        If any other address is left: the page would not be whole without a network.
    """
    head = f"<style>{leaflet_style()}</style>\n<script>{leaflet_script()}</script>\n"
    stripped = _REMOTE.sub("", page)
    if "</head>" not in stripped or "<script src" in stripped or "<link" in stripped:
        raise OutputError("map page", "its head is not as folium writes it", "install folium 0.17 or newer")
    # Before the first style, so that the map's own styles win.
    before, meta, rest = stripped.partition("</head>")
    at = before.find('<meta name="viewport"')
    at = len(before) if at < 0 else at
    whole = _numbered(before[:at] + head + before[at:] + meta + rest)
    check_whole(whole, allowed)
    return whole


def check_whole(page: str, allowed: Iterable[str] = ()) -> None:
    """Refuse a page that names an address it is not allowed to.

    Raises
    ------
    OutputError
        With the first such address.
    """
    known = (*NAMES_NOT_FETCHED, *allowed)
    for found in _URL.findall(page):
        if found not in known:
            raise OutputError("map page", f"it would ask the network for {found}", "put the file into the page")


def write_page(page: str, path: Path) -> None:
    """Write a page into a file, aside first: an earlier one is replaced only by a whole new one.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    path = Path(path)
    aside = path.with_name(f".unfinished-{path.name}")
    try:
        aside.write_text(page, encoding="utf-8", newline="\n")
        aside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            aside.unlink(missing_ok=True)
        raise output_error(path, error) from error


def leaflet_script() -> str:
    """Leaflet's script as it can stand between script tags."""
    text = _text("leaflet.js")
    text = re.sub(r"//# sourceMappingURL=\S+", "", text)
    return inline_script(text)


def leaflet_style() -> str:
    """Leaflet's style with its pictures as data and without comments."""
    text = re.sub(r"/\*.*?\*/", "", _text("leaflet.css"), flags=re.DOTALL)
    return _CSS_URL.sub(lambda found: f"url({_data(found.group(1))})", text)


def inline_script(text: str) -> str:
    """A script that cannot end its element early."""
    return re.sub(r"</(script)", r"<\\/\1", text, flags=re.IGNORECASE)


def script_hash(script: str) -> str:
    """What a page's policy knows a script by, as it stands between its tags on lines of its own."""
    return base64.b64encode(hashlib.sha256(f"\n{script}".encode()).digest()).decode("ascii")


def data_url(kind: str, content: bytes) -> str:
    """A file of a media type as an address that holds it whole."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def own_file(name: str) -> str:
    """Text of one of this folder's own data files."""
    return resources.files("profiler.present").joinpath(name).read_text(encoding="utf-8")


def _text(name: str) -> str:
    return _bytes(name).decode("utf-8")


def _bytes(name: str) -> bytes:
    try:
        return resources.files(LIBRARY).joinpath(_STATIC).joinpath(name).read_bytes()
    except (ModuleNotFoundError, FileNotFoundError) as error:
        raise OutputError(
            name, "Leaflet's files are not installed", "install the package django-js-lib-leaflet"
        ) from error


def _data(name: str) -> str:
    kind = _TYPES.get(name.rsplit(".", 1)[-1].lower())
    if kind is None:
        raise OutputError("leaflet.css", f"the kind of {name} is not known", "put it into the page as data")
    return data_url(kind, _bytes(name))


def _numbered(page: str) -> str:
    order: dict[str, int] = {}
    return _RANDOM_ID.sub(lambda m: f"{m.group(1)}{order.setdefault(m.group(2), len(order) + 1)}", page)
