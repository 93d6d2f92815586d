"""Write aside, then rename: a failed or interrupted run leaves the earlier output whole."""

from __future__ import annotations

import contextlib
import datetime
import errno
import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from profiler.errors import InputError, OutputError

_ELSEWHERE = "choose another folder with --out"
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_DENIED = (errno.EACCES, errno.EPERM, errno.EROFS)
_IN_THE_WAY = (errno.ENOTDIR, errno.EEXIST, errno.EISDIR)


def output_error(path: Path, error: OSError) -> OutputError:
    """The sentence for an operating-system error on the way out."""
    if error.errno in _DENIED:
        return OutputError(path, "cannot be written, permission is denied", _ELSEWHERE)
    if error.errno in _FULL:
        return OutputError(path, "the disk is full", f"free some space or {_ELSEWHERE}")
    if error.errno in _IN_THE_WAY:
        return OutputError(path, "is in the way, a file stands where a folder is needed", "choose another --out")
    return OutputError(path, f"cannot be written ({error.strerror or error})", _ELSEWHERE)


def check_place(folder: Path) -> None:
    """Find out before long work whether results can stand in ``folder``; nothing is made.

    Raises
    ------
    OutputError
        If a file is in the way, or writing is not allowed.
    """
    place = next(place for place in (folder, *folder.parents) if place.exists())
    if not place.is_dir():
        raise output_error(place, NotADirectoryError(errno.ENOTDIR, ""))
    if not os.access(place, os.W_OK | os.X_OK):
        raise output_error(place, PermissionError(errno.EACCES, ""))


@contextlib.contextmanager
def staged_folder(folder: Path, *, replaces: tuple[str, ...] = ()) -> Iterator[Path]:
    """Give an empty folder to write into; on success its files take their places in ``folder``.

    Parameters
    ----------
    folder : Path
        Where the results belong; made if it is missing. Files of other names stay.
    replaces : tuple of str
        Names that belong to this kind of output: those not written this time are removed, so
        that nothing of an earlier run is left to be taken for the present one.

    Raises
    ------
    OutputError
        If the folder cannot be written or the disk is full; ``folder`` is then as before.
    """
    folder = Path(folder)
    made = [place for place in (folder, *folder.parents) if not place.exists()]
    done = False
    try:
        with _writing(folder):
            folder.mkdir(parents=True, exist_ok=True)
            stage = folder / Path(tempfile.mkdtemp(prefix=".unfinished-", dir=folder)).name
        try:
            with _writing(folder, stage):
                yield stage
                _move_into(stage, folder, replaces)
            done = True
        finally:
            shutil.rmtree(stage, ignore_errors=True)
    finally:
        if not done:
            with contextlib.suppress(OSError):
                for place in made:
                    place.rmdir()


@contextlib.contextmanager
def staged_file(path: Path) -> Iterator[Path]:
    """Give a place to write one file to; on success it takes the place of ``path``.

    Raises
    ------
    OutputError
        As for `staged_folder`.
    """
    with staged_folder(path.parent) as stage:
        yield stage / path.name


@contextlib.contextmanager
def _writing(folder: Path, stage: Path | None = None) -> Iterator[None]:
    """Turn an error of writing below ``folder`` into its sentence; errors of reading pass."""
    try:
        yield
    except OutputError as error:
        source = Path(error.source)
        if stage is not None and source.is_relative_to(stage):
            final = folder / source.relative_to(stage)
            raise OutputError(final, error.problem, error.remedy) from error
        raise
    except OSError as error:
        if stage is not None and not _of_writing(error, folder):
            raise
        raise output_error(folder, error) from error


def _of_writing(error: OSError, folder: Path) -> bool:
    """Whether an error belongs to the results; libraries that read raise theirs without a number."""
    if error.errno is None:
        return False
    if error.filename is None or error.errno in _FULL:
        return True
    return Path(os.fsdecode(error.filename)).is_relative_to(folder)


def _move_into(stage: Path, folder: Path, replaces: tuple[str, ...]) -> None:
    """Put the earlier files aside and the new ones in their places: all of them, or none."""
    written = sorted(place.name for place in stage.iterdir())
    earlier = [name for name in sorted({*written, *replaces}) if (folder / name).exists()]
    for name in earlier:
        if (folder / name).is_dir():
            raise OutputError(folder / name, "is in the way, a folder stands where a file is needed", "move it away")
    aside = stage / ".earlier"
    aside.mkdir()
    try:
        for name in earlier:
            (folder / name).replace(aside / name)
        for name in written:
            (stage / name).replace(folder / name)
    except BaseException:
        for place in aside.iterdir():
            place.replace(folder / place.name)
        for name in written:
            if name not in earlier:
                (folder / name).unlink(missing_ok=True)
        raise


def sha256(path: Path) -> str:
    """Hexadecimal SHA-256 of the bytes of the file at ``path``."""
    with Path(path).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def source_date() -> datetime.datetime | None:
    """The date that results may carry: SOURCE_DATE_EPOCH of the environment, None where it is not set.

    The clock is never asked, so that the same inputs give the same bytes
    (reproducible-builds.org, SOURCE_DATE_EPOCH specification 1.1).

    Raises
    ------
    InputError
        If the variable is no number of seconds.
    """
    seconds = os.environ.get("SOURCE_DATE_EPOCH")
    if not seconds:
        return None
    try:
        return datetime.datetime.fromtimestamp(int(seconds), tz=datetime.UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise InputError(
            "SOURCE_DATE_EPOCH", f"{seconds!r} is no date", "set it to whole seconds since 1970, or unset it"
        ) from error
