"""Write aside, then rename: a failed or interrupted run leaves the earlier output whole."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from profiler.errors import OutputError

_CHUNK = 1 << 20


def output_error(path: Path, error: OSError) -> OutputError:
    """The sentence for an operating-system error on the way out."""
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return OutputError(
            path, "cannot be written, permission is denied", "choose another folder with --out"
        )
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return OutputError(path, "the disk is full", "free some space or choose another folder with --out")
    if error.errno in (errno.ENOTDIR, errno.EEXIST, errno.EISDIR):
        return OutputError(
            path, "is in the way, a file stands where a folder is needed", "choose another --out"
        )
    return OutputError(
        path, f"cannot be written ({error.strerror or error})", "choose another folder with --out"
    )


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
    try:
        existed = folder.is_dir()
        folder.mkdir(parents=True, exist_ok=True)
        stage = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=folder))
    except OSError as error:
        raise output_error(folder, error) from error
    done = False
    try:
        yield stage
        _move_into(stage, folder, replaces)
        done = True
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        if (
            error.filename is not None
            and not str(error.filename).startswith(str(folder))
            and not _disk(error)
        ):
            raise
        raise output_error(folder, error) from error
    finally:
        shutil.rmtree(stage, ignore_errors=True)
        if not done and not existed:
            with contextlib.suppress(OSError):
                folder.rmdir()


def _disk(error: OSError) -> bool:
    return error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EROFS)


def _move_into(stage: Path, folder: Path, replaces: tuple[str, ...]) -> None:
    written = sorted(p.name for p in stage.iterdir())
    for name in written:
        (stage / name).replace(folder / name)
    for name in replaces:
        if name not in written:
            (folder / name).unlink(missing_ok=True)


def sha256(path: Path) -> str:
    """Hexadecimal SHA-256 of a file's bytes."""
    digest = hashlib.sha256()
    with Path(path).open("rb") as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()
