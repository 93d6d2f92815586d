"""HTTP that gives up in good time: whole files with resume, pieces of files, and JSON of bounded size.

Ranges and conditions are those of RFC 9110, sections 13.1.5 (If-Range), 14.2 (Range), 14.4 (Content-Range).
"""

from __future__ import annotations

import contextlib
import itertools
import json
import re
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import DecodeError, HTTPError, ProtocolError
from urllib3.util.retry import Retry

from pipelines.fetching.catalogues import is_address, shown
from profiler import InputError, OutputError

_CHUNK = 1 << 16
_ACCEPT = {"Accept": "application/geo+json, application/json"}
_NOT_THERE = (404, 410)
_MOST_LEADS = 5
_ASK_PLAINLY = (301, 302, 303)
"""Redirections after which a search that was posted is asked for without (RFC 9110, 15.4)."""
_TRY_AGAIN = (429, 500, 502, 503, 504)
_RANGE = re.compile(r"bytes (\d{1,18})-(\d{1,18})/(\d{1,18})")
_KEPT = "check the connection and start again, what has come is kept"

Told = Callable[[int], None]
"""Told how many bytes have come since it was last told."""


class NotThereError(Exception):
    """The server says that it has no such file: for a tile of sea that is an answer, not a failure."""


class NoRangesError(Exception):
    """The server gives whole files only."""


class NoAnswerError(InputError):
    """The server does not answer, or not with what was asked for."""


@dataclass(frozen=True)
class Patience:
    """How long is waited: for a connection, for each piece of an answer, between tries, for a tile in all. [s]

    ``tries`` are made in vain before giving up; ``longest_pause`` holds whatever a server asks for.
    """

    connect: float = 10.0
    read: float = 30.0
    tries: int = 5
    pause: float = 0.5
    longest_pause: float = 60.0
    budget: float = 1800.0


@dataclass(frozen=True)
class Version:
    """What a server says to know a file by: a strong entity tag or a date, and its size [byte] if it says one."""

    etag: str = ""
    modified: str = ""
    size: int | None = None

    @property
    def condition(self) -> str:
        """What If-Range may be given: a strong tag, else the date, else nothing."""
        return self.etag or self.modified


class _Session(requests.Session):
    """One that follows no redirection by itself: it would read to its end what else a server says with it."""

    def get_redirect_target(self, _: requests.Response) -> None:
        return None

    def leads_to(self, response: requests.Response) -> str | None:
        return super().get_redirect_target(response)


