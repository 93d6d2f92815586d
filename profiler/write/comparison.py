"""A profile beside a reference as CSV, and its elevations as known ones of a territory."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from profiler.comparison.compare import Compared, Comparison
from profiler.comparison.placing import OVERLAP
from profiler.comparison.reference_words import TELLING, kind_words, rms
from profiler.elevation.known import SHARED_LENGTH
from profiler.errors import InputError
from profiler.files import output_error
from profiler.units import PERCENT
from profiler.write.cells import Columns, fixed, post_cells, text_cells, write_columns

_UNIT, _SCALE, _DECIMALS = {"elevation": "m", "grade": "%"}, {"elevation": 1.0, "grade": PERCENT}, {"m": 2, "%": 4}


def write_comparison_tables(comparison: Comparison, folder: Path) -> None:
    """Write comparison.csv and summary.csv into ``folder``, an existing one.

    Notes
    -----
    comparison.csv has one row per row of the reference and figure that it states, and one per crest and
    sag; ``reference_row`` is the row of its file. Differences are ours less the reference's:
    ``difference_as_stated`` of the figures as they stand, ``difference`` with the offset of the
    elevations taken off, by which ``within_95`` is judged. summary.csv has a row per figure of the whole.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    write_columns(folder / "comparison.csv", _rows(comparison))
    write_columns(folder / "summary.csv", _summary(comparison))


def _rows(comparison: Comparison) -> Columns:
    parts = [_compared(comparison, found) for found in (comparison.elevation, comparison.grade)]
    parts.append(_turns(comparison))
    return {name: [cell for part in parts for cell in part[name]] for name in parts[0]}


def _compared(comparison: Comparison, found: Compared) -> dict[str, list[str]]:
    scale, unit = _SCALE[found.figure], _UNIT[found.figure]
    reference, posts = comparison.reference, comparison.profile.route.posts
    is_piece = found.figure == "grade"
    values = {
        "reference": found.reference,
        "reference_se": found.reference_se,
        "ours": found.ours,
        "ours_se": found.ours_se,
        "difference_as_stated": found.stated,
        "difference": found.difference,
        "difference_se": found.se,
    }
    return {
        "reference_row": [str(row) for row in reference.row[found.item]],
        "figure": [found.figure] * found.item.size,
        "name": text_cells(reference.names[i] for i in found.item.tolist()),
        "post": post_cells(posts, found.start),
        "chainage_m": fixed(found.start, 1),
        "end_chainage_m": fixed(found.end, 1) if is_piece else [""] * found.item.size,
        "unit": [unit] * found.item.size,
        **{name: fixed(array / scale, _DECIMALS[unit]) for name, array in values.items()},
        "within_95": ["yes" if inside else "no" for inside in found.within],
    }


def _turns(comparison: Comparison) -> dict[str, list[str]]:
    """Places of crests and sags, by chainage."""
    turns, reference = comparison.turns, comparison.reference
    place = [turn.place for turn in turns]
    se = [None if t.low is None or t.high is None else (t.high - t.low) / 2 / 1.96 for t in turns]
    off = fixed([None if t.ours is None else t.ours - t.place for t in turns], 1)
    return {
        "reference_row": [str(reference.row[turn.item]) for turn in turns],
        "figure": [turn.kind for turn in turns],
        "name": text_cells(reference.names[turn.item] for turn in turns),
        "post": post_cells(comparison.profile.route.posts, place),
        "chainage_m": fixed(place, 1),
        "end_chainage_m": [""] * len(turns),
        "unit": ["m"] * len(turns),
        "reference": fixed(place, 1),
        "reference_se": [""] * len(turns),
        "ours": fixed([turn.ours for turn in turns], 1),
        "ours_se": fixed(se, 1),
        "difference_as_stated": off,
        "difference": off,
        "difference_se": fixed(se, 1),
        "within_95": ["" if t.within is None else "yes" if t.within else "no" for t in turns],
    }


