"""A profile beside a reference in words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from profiler import wording
from profiler.comparison.compare import Comparison, Whole
from profiler.comparison.figures import SURE
from profiler.comparison.words import figure_text, figure_words
from profiler.units import FloatArray

TELLING = 0.05
"""A smaller offset of elevations is not spoken of. [m]"""

_KINDS = {
    "gradients": "gradient table",
    "pvis": "list of PVIs",
    "stations": "elevations of stations",
    "profile": "older profile",
}


def kind_words(comparison: Comparison) -> str:
    """What the reference was taken for, and from which columns: never guessed in silence."""
    reference = comparison.reference
    return f"read as {_KINDS[reference.kind]}, {reference.row.size} rows, from {', '.join(reference.columns)}"


def placing_words(comparison: Comparison) -> list[str]:
    """How the reference was laid on the line, and what supports that."""
    placing, route, units = comparison.placing, comparison.profile.route, comparison.units
    if placing.how == "places":
        return ["each row placed by its own name or coordinates"]
    counted = "posts" if placing.by_posts else "chainage"
    if placing.how == "stated":
        return [f"no shared place and no agreement supports a fit: its positions are taken as {counted}, as they stand"]
    first = int(np.flatnonzero(np.isfinite(placing.chainage) & np.isfinite(comparison.reference.position))[0])
    at = float(placing.chainage[first])
    post = f" ({wording.post_text(route.posts, at, 2)})" if route.posts.stated else ""
    words = (
        f"{position_text(comparison, first)} = chainage {wording.short_length_text(at, units)}{post}, "
        f"{wording.number(abs(placing.scale), 4)} × as long"
    )
    if placing.how == "stations":
        residual = "" if placing.residual is None else f", residuals {wording.elevation_text(placing.residual, units)}"
        return [f"{words}, by {_count(placing.shared, 'shared place')}{residual}"]
    reach = wording.short_length_text(SURE * (placing.shift_se or 0.0), units)
    before, after = (wording.number(x or 0.0, 2) for x in (placing.before, placing.after))
    return [
        f"{words}, by agreement of the grades, sure to ±{reach} in the middle; "
        f"rms misfit {before} standard errors before, {after} after"
    ]


def position_text(comparison: Comparison, item: int) -> str:
    """A row's place by the reference's own count: "reference km 82.18"."""
    reference = comparison.reference
    unit, value = reference.unit or "m", float(reference.position[item]) / reference.unit_m
    figure = wording.number(value, 2 if unit in ("km", "mi") else 0, units=comparison.units)
    return f"reference {unit} {figure}" if unit in ("km", "mi") else f"reference {figure} {unit}"


def datum_sentence(comparison: Comparison) -> str:
    """How far the two stand apart in height, with residuals before and after; nothing where that is not known."""
    found, units = comparison.elevation, comparison.units
    if abs(found.offset) < TELLING:
        return ""
    height = wording.elevation_text(abs(found.offset), units, 1)
    before, after = (wording.elevation_text(rms(x), units, 1) for x in (found.stated, found.difference))
    return (
        f"the reference stands {height} {'higher' if found.offset > 0 else 'lower'} throughout (median of "
        f"{found.item.size}), taken off: rms {before} before, {after} after"
    )


def agreement_sentence(comparison: Comparison, figure: str) -> str:
    """ "grades of 201 pieces: median difference 0.03 %, rms 0.21 %, 88 % within the stated interval"."""
    found = comparison.elevation if figure == "elevation" else comparison.grade
    if not found.item.size:
        return ""
    what = "elevations at {} places" if figure == "elevation" else "mean grades of {} pieces"
    middle, spread = (
        difference_text(figure, x, comparison.units) for x in (np.median(found.difference), rms(found.difference))
    )
    before = ""
    if figure == "elevation" and abs(found.offset) >= TELLING:
        before = f" ({share_text(found.within_as_stated)} as they stand)"
    return (
        f"{what.format(found.item.size)}: median difference {middle}, rms {spread}, "
        f"{share_text(found.within)} within the stated 95 % interval{before}"
    )


def share_text(within: FloatArray) -> str:
    """Share of those (m,) within the interval; a count where there are few."""
    count = within.size
    return f"{int(within.sum())} of {count}" if count < 20 else f"{round(100 * float(within.mean()))} %"


def difference_text(figure: str, value: float, units: str) -> str:
    """A difference of elevations [m] or grades [m/m] with its unit and true minus."""
    if figure == "elevation":
        return wording.elevation_text(float(value), units, 1)
    return (
        wording.grade_text(float(value), units, 0.0)
        if units == "us"
        else f"{wording.number(value * 1000, 1, units=units)} ‰"
    )


def turns_sentence(comparison: Comparison) -> str:
    """How many crests and sags of the reference ours has, and how far off they stand."""
    turns = comparison.turns
    if not turns:
        return ""
    met = [turn for turn in turns if turn.ours is not None]
    if not met:
        return f"crests and sags: none of {len(turns)} found"
    away = float(np.median([abs(turn.ours - turn.place) for turn in met if turn.ours is not None]))
    inside = sum(bool(turn.within) for turn in met)
    apart = wording.short_length_text(away, comparison.units)
    return (
        f"crests and sags: {len(met)} of {len(turns)} found, in the median {apart} away, "
        f"{inside} of {len(met)} within the stated interval"
    )


def whole_sentences(comparison: Comparison) -> Iterator[str]:
    """Ruling grades, rise and fall of the stretch that both tell."""
    for whole in comparison.wholes:
        yield f"{whole_name(comparison, whole)}: {whole_value(comparison, whole)}"


def whole_name(comparison: Comparison, whole: Whole) -> str:
    """What a figure of the whole stretch is called, with direction and length of train."""
    figure, route = whole.figure, comparison.profile.route
    words = f"{figure_words(figure.key)} {wording.towards(route, figure.direction)}"
    if figure.train_length is None:
        return words
    return f"{words}, train of {wording.short_length_text(figure.train_length, comparison.units)}"


def whole_value(comparison: Comparison, whole: Whole) -> str:
    """Ours with its interval, the reference's, and whether that is in it."""
    figure, units = whole.figure, comparison.units
    ours = wording.interval_text(figure.value or 0.0, figure.unit, units, figure.low, figure.high)
    theirs = figure_text(figure.key, whole.value, units)
    return f"{ours}, reference {theirs}, within 95 %: {'yes' if whole.within else 'no'}"


def left_out_sentence(comparison: Comparison) -> str:
    """Rows that lie off the line, counted, the first one named."""
    left, reference = comparison.left_out, comparison.reference
    if not left.size:
        return ""
    first = int(left[0])
    name = f" ({reference.names[first]})" if reference.names[first] else ""
    return (
        f"{_count(left.size, 'row')} of {reference.row.size} not on the line and left out, "
        f"the first is row {reference.row[first]}{name}"
    )


def sentences(comparison: Comparison) -> list[str]:
    """All that is to be said of what was done, without the results."""
    return [
        said
        for said in (
            kind_words(comparison),
            *comparison.reference.remarks,
            *placing_words(comparison),
            left_out_sentence(comparison),
            datum_sentence(comparison),
        )
        if said
    ]


def results(comparison: Comparison) -> list[str]:
    """All that came out."""
    said = [agreement_sentence(comparison, figure) for figure in ("elevation", "grade")]
    return [x for x in (*said, turns_sentence(comparison), *whole_sentences(comparison)) if x]


def rms(values: FloatArray) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(np.square(values))))


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