class Web:
    """A session with patience; proxies are those of the environment. For use by several threads."""

    def __init__(self, patience: Patience | None = None) -> None:
        self.patience = patience or Patience()
        self.stopped = threading.Event()
        self._session = _Session()
        self._session.headers.update({"Accept-Encoding": "identity", "User-Agent": "gradewright"})
        for scheme in ("http://", "https://"):
            self._session.mount(scheme, HTTPAdapter(pool_maxsize=16))

    def deadline(self) -> float:
        """When a tile begun now has taken too long, by `time.monotonic`."""
        return time.monotonic() + self.patience.budget

    @contextlib.contextmanager
    def answer(
        self, address: str, deadline: float, headers: Mapping[str, str] | None = None, post: Any = None
    ) -> Iterator[requests.Response]:
        """The answer of a server, its body not read yet; asked again while it is busy or does not answer.

        Raises
        ------
        NotThereError
            404 or 410.
        InputError
            In a sentence, for every other answer that is no success, and for none.
        """
        if not is_address(address):
            raise InputError(shown(address), "is no http or https address", "nothing else is fetched")
        for number in itertools.count(1):
            asked = 0.0
            try:
                response = self._followed(address, headers, post)
            except (requests.RequestException, HTTPError, ValueError) as error:
                if number > self._again(error):
                    raise _sentence(address, error) from error
            else:
                if response.status_code not in _TRY_AGAIN or number > self.patience.tries:
                    break
                asked = _asked(response)
                response.close()
            self.check(address, deadline)
            self.pause(number, deadline, asked)
        with response:
            if response.status_code in _NOT_THERE:
                raise NotThereError(shown(address))
            if response.status_code >= 400 and response.status_code != 416:
                raise NoAnswerError(
                    shown(address),
                    f"the server answers {response.status_code} {response.reason or ''}".rstrip(),
                    "try again later, or look at the address in a browser",
                )
            yield response

    def _followed(self, address: str, headers: Mapping[str, str] | None, post: Any) -> requests.Response:
        """One answer, from wherever others lead."""
        times = (self.patience.connect, self.patience.read)
        for _ in range(_MOST_LEADS + 1):
            method = "GET" if post is None else "POST"
            response = self._session.request(method, address, headers=headers, json=post, stream=True, timeout=times)
            if (leads := self._session.leads_to(response)) is None:
                return response
            response.close()
            address = urljoin(address, leads)
            if not is_address(address):
                raise requests.exceptions.InvalidSchema(address)
            if response.status_code in _ASK_PLAINLY:
                post = None
        raise requests.TooManyRedirects

    def _again(self, error: Exception) -> int:
        """How often it is worth asking again: seldom without a connection, never at a wrong address."""
        if isinstance(error, requests.ReadTimeout) or (error.args and isinstance(error.args[0], ProtocolError)):
            return self.patience.tries
        return min(self.patience.tries, 2) if isinstance(error, requests.ConnectionError) else 0

    def body(self, response: requests.Response, deadline: float, *, unpacked: bool = False) -> Iterator[bytes]:
        """The bytes of an answer as they come, or ``unpacked`` from its Content-Encoding.

        Raises
        ------
        requests.RequestException, urllib3.exceptions.HTTPError
            If it breaks off.
        InputError
            If the time is up.
        """
        source = response.raw
        while piece := source.read1(_CHUNK, decode_content=unpacked):
            yield piece
            self.check(response.url, deadline)

    def check(self, address: str, deadline: float) -> None:
        """Go on only while there is time, and nobody has stopped it all."""
        if self.stopped.is_set():
            raise InputError(shown(address), "was stopped before its end", _KEPT)
        if time.monotonic() > deadline:
            raise InputError(
                shown(address), f"did not come within {self.patience.budget:g} s", "start again, it goes on from there"
            )

    def pause(self, number: int, deadline: float, asked: float = 0.0) -> None:
        """Wait before try ``number`` (1, 2, …), each time twice as long, or as long as a server ``asked`` for [s]."""
        wait = min(max(self.patience.pause * 2 ** (number - 1), asked), self.patience.longest_pause)
        self.stopped.wait(max(0.0, min(wait, deadline - time.monotonic())))

    def json(self, address: str, post: Any = None, *, most: int = 20 << 20) -> Any:
        """A JSON answer of no more than ``most`` bytes, and the address it came from.

        Raises
        ------
        InputError
            If it is larger, or no JSON, or there is none.
        """
        deadline, came = self.deadline(), bytearray()
        try:
            with self.answer(address, deadline, _ACCEPT, post) as response:
                for piece in self.body(response, deadline, unpacked=True):
                    came += piece
                    if len(came) > most:
                        raise InputError(shown(address), f"its answer is over {most >> 20} MB", "ask for less of it")
                return json.loads(came), response.url
        except NotThereError:
            raise InputError(shown(address), "the server has no such page (404)", "check the address") from None
        except InputError:
            raise
        except (ValueError, RecursionError, DecodeError):
            raise InputError(shown(address), "its answer is no JSON", "check the address") from None
        except (requests.RequestException, HTTPError) as error:
            raise _sentence(address, error) from error


def _asked(response: requests.Response) -> float:
    """How long a busy server asks to be left alone, by seconds or by a date; no more than nonsense means none. [s]"""
    try:
        return Retry().get_retry_after(response.raw) or 0.0
    except (HTTPError, ValueError, OverflowError):
        return 0.0


def version_of(response: requests.Response) -> Version:
    """What an answer says of its file; weak tags say nothing about bytes (RFC 9110, 8.8.1)."""
    etag = response.headers.get("ETag", "")
    size: int | None = None
    if response.status_code == 206:
        part = range_of(response)
        size = None if part is None else part[2]
    elif (length := response.headers.get("Content-Length", "")).isdecimal():
        size = int(length)
    return Version("" if etag.startswith("W/") else etag, response.headers.get("Last-Modified", ""), size)


def range_of(response: requests.Response) -> tuple[int, int, int] | None:
    """First and last byte of a partial answer, and size of the whole file; None where it does not say all of it."""
    found = _RANGE.fullmatch(response.headers.get("Content-Range", ""))
    return None if found is None else (int(found[1]), int(found[2]), int(found[3]))


