"""A file on a server read in pieces, as GDAL asks for them, each piece asked for once."""

from __future__ import annotations

import io
from collections import OrderedDict
from collections.abc import Iterator

import requests
from urllib3.exceptions import HTTPError

from pipelines.fetching.catalogues import shown
from pipelines.fetching.download import NoRangesError, NotThereError, Told, Version, Web, range_of, version_of
from profiler import InputError

_PIECE = 1 << 15
_FIRST = 1 << 16
_MOST_AT_ONCE = 1 << 23
_MOST_KEPT = 1 << 25


class RangedFile:
    """A file behind an address; pieces that came lately are kept, 32 MB at most.

    ``version`` is what the server said first: a file that changes while it is read is refused. ``error`` is what
    went wrong, since GDAL between us and the reader loses it. For one thread.

    Raises
    ------
    NoRangesError
        If the server does not give parts of files.
    NotThereError, InputError
        As `Web.answer`.
    """

    def __init__(self, web: Web, address: str, told: Told) -> None:
        self._web, self._address, self._told = web, address, told
        self._deadline = web.deadline()
        self._kept: OrderedDict[int, bytes] = OrderedDict()
        self.error: Exception | None = None
        self.version = Version()
        self.came = 0
        self._keep(0, self._ask(0, _FIRST))
        if self.version.size is None:
            raise NoRangesError(shown(address))
        self.size = self.version.size

    def read(self, start: int, count: int) -> bytes:
        """Bytes from ``start`` on, fewer at the end, none after something has gone wrong."""
        end = min(start + count, self.size)
        if end <= start or self.error is not None:
            return b""
        try:
            wanted = range(start // _PIECE, (end - 1) // _PIECE + 1)
            pieces = {i: self._kept[i] for i in wanted if i in self._kept}
            for first, last in _runs([i for i in wanted if i not in pieces]):
                came = self._ask(first * _PIECE, min(last * _PIECE, self.size))
                pieces |= self._keep(first, came)
        except (InputError, NoRangesError, NotThereError, requests.RequestException, HTTPError) as error:
            self.error = error
            return b""
        whole = b"".join(pieces[i] for i in wanted)
        offset = wanted[0] * _PIECE
        return whole[start - offset : end - offset]

    def opener(self, name: str) -> object:
        """A function that rasterio opens ``name`` with, and nothing beside it."""

        def opened(path: str, mode: str = "r", **_: object) -> _View:
            if path != name or "w" in mode or "a" in mode:
                raise FileNotFoundError(path)
            return _View(self)

        return opened

    def _keep(self, first: int, came: bytes) -> dict[int, bytes]:
        pieces = {first + i: came[i * _PIECE : (i + 1) * _PIECE] for i in range(-(-len(came) // _PIECE))}
        self._kept.update(pieces)
        while len(self._kept) * _PIECE > _MOST_KEPT:
            self._kept.popitem(last=False)
        return pieces

    def _ask(self, start: int, end: int) -> bytes:
        """Bytes from ``start`` up to ``end`` of the file, whatever breaks off in between."""
        came, in_vain = bytearray(), 0
        while True:
            before = len(came)
            try:
                self._attempt(start, end, came)
            except (requests.RequestException, HTTPError) as error:
                in_vain = 0 if len(came) > before else in_vain + 1
                if in_vain >= self._web.patience.tries:
                    raise InputError(
                        shown(self._address),
                        "breaks off again and again while it is read",
                        "start again, or use --whole",
                    ) from error
                self._web.check(self._address, self._deadline)
                self._web.pause(in_vain + 1, self._deadline)
            if len(came) >= min(end, self.version.size or end) - start:
                return bytes(came)

    def _attempt(self, start: int, end: int, came: bytearray) -> None:
        before, first = len(came), start + len(came)
        with self._web.answer(self._address, self._deadline, {"Range": f"bytes={first}-{end - 1}"}) as response:
            if response.status_code == 416 and self.version.size is not None:
                raise self._changed()
            given, version = range_of(response), version_of(response)
            packed = response.headers.get("Content-Encoding", "identity") != "identity"
            if response.status_code != 206 or given is None or packed:
                raise NoRangesError(shown(self._address))
            if given[0] != first or given[1] >= end:
                raise self._elsewhere()
            if self.version.size is None:
                self.version = version
            if version != self.version:
                raise self._changed()
            for piece in self._web.body(response, self._deadline):
                came += piece
                self.came += len(piece)
                self._told(len(piece))
                if len(came) > end - start:
                    raise self._elsewhere()
        if len(came) == before:
            raise requests.ConnectionError("an empty part")

    def _elsewhere(self) -> InputError:
        return InputError(shown(self._address), "sends another part than asked for", "use --whole")

    def _changed(self) -> InputError:
        return InputError(
            shown(self._address), "changed on the server while it was read", "start again, what came is left out"
        )


def _runs(numbers: list[int]) -> Iterator[tuple[int, int]]:
    """Numbers that follow each other, as (first, one past the last), none so long that one answer holds too much."""
    longest = _MOST_AT_ONCE // _PIECE
    start = 0
    for i in range(1, len(numbers) + 1):
        if i == len(numbers) or numbers[i] != numbers[i - 1] + 1 or i - start == longest:
            yield numbers[start], numbers[i - 1] + 1
            start = i


class _View(io.RawIOBase):
    """What GDAL reads from: a place in a ranged file."""

    def __init__(self, file: RangedFile) -> None:
        self._file, self._at = file, 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        self._at = offset + (0, self._at, self._file.size)[whence]
        return self._at

    def tell(self) -> int:
        return self._at

    def read(self, count: int = -1) -> bytes:
        came = self._file.read(self._at, self._file.size if count < 0 else count)
        self._at += len(came)
        return came
