"""Lines side by side as CSV: their figures, and what differs from the first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

from profiler.comparison.beside import Beside, Side
from profiler.comparison.figures import Figure
from profiler.route import DIRECTIONS
from profiler.units import radius_of_degree
from profiler.wording import end_name
from profiler.write.cells import Columns, fixed, post_cells, text_cells, write_columns

_DECIMALS = {"m": 2, "%": 4, "degree": 3, "curves": 0}
_SUFFIX = {"m": "m", "%": "pct", "degree": "deg"}

_BOUNDED = (
    ("rise", "rise"),
    ("fall", "fall"),
    ("summit", "summit_elevation"),
    ("ruling_grade", "ruling_grade"),
    ("ruling_grade_compensated", "ruling_grade_compensated"),
    ("sustained_grade", "steepest_sustained_grade"),
    ("total_curvature", "total_curvature"),
    ("sharpest_curve", "sharpest_curve"),
)
"""Key of a figure that has an interval, and what its columns begin with."""

_PLACED = ("summit", "ruling_grade", "ruling_grade_compensated", "sustained_grade", "sharpest_curve")

_Row = tuple[Side, str, float]


def write_beside_tables(beside: Beside, folder: Path) -> None:
    """Write beside.csv and differences.csv into ``folder``, an existing one.

    Notes
    -----
    beside.csv has one row per source, direction and length of train: ``with`` is the direction of the
    first source, ``towards`` says it in words. Places are chainages of the source's own profile.
    differences.csv has one row per figure of every source but the first, ``figure`` being the column
    of beside.csv.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    write_columns(folder / "beside.csv", _figures(beside))
    write_columns(folder / "differences.csv", _differences(beside))


def _figures(beside: Beside) -> Columns:
    rows = [(s, d, length) for s in beside.sides for d in DIRECTIONS for length in beside.train_lengths]
    columns: dict[str, list[str]] = {
        "source": [side.letter for side, _, _ in rows],
        "name": text_cells(side.name for side, _, _ in rows),
        "direction": [direction for _, direction, _ in rows],
        "towards": text_cells(end_name(s.profile.route, 1 if d == "with" else 0) for s, d, _ in rows),
        "turned": ["yes" if side.turned else "no" for side, _, _ in rows],
        "vertical_datum": text_cells(side.profile.vertical_datum for side, _, _ in rows),
        "train_length_m": fixed([length for _, _, length in rows], 1),
        "length_m": _values(rows, "length"),
    }
    for key, name in _BOUNDED:
        columns |= _bounded(rows, key, name)
    sharpest = [_of(row, "sharpest_curve").value for row in rows]
    columns["smallest_radius_m"] = fixed([_radius(degree) for degree in sharpest], 1)
    columns["curves_count"] = _values(rows, "curves")
    columns["in_curves_pct"] = _values(rows, "in_curves")
    for key in ("tunnels", "bridges", "suspected"):
        columns[f"{key}_m"] = _values(rows, key)
    columns["elevation_se_median_m"] = _values(rows, "elevation_se")
    return columns


def _bounded(rows: list[_Row], key: str, name: str) -> Iterator[tuple[str, list[str]]]:
    """Columns of a figure with its interval, and of its place where it has one."""
    suffix = _SUFFIX[_of(rows[0], key).unit]
    yield f"{name}_{suffix}", _values(rows, key)
    for end in ("low", "high"):
        yield f"{name}_{end}_{suffix}", _values(rows, key, end)
    if key == "sustained_grade":
        yield f"{name}_length_m", fixed([_of(row, key).extent for row in rows], 1)
    if key in _PLACED:
        yield f"{name}_at_m", fixed([row[0].own(_of(row, key).at) for row in rows], 1)
        yield f"{name}_post", [_post(row[0], _of(row, key).at) for row in rows]


def _of(row: _Row, key: str) -> Figure:
    """The figure of a key for one row: for its direction and train where it belongs to one."""
    side, direction, length = row
    wanted = {(d, t) for d in ("both", direction) for t in (None, length)}
    return next(f for f in side.figures if f.key == key and (f.direction, f.train_length) in wanted)


def _values(rows: list[_Row], key: str, part: str = "value") -> list[str]:
    return fixed([getattr(_of(row, key), part) for row in rows], _DECIMALS[_of(rows[0], key).unit])


def _radius(degree: float | None) -> float | None:
    radius = math.inf if degree is None else radius_of_degree(degree)
    return radius if math.isfinite(radius) else None


def _post(side: Side, at: float | None) -> str:
    return "" if at is None else post_cells(side.profile.route.posts, [at])[0]


def _column(figure: Figure) -> str:
    """The column of beside.csv in which a figure stands."""
    own = {"curves": "curves_count", "elevation_se": "elevation_se_median_m"}
    name = dict(_BOUNDED).get(figure.key, figure.key)
    return own.get(figure.key) or f"{name}_{_SUFFIX[figure.unit]}"


def _differences(beside: Beside) -> Columns:
    items = beside.differences
    first = beside.sides[0]
    base = [first.figure(d.figure.key, d.figure.direction, d.figure.train_length) for d in items]

    def cells(values: list[float | None]) -> list[str]:
        return [fixed([v], _DECIMALS[d.figure.unit])[0] for d, v in zip(items, values, strict=True)]

    return {
        "source": [d.letter for d in items],
        "compared_with": [first.letter for _ in items],
        "direction": [d.figure.direction for d in items],
        "train_length_m": fixed([d.figure.train_length for d in items], 1),
        "figure": [_column(d.figure) for d in items],
        "unit": [d.figure.unit if d.figure.unit != "curves" else "" for d in items],
        "value": cells([d.figure.value for d in items]),
        "first": cells([figure.value for figure in base]),
        "difference": cells([d.value for d in items]),
        "low": cells([d.low for d in items]),
        "high": cells([d.high for d in items]),
        "verdict": [d.verdict for d in items],
    }