def download(web: Web, address: str, part: Path, told: Told, most: int = 4 << 30) -> Version:
    """A whole file into ``part``, going on where an earlier try or run broke off if the server still has the same.

    Raises
    ------
    NotThereError
        If there is no such file.
    InputError
        If it does not come, or is not as long as the server says, or over ``most`` bytes.
    OutputError
        If it cannot be written.
    """
    note, deadline, in_vain = part.with_name(f"{part.name}.json"), web.deadline(), 0
    farthest = _size(part)
    while True:
        try:
            return _attempt(web, address, part, note, told, most, deadline)
        except (requests.RequestException, HTTPError) as error:
            web.check(address, deadline)
            in_vain = 0 if _size(part) > farthest else in_vain + 1
            farthest = max(farthest, _size(part))
            if in_vain >= web.patience.tries:
                raise _sentence(address, error) from error
            web.pause(in_vain + 1, deadline)
        except OSError as error:
            if isinstance(error, OutputError):
                raise
            raise cannot_write(part.parent, error) from error


def _attempt(web: Web, address: str, part: Path, note: Path, told: Told, most: int, deadline: float) -> Version:
    have, known = _begun(part, note, address)
    headers = {"Range": f"bytes={have}-", "If-Range": known.condition} if have else {}
    with web.answer(address, deadline, headers) as response:
        if response.status_code == 416:  # what we hold is not the beginning of what is there now
            part.unlink(missing_ok=True)
            raise requests.ConnectionError("range not satisfiable")
        version, goes_on = version_of(response), response.status_code == 206
        if goes_on:
            given = range_of(response)
            if given is None or given[0] != have or version.size != known.size:
                part.unlink(missing_ok=True)
                raise requests.ConnectionError("another part than asked for")
        if version.size is not None and version.size > most:
            raise InputError(shown(address), f"has {version.size:,} bytes, more than any tile", "check the address")
        size = have if goes_on else 0
        with part.open("ab" if goes_on else "wb") as file:  # emptied before the note speaks of another version
            note.write_text(json.dumps({"address": shown(address), **asdict(version)}), encoding="utf-8")
            for piece in web.body(response, deadline):
                file.write(piece)
                size += len(piece)
                told(len(piece))
                if size > most:
                    part.unlink()
                    raise InputError(shown(address), "does not end, it is more than any tile", "check the address")
    if version.size is not None and size != version.size:
        raise requests.ConnectionError(f"{size} bytes of {version.size}")
    note.unlink(missing_ok=True)
    return Version(version.etag, version.modified, size)


def _begun(part: Path, note: Path, address: str) -> tuple[int, Version]:
    """How much of a file is there, and of which version; none where that cannot be told."""
    try:
        known = json.loads(note.read_text(encoding="utf-8"))
        if known.pop("address") != shown(address):
            return 0, Version()
        version = Version(**known)
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return 0, Version()
    return (_size(part), version) if version.condition and version.size is not None else (0, Version())


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def cannot_write(folder: Path, error: OSError) -> OutputError:
    """The sentence for a cache that takes no more."""
    return OutputError(folder, f"cannot be written ({error.strerror or error})", "free some space or use --cache")


def _sentence(address: str, error: Exception) -> NoAnswerError:
    """What went wrong with a connection, in one sentence."""
    where, words = shown(address), str(error).lower()
    if isinstance(error, requests.exceptions.InvalidSchema | requests.exceptions.InvalidURL):
        return NoAnswerError(where, "leads to an address that is not http or https", "nothing else is fetched")
    if isinstance(error, requests.TooManyRedirects):
        return NoAnswerError(where, "leads from address to address without end", "check the address")
    if isinstance(error, requests.exceptions.ProxyError):
        return NoAnswerError(where, "the proxy of the environment does not let it through", "check HTTPS_PROXY")
    if isinstance(error, requests.exceptions.SSLError):
        return NoAnswerError(where, "its certificate cannot be verified", "check the address and the clock")
    if "timed out" in words or isinstance(error, requests.Timeout):
        return NoAnswerError(where, "does not answer in time", _KEPT)
    if any(sign in words for sign in ("incompleteread", "broken", "bytes of", "another part", "not satisfiable")):
        return NoAnswerError(where, "breaks off again and again before its end", _KEPT)
    return NoAnswerError(where, "cannot be reached", _KEPT)
