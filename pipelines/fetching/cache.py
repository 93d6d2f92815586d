"""Rasters that have come already: each under a name of our own, with a record beside it, trusted only if it agrees."""

from __future__ import annotations

import contextlib
import errno
import filecmp
import hashlib
import json
import os
import re
import shutil
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from pipelines.fetching.download import cannot_write
from profiler import sha256

_LOOK_AGAIN = 0.1
"""Whether another has let go of a raster is looked at so often. [s]"""


@dataclass(frozen=True)
class Record:
    """What stands beside a raster of the cache.

    ``sha256`` and ``size`` [byte] are those of the raster; ``address``, ``etag``, ``modified`` and ``source_size``
    those of the file it was taken from, of which ``bytes_read`` came; ``date`` when; ``said`` what deserves to be.
    ``absent``: there is no such file. ``catalogue`` by its name.
    """

    address: str
    catalogue: str
    date: str
    sha256: str = ""
    size: int = 0
    etag: str = ""
    modified: str = ""
    source_size: int | None = None
    bytes_read: int = 0
    absent: bool = False
    said: tuple[str, ...] = ()


class Cache:
    """A folder of rasters. Several processes may use it at once, and any of them may be killed.

    A raster takes its name only when it is whole, and its record only after that: what has no record, or
    disagrees with it, is fetched again.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.files = folder / "files"
        try:
            self.files.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise cannot_write(folder, error) from error

    def place(self, label: str, *keys: str) -> Path:
        """Where a raster belongs: a cleaned label to know it by, and a hash of what it is."""
        digest = hashlib.sha256("\n".join(keys).encode()).hexdigest()[:16]
        return self.files / f"{clean(label)}-{digest}.tif"

    def held(self, place: Path) -> tuple[Record | None, bool]:
        """The record of a raster that is there and agrees with it; else None, and whether one was damaged."""
        try:
            text = _record_of(place).read_text(encoding="utf-8")
        except (OSError, ValueError):
            return None, False
        try:
            told = json.loads(text)
            record = Record(**told | {"said": tuple(map(str, told.get("said", ())))})
            if record.absent:
                return record, False
            if place.stat().st_size == record.size and sha256(place) == record.sha256:
                return record, False
        except (OSError, ValueError, TypeError):
            pass
        return None, True

    def keep(self, aside: Path, place: Path, record: Record) -> Record:
        """Give a whole raster its name, then its record; the record with size and checksum."""
        record = Record(**asdict(record) | {"sha256": sha256(aside), "size": aside.stat().st_size, "said": record.said})
        aside.replace(place)
        self.note(place, record)
        return record

    def note(self, place: Path, record: Record) -> None:
        """Write a record, whole or not at all."""
        aside = self.aside(place, ".json")
        aside.write_text(json.dumps(asdict(record), ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        aside.replace(_record_of(place))

    def aside(self, place: Path, ending: str = ".tif") -> Path:
        """A name beside a place that nobody else has."""
        return place.with_name(f".{place.stem}-{uuid.uuid4().hex[:8]}{ending}")

    @contextlib.contextmanager
    def alone(self, place: Path, go_on: Callable[[], None] = lambda: None) -> Iterator[Path]:
        """Hold a raster for one thread of one process at a time; gives where its beginning may stand.

        Others wait until this one is done, or dead, or their ``go_on`` raises.
        """
        with place.with_suffix(".lock").open("a+b") as file:
            while not _held(file.fileno()):
                go_on()
                time.sleep(_LOOK_AGAIN)
            for left in place.parent.glob(f".{place.stem}-*"):  # by one that was killed
                if left.is_dir():
                    shutil.rmtree(left, ignore_errors=True)
                else:
                    left.unlink(missing_ok=True)
            yield place.with_suffix(".part")

    def together(self, key: str, places: list[tuple[str, Path]]) -> Path:
        """A folder with just these rasters under names of their own, so that one pattern names them all.

        They are links where the disk can, else copies: nothing is there twice.
        """
        digest = hashlib.sha256("\n".join(place.name for _, place in places).encode()).hexdigest()[:8]
        folder = self.folder / f"{clean(key)}-{digest}"
        names = {f"{clean(label)}.tif": place for label, place in places}
        if len(names) < len(places):  # two of one label: by their places, which differ
            names = {place.name: place for _, place in places}
        try:
            folder.mkdir(exist_ok=True)
            self._link_all(folder, names)
        except OSError as error:
            raise cannot_write(self.folder, error) from error
        return folder

    def _link_all(self, folder: Path, names: dict[str, Path]) -> None:
        for name, place in names.items():
            if _same(place, folder / name):  # a cache that cannot be written is as good as another
                continue
            aside = folder / f".{uuid.uuid4().hex[:8]}"
            link(place, aside)
            aside.replace(folder / name)
            aside.unlink(
                missing_ok=True
            )  # where another process was quicker, a link takes the place of itself and stays


def sizes(folder: Path) -> dict[str, int]:
    """Size [byte] by address of every file that a cache knows of; none where there is no cache."""
    known = {}
    for path in folder.glob("files/*.json"):
        try:
            told = json.loads(path.read_text(encoding="utf-8"))
            known[str(told["address"])] = int(told["source_size"])
        except (OSError, ValueError, TypeError, KeyError):
            continue
    return known


def clean(label: str) -> str:
    """A label with letters, digits, dash and underscore only: nothing that comes from outside is a path."""
    return re.sub(r"[^A-Za-z0-9_-]+", "_", label).strip("_")[:60] or "raster"


def _record_of(place: Path) -> Path:
    return place.with_suffix(".json")


def link(path: Path, name: Path) -> None:
    """The same file under another name, a copy where the disk has no links."""
    try:
        os.link(path.resolve(), name)  # not a link to a link, which may start from another folder
    except OSError:
        shutil.copyfile(path, name)


def _same(path: Path, name: Path) -> bool:
    return name.exists() and (path.samefile(name) or filecmp.cmp(path, name, shallow=False))


def _held(descriptor: int) -> bool:
    """Lock an open file until it is closed, which the system does for a process that dies; False if another has it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EACCES, errno.EAGAIN, errno.EDEADLK):
            return False
        raise
    return True
