"""Where a result comes from: enough to make it again and to judge it."""

from __future__ import annotations

import importlib.metadata
import json
import platform
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

import numpy as np
import pyogrio
import pyproj
import rasterio
import shapely

from profiler.errors import InputError
from profiler.files import sha256, source_date
from profiler.profile import Profile
from profiler.wording import CAUTION, INVENTED, compensation_words

_PACKAGES = (
    "gradewright",
    "numpy",
    "scipy",
    "rasterio",
    "pyogrio",
    "pyproj",
    "shapely",
    "matplotlib",
    "folium",
)


@dataclass(frozen=True)
class InputFile:
    """A file that was read: its ``role`` ("centreline", "elevation", …), and what it declares."""

    path: Path
    role: str
    crs: str = ""
    vertical_datum: str = ""


def write_provenance(
    path: Path,
    *,
    inputs: Iterable[InputFile],
    profile: Profile,
    settings: Mapping[str, object],
    command: Sequence[str],
    base: Path | None = None,
    seed: int | None = None,
) -> None:
    """Write provenance.json: inputs with hashes, settings, versions, assumptions and cautions.

    Parameters
    ----------
    path : Path
        The file to write.
    inputs : iterable of InputFile
        In the order in which they should stand; each is hashed whole.
    settings, command : mapping, sequence of str
        What was asked for. Absolute paths in them are cut to the file's name.
    base : Path, optional
        Folder from which inputs are named; those outside it go by their file name.
    seed : int, optional
        Seed of the draws.

    Raises
    ------
    InputError
        If an input can no longer be read.
    OSError
        If ``path`` cannot be written.

    Notes
    -----
    No clock, no machine and no place on its disk: the same inputs give the same bytes. The date is
    that of SOURCE_DATE_EPOCH, or null.
    """
    route, date, files = profile.route, source_date(), tuple(inputs)
    with ThreadPoolExecutor() as pool:  # hashing lets other threads run
        described = list(pool.map(lambda file: _described(file, base), files))
    document = {
        "command": [_portable(word) for word in command],
        "date": None if date is None else date.isoformat(),
        "inputs": described,
        "route": {
            "name": route.name,
            "ends": route.ends,
            "source": _portable(route.source),
            "length_m": round(route.length, 1),
            "stations": route.chainage.size,
            "chainage_scale": route.scale,
            "lateral_se_m": round(float(np.median(route.lateral_se)), 2) if route.on_map else None,
            "posts_stated": route.posts.stated,
        },
        "crs": "EPSG:4326" if route.on_map else None,
        "vertical_datum": profile.vertical_datum,
        "curve_compensation": compensation_words(profile.curve_compensation, "us"),
        "ground_sources": [_portable(name) for name in profile.source_names],
        "elevation_data": {"attribution": profile.attribution, "licence": profile.licence},
        "draws": {"count": profile.draws.elevation.shape[0], "seed": seed},
        "settings": _portable(settings),
        "assumptions": [*route.assumptions, *profile.assumptions],
        "cautions": [CAUTION, INVENTED] if profile.invented else [CAUTION],
        "versions": _versions(),
    }
    text = json.dumps(document, indent=2, ensure_ascii=False, default=lambda x: x.item())
    Path(path).write_text(text + "\n", encoding="utf-8", newline="\n")


def _described(file: InputFile, base: Path | None) -> dict[str, object]:
    path = Path(file.path)
    try:
        digest, size = sha256(path), path.stat().st_size
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "leave inputs in place") from error
    described = {
        "path": _named_from(path, base),
        "role": file.role,
        "bytes": size,
        "sha256": digest,
        "crs": file.crs,
        "vertical_datum": file.vertical_datum,
    }
    return {key: value for key, value in described.items() if value != ""}


def _named_from(path: Path, base: Path | None) -> str:
    place = path.resolve()
    if base is not None and place.is_relative_to(base.resolve()):
        return place.relative_to(base.resolve()).as_posix()
    return path.name


def _portable(value: Any) -> Any:
    """The same without absolute paths, in types that JSON knows."""
    if isinstance(value, Mapping):
        return {str(key): _portable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_portable(item) for item in value]
    if isinstance(value, str | PurePath):
        path = PurePath(value)
        return path.name if path.is_absolute() else str(value)
    return value


def _versions() -> dict[str, str]:
    """Everything that can change a figure. Two wheels carry a GDAL each."""
    versions = {"python": platform.python_version()}
    for name in _PACKAGES:
        try:
            versions[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            versions[name] = "not installed"
    return versions | {
        "gdal (rasters)": rasterio.__gdal_version__,
        "gdal (vectors)": pyogrio.__gdal_version_string__,
        "proj": pyproj.proj_version_str,
        "geos": shapely.geos_version_string,
    }