def _summary(comparison: Comparison) -> Columns:
    empty = dict.fromkeys(
        (
            "figure", "direction", "train_length_m", "unit", "count", "reference", "ours", "ours_low", "ours_high",
            "difference", "rms_as_stated", "rms", "share_within_95", "within_95",
        ),
        "",
    )  # fmt: skip
    placing, rows = comparison.placing, []
    if placing.how in ("stations", "agreement"):
        rows.append({"figure": "position_shift", "unit": "m", "difference": fixed([placing.shift], 1)[0]})
        rows.append({"figure": "position_scale", "ours": fixed([placing.scale], 6)[0]})
    if placing.residual is not None:
        found = {"unit": "m", "count": str(placing.shared), "rms": fixed([placing.residual], 1)[0]}
        rows.append({"figure": "shared_places", **found})
    if comparison.elevation.offset:
        rows.append(
            {"figure": "elevation_offset", "unit": "m", "reference": fixed([comparison.elevation.offset], 2)[0]}
        )
    rows += [_agreement(found) for found in (comparison.elevation, comparison.grade) if found.item.size]
    for whole in comparison.wholes:
        figure, digits = whole.figure, _DECIMALS[whole.figure.unit]
        cells = (whole.value, figure.value, figure.low, figure.high, whole.difference)
        names = ("reference", "ours", "ours_low", "ours_high", "difference")
        rows.append(
            {
                "figure": figure.key,
                "direction": figure.direction,
                "train_length_m": fixed([figure.train_length], 1)[0],
                "unit": figure.unit,
                **dict(zip(names, fixed(cells, digits), strict=True)),
                "within_95": "yes" if whole.within else "no",
            }
        )
    return {name: [{**empty, **row}[name] for row in rows] for name in empty}


def _agreement(found: Compared) -> dict[str, str]:
    unit = _UNIT[found.figure]
    values = np.array([np.median(found.difference), rms(found.stated), rms(found.difference)]) / _SCALE[found.figure]
    names = ("difference", "rms_as_stated", "rms")
    return {
        "figure": f"{found.figure}s",
        "unit": unit,
        "count": str(found.item.size),
        **dict(zip(names, fixed(values, _DECIMALS[unit]), strict=True)),
        "share_within_95": fixed([float(found.within.mean())], 3)[0],
    }


def write_known_elevations(comparison: Comparison, path: Path, se: float | None = None) -> int:
    """Write the reference's elevations as ``[[known_elevations]]`` to be pasted into a territory.

    Parameters
    ----------
    se : float, optional
        Standard error [m] where the reference states none.

    Returns
    -------
    int
        How many; of those closer together than `SHARED_LENGTH` one is written.

    Raises
    ------
    InputError
        If the reference has no elevations, or these no standard error.
    OutputError
        If the file cannot be written.
    """
    found, reference = comparison.elevation, comparison.reference
    if not found.item.size:
        raise InputError(
            reference.source, "has no elevations on the line to be taken as known", "leave out --known-out"
        )
    if se is None and not reference.se_stated:
        raise InputError(reference.source, "states no standard error of its elevations", "give one with --known-se-m")
    tables: list[str] = []
    last = -np.inf
    for i in np.argsort(found.start, kind="stable").tolist():
        if found.start[i] - last < SHARED_LENGTH - OVERLAP:
            continue
        last = float(found.start[i])
        tables.append(_known_table(comparison, i, se))
    text = "\n".join([_known_note(comparison), *tables])
    _write_aside(path, text)
    return len(tables)


def _known_table(comparison: Comparison, i: int, se: float | None) -> str:
    found, route = comparison.elevation, comparison.profile.route
    at, name = float(found.start[i]), comparison.reference.names[int(found.item[i])]
    post = float(fixed(route.posts.at(np.array([at])), 4)[0])
    stated = route.posts.stated and len(route.posts.chainages(post)) == 1
    place = f'post = "{post:.4f}"' if stated else f"chainage_m = {at:.1f}"
    note = f"# {' '.join(name.split())}\n" if name else ""
    sure = float(found.reference_se[i]) if comparison.reference.se_stated or se is None else se
    return (
        f"{note}[[known_elevations]]\nat = {{ {place} }}\nelevation_m = {found.reference[i]:.2f}\nse_m = {sure:.2f}\n"
    )


def _known_note(comparison: Comparison) -> str:
    said = [
        f"Elevations of {Path(comparison.reference.source).name}, {kind_words(comparison)}.",
        "Paste them into the territory.",
    ]
    offset = comparison.elevation.offset
    if abs(offset) >= TELLING:
        said.append(f"In the median they stand {abs(offset):.2f} m {'over' if offset > 0 else 'under'} the profile.")
        said.append(f"If two datums are the reason, name vertical_datum, or add offset_m = {-offset:.2f} to each.")
    return "\n".join(f"# {' '.join(line.split())}" for line in said) + "\n"


def _write_aside(path: Path, text: str) -> None:
    aside = path.with_name(f".unfinished-{path.name}")
    try:
        aside.write_text(text, encoding="utf-8", newline="\n")
        aside.replace(path)
    except OSError as error:
        aside.unlink(missing_ok=True)
        raise output_error(path, error) from error
