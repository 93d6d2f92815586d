"""Features of any vector file: geometry on WGS 84 with the file's own attributes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from profiler.read.reference import crs_of, crs_words, to_wgs84

ObjectArray = npt.NDArray[Any]

LINES = (shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING)
POINTS = (shapely.GeometryType.POINT, shapely.GeometryType.MULTIPOINT)


@dataclass(frozen=True, eq=False)
class Features:
    """What stands in one layer.

    ``geometry`` (n,) are shapely geometries, None where a feature has none; ``attributes`` one
    mapping a feature, missing values left out; ``row`` (n,) its number in the file, from 1.
    """

    geometry: ObjectArray
    attributes: tuple[Mapping[str, object], ...]
    row: npt.NDArray[np.int_]
    crs: str
    assumptions: tuple[str, ...] = ()
    left_out: Mapping[str, int] = field(default_factory=dict)

    def where(self, mask: npt.NDArray[np.bool_]) -> Features:
        """Those for which ``mask`` (n,) holds."""
        return replace(
            self,
            geometry=self.geometry[mask],
            attributes=tuple(self.attributes[i] for i in np.flatnonzero(mask)),
            row=self.row[mask],
        )

    def of_type(self, types: tuple[int, ...]) -> Features:
        """Those with a geometry of these types that is not empty."""
        kinds = shapely.get_type_id(self.geometry)
        return self.where(np.isin(kinds, types) & ~shapely.is_empty(self.geometry))


def on_wgs84(features: Features, declared: str | None, source: str) -> Features:
    """The same features, their coordinates checked and carried to longitude and latitude.

    Raises
    ------
    InputError
        See `profiler.read.reference`.
    """
    crs = crs_of(declared, source)
    place, index = shapely.get_coordinates(features.geometry, return_index=True)
    moved, said = to_wgs84(crs, place, features.row[index], source)
    return replace(
        features,
        geometry=_moved(features.geometry, moved),
        crs=crs_words(crs),
        assumptions=features.assumptions + said,
    )


def _moved(geometry: ObjectArray, place: npt.NDArray[np.float64]) -> ObjectArray:
    with np.errstate(invalid="ignore"):
        if not shapely.has_z(geometry).any():
            return np.asarray(shapely.transform(geometry, lambda _: place))
        return np.asarray(shapely.transform(geometry, lambda old: np.column_stack((place, old[:, 2])), include_z=True))
