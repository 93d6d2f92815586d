"""What somebody else says of a line: a railway's own gradient table, PVIs, station elevations, an older profile."""

from __future__ import annotations

from dataclasses import dataclass, field

from profiler.errors import InputError
from profiler.route import frozen_array
from profiler.units import FOOT, KILOMETRE, MILE, FloatArray

REFERENCE_KINDS = ("gradients", "pvis", "stations", "profile")
"""Gradient table, list of PVIs, elevations of stations, older profile."""

POSITION_UNITS = {"m": 1.0, "km": KILOMETRE, "mi": MILE, "ft": FOOT}
"""Length of the units in which positions count. [m]"""

_ARRAYS = (
    "position",
    "elevation",
    "elevation_se",
    "start",
    "end",
    "grade",
    "grade_se",
    "longitude",
    "latitude",
)


@dataclass(frozen=True, eq=False)
class Reference:
    """A table held against a profile; arrays are (n,), one value a row, NaN where it has none.

    ``row`` (n,) is the row of its file. ``position`` [m] is the place by the reference's own count,
    rising where there are any; ``elevation`` [m] of the rail there. ``grade`` [m/m] is the mean over
    ``start``…``end`` [m], + uphill with rising positions, for kinds that state grades; those that do
    not have elevations only. Standard errors are ``elevation_se`` and ``grade_se``. ``names`` and ``longitude``,
    ``latitude`` [degree] tell places by themselves.

    ``kind`` is one of `REFERENCE_KINDS`. ``unit`` is that of the positions ("km", "m", "mi", "ft"),
    empty where there are none; ``by_chainage`` says that they are named chainage, not posts; ``se_stated``
    that standard errors of the elevations are the source's own, not those of rounding.
    ``columns`` were read; ``remarks`` say what was done on the way.
    """

    source: str
    kind: str
    row: FloatArray
    position: FloatArray
    elevation: FloatArray
    elevation_se: FloatArray
    start: FloatArray
    end: FloatArray
    grade: FloatArray
    grade_se: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    names: tuple[str, ...]
    unit: str = ""
    by_chainage: bool = False
    se_stated: bool = False
    columns: tuple[str, ...] = ()
    remarks: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "row", frozen_array(self.row, int))
        for name in _ARRAYS:
            array = frozen_array(getattr(self, name))
            object.__setattr__(self, name, array)
            if array.shape != self.row.shape:
                raise InputError(self.source, f"{name} has shape {array.shape}", f"give {self.row.shape}")
        if self.kind not in REFERENCE_KINDS:
            raise InputError(self.source, f"kind {self.kind!r} is not known", f"one of {', '.join(REFERENCE_KINDS)}")
        if len(self.names) != self.row.size or not self.row.size:
            raise InputError(self.source, f"{len(self.names)} names for {self.row.size} rows", "give one a row")

    @property
    def unit_m(self) -> float:
        """Length of one unit of the positions. [m]"""
        return POSITION_UNITS[self.unit or "m"]
