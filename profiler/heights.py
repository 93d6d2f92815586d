"""Heights of a territory brought to one vertical datum: what its rasters say and what is known."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from profiler.alignment.known_places import known_places
from profiler.elevation.sampling import GroundSamples
from profiler.profile import KnownElevation
from profiler.read.datum import UNKNOWN, Shift, datum_shift, known_datum, same_datum
from profiler.route import Route
from profiler.territory import Territory
from profiler.units import FloatArray

DEFAULT_SE = 0.5
"""Standard error of a known elevation that states none. [m]"""


def in_one_datum(
    samples: GroundSamples, longitude: FloatArray, latitude: FloatArray
) -> tuple[GroundSamples, tuple[str, ...]]:
    """Samples at stations (n,) whose sources all stand above one datum, and what was done or assumed.

    The first source with a named datum sets it. Sources that say nothing here are left alone.

    Raises
    ------
    InputError
        If another one's named datum differs and nothing installed converts it.
    """
    speaks = [bool(np.isfinite(values).any()) for values in samples.values]
    speaking = [i for i, some in enumerate(speaks) if some]
    named = [i for i in speaking if known_datum(samples.vertical_datum[i])]
    if not named:
        return samples, ()
    first = named[0]
    wanted, said = samples.vertical_datum[first], []
    values, shoulders = samples.values, samples.shoulders
    for i in speaking:
        name, datum = samples.names[i], samples.vertical_datum[i]
        if i not in named:
            said.append(f"{name}: vertical datum not known, taken to be {wanted} like that of {samples.names[first]}")
            continue
        if same_datum(datum, wanted):
            continue
        remedy = f"leave one of {samples.names[first]} and {name} out, or convert one of them beforehand"
        shift = datum_shift(name, datum, wanted, longitude, latitude, remedy)
        row = np.arange(len(samples.names)) == i
        values = values + row[:, None] * shift.metres
        shoulders = None if shoulders is None else shoulders + row[:, None, None] * shift.metres
        said.append(f"{name}: {shift_words(datum, wanted, shift)}")
    data = tuple(wanted if some else UNKNOWN for some in speaks)
    return dataclasses.replace(samples, values=values, shoulders=shoulders, vertical_datum=data), tuple(said)


def side_by_side(samples: GroundSamples) -> tuple[str, ...]:
    """Sources that look like tiles of one product, each given as a product of its own: of one cell size, and nowhere
    over each other."""
    speaks = np.isfinite(samples.values)
    alike: dict[int, list[int]] = {}
    for i in np.flatnonzero(speaks.any(axis=1)):
        alike.setdefault(round(samples.cell_m[i]), []).append(int(i))
    return tuple(
        f"{' and '.join(samples.names[i] for i in those)}: taken for products of their own, each with an offset; "
        "tiles of one product are one entry, as in dem/*.tif"
        for those in alike.values()
        if len(those) > 1 and speaks[those].sum(axis=0).max() == 1
    )


def datum_of(samples: GroundSamples) -> str:
    """The one named datum of the sources, "unknown" where there is none."""
    named = {name for name in samples.vertical_datum if known_datum(name)}
    return named.pop() if len(named) == 1 else UNKNOWN


def known_elevations(
    territory: Territory, route: Route, datum: str
) -> tuple[tuple[KnownElevation, ...], tuple[str, ...]]:
    """Known elevations of a territory on its whole route, above ``datum``, and what was done or assumed.

    Raises
    ------
    InputError, RouteError
        If one is not on the line; if its named datum differs from a named ``datum``, the user states
        no offset_m for it, and nothing installed converts it.
    """
    entries, places = territory.known_elevations, np.array(known_places(territory, route))
    whole = len(entries)
    plain = [i for i in range(whole) if entries[i].offset_m is None]
    silent = [i for i in plain if not known_datum(entries[i].vertical_datum)]
    bare = [entry for entry in entries if entry.se is None]
    raised = np.array([entry.offset_m or 0.0 for entry in entries])
    said = []
    if len(plain) < whole:
        said.append(f"{_some(whole - len(plain), whole)}: offset_m added as stated")
    if silent:
        taken = datum if known_datum(datum) else "the same as the rasters'"
        said.append(f"{_some(len(silent), whole)}: vertical datum not stated, taken to be {taken}")
    other: dict[str, list[int]] = {}
    for i in sorted(set(plain) - set(silent)):
        if not known_datum(datum) or not same_datum(entries[i].vertical_datum, datum):
            other.setdefault(entries[i].vertical_datum, []).append(i)
    for above, those in other.items():
        if not known_datum(datum):
            said.append(f"{_some(len(those), whole)}: above {above}, the rasters' vertical datum taken to be the same")
            continue
        source = f"{territory.source}: known_elevations[{those[0] + 1}], {entries[those[0]].at.words()}"
        station = np.searchsorted(route.chainage, places[those]).clip(max=route.chainage.size - 1)
        there = route.longitude[station], route.latitude[station]
        shift = datum_shift(source, above, datum, *there, f"state offset_m, what to add to bring it to {datum}")
        raised[those] = shift.metres
        said.append(f"{_some(len(those), whole)}: {shift_words(above, datum, shift)}")
    if bare:
        said.append(f"{_some(len(bare), whole)}: no standard error stated, {DEFAULT_SE:g} m assumed")
    found = (
        KnownElevation(float(at), entry.elevation + float(up), entry.se or DEFAULT_SE, entry.at.words())
        for entry, at, up in zip(entries, places, raised, strict=True)
    )
    return tuple(found), tuple(said)


def known_between(
    known: Sequence[KnownElevation], start: float, end: float
) -> tuple[tuple[KnownElevation, ...], tuple[str, ...]]:
    """Those on the part of a line from ``start`` to ``end`` [m], chainage from there, and what was left out."""
    kept = tuple(dataclasses.replace(k, chainage=k.chainage - start) for k in known if start <= k.chainage <= end)
    if len(kept) == len(known):
        return kept, ()
    return kept, (f"{_some(len(known) - len(kept), len(known))}: off the part of the line that is kept",)


def shift_words(above: str, wanted: str, shift: Shift) -> str:
    """What a change of datum did."""
    low, high = float(shift.metres.min()), float(shift.metres.max())
    figures = f"{low:+.2f} m" if high - low < 0.005 else f"{low:+.2f} to {high:+.2f} m"
    sure = "accuracy not stated" if shift.accuracy is None else f"good to {shift.accuracy:g} m"
    return f"brought from {above} to {wanted}, {figures}, by {shift.operation} ({sure})"


def _some(number: int, whole: int) -> str:
    if whole == 1:
        return "the known elevation"
    return f"all {whole} known elevations" if number == whole else f"{number} of {whole} known elevations"
