"""The tables of a briefing: metric always, units in the column names, positions by the route's own chainage.

Rows stand in order of travel; grades and forces are as travelled. Vehicles are counted from 1 at the head end.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from profiler.briefing.plan import Briefing, StartPlace
from profiler.briefing.running import SAID_EVERY
from profiler.briefing.words import mark_words, reliefs_words
from profiler.handling.start import StartSequence
from profiler.handling.starting import NO_NOTCH, Starting
from profiler.mark import Mark
from profiler.mechanics.places import Climb
from profiler.mechanics.power_needed import HelperDistrict
from profiler.units import BAR, KMH, PERCENT, TONNE, FloatArray
from profiler.write.cells import Columns, Texts, fixed, post_cells
from profiler.write.datapackage import write_package
from profiler.write.descents import descent_tables
from profiler.write.in_train import in_train_tables
from profiler.write.places import KN, at_head, by_case, kilonewtons, whole, yes
from profiler.write.what_if import what_if_tables

_MARK_PLACES = ("earliest", "recommended", "latest", "quarter", "half", "three_quarter", "clear")
_MARK_UNITS = {
    "N": ("kN", KN, 1),
    "m/m": ("%", PERCENT, 3),
    "m/s": ("km/h", KMH, 1),
    "Pa": ("bar", BAR, 3),
    "": ("", 1.0, 3),
}
_ACT_UNITS = {"N": ("kN", KN), "Pa": ("bar", BAR), "m/s": ("km/h", KMH), "": ("", 1.0)}
_PAST = ("0", "0.25", "0.5", "0.75", "1")
_TOLD_EVERY = 5.0
"""A start is told so often. [s]"""


def write_briefing_tables(briefing: Briefing, folder: Path) -> None:
    """Write every table of a briefing, each a .csv, into ``folder``, and datapackage.json, which describes them.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    write_package(briefing.profile, briefing_tables(briefing), folder)


def briefing_tables(briefing: Briefing) -> dict[str, Columns]:
    """Every table of a briefing by its name; remote, helpers and transient forces only where there are any."""
    tables = {
        "under_train": by_case(briefing, _under_train),
        "marks": by_case(briefing, _marks),
        "starting": _starting(briefing),
        "starting_sequence": _sequences(briefing),
        "rolled_back": _rolled_back(briefing),
        "climbs": _climbs(briefing),
        "units_to_use": _units(briefing),
        **descent_tables(briefing),
        **what_if_tables(briefing),
    }
    if briefing.rating is not None:
        tables["rating"] = _rating(briefing)
    if briefing.remote is not None:
        tables["remote"] = _remote(briefing)
    if briefing.felt:
        tables |= in_train_tables(briefing)
    if briefing.helpers:
        tables["helpers"] = _helpers(briefing)
    return tables


def _ends(briefing: Briefing, stretches: Sequence[Climb] | Sequence[HelperDistrict]) -> dict[str, list[str]]:
    """Chainages of the ends of stretches, in order of travel."""
    start, end = (briefing.terrain.chainage(np.array([getattr(s, x) for s in stretches])) for x in ("start", "end"))
    return {"start_m": fixed(start, 1), "end_m": fixed(end, 1)}


def _under_train(briefing: Briefing) -> Columns:
    run, start = briefing.running, briefing.everywhere
    head, needed, full = run.pull.head, run.pull.needed, run.pull.full
    peaks = [int(np.argmax(x)) for x in (needed.draft, needed.buff, full.draft)]
    row = np.unique(np.r_[np.arange(0, head.size, SAID_EVERY), head.size - 1, peaks])
    station = np.clip(np.searchsorted(start.head, head[row]), 0, start.head.size - 1)
    return {
        **at_head(briefing, head[row]),
        "grade_under_train_pct": fixed(run.under.grade[row] / PERCENT, 4),
        "grade_under_train_se_pct": fixed(run.grade_se[row] / PERCENT, 4),
        "speed_kmh": fixed(run.pull.speed[row] / KMH, 1),
        "grade_kn": kilonewtons(run.under.grade_force[row]),
        "curve_kn": kilonewtons(run.under.curve_force[row]),
        "resistance_kn": kilonewtons(run.rolling[row]),
        "required_kn": kilonewtons(run.needed[row]),
        "available_kn": kilonewtons(run.available[row]),
        "draft_kn": kilonewtons(needed.draft[row]),
        "draft_behind_vehicle": whole(needed.draft_at[row] + 1),
        "buff_kn": kilonewtons(needed.buff[row]),
        "buff_behind_vehicle": whole(needed.buff_at[row] + 1),
        "full_draft_kn": kilonewtons(full.draft[row]),
        "full_draft_behind_vehicle": whole(full.draft_at[row] + 1),
        "start_required_kn": kilonewtons(np.interp(head[row], start.head, start.need)),
        "start_draft_kn": kilonewtons(np.interp(head[row], start.head, start.draft)),
        "start_notch": _notches(start.notch[station]),
        "starts": yes(start.starts[station]),
        "start_probability": fixed(start.probability[station], 2),
    }


def _notches(notches: FloatArray | Sequence[int]) -> list[str]:
    """Empty where none does."""
    return ["" if notch == NO_NOTCH else str(int(notch)) for notch in notches]


def _marks(briefing: Briefing) -> Columns:
    marks = briefing.marks
    return {
        "number": [str(mark.number or "") for mark in marks],
        "kind": [mark.kind for mark in marks],
        "post": post_cells(briefing.profile.route.posts, [mark.recommended for mark in marks]),
        **{f"{name}_m": fixed([getattr(mark, name) for mark in marks], 1) for name in _MARK_PLACES},
        "value": [_mark_value(mark) for mark in marks],
        "unit": [_MARK_UNITS[mark.unit][0] for mark in marks],
        "probability": fixed([mark.probability for mark in marks], 3),
        "reason": Texts(mark_words(mark, briefing.train, "metric", briefing.profile.route.posts) for mark in marks),
    }


def _mark_value(mark: Mark) -> str:
    _, size, decimals = _MARK_UNITS[mark.unit]
    return fixed([mark.value / size], decimals)[0]


def _starting(briefing: Briefing) -> Columns:
    """Places first, then crests with none to all of the train past them."""
    parts = [_starts(briefing, briefing.places, briefing.at_places, [""] * len(briefing.places))]
    for astride in briefing.astride:
        here = [StartPlace("crest", "astride", float(x)) for x in astride.starting.head]
        part = _starts(briefing, here, astride.starting, _PAST)
        parts.append({**part, "start_probability": [""] * len(here)})  # the draws were not asked
    whole: dict[str, list[str]] = {name: [cell for part in parts for cell in part[name]] for name in parts[0]}
    return {**whole, "place": Texts(whole["place"]), "helps": Texts(whole["helps"])}


def _starts(
    briefing: Briefing, places: Sequence[StartPlace], found: Starting, past: Sequence[str]
) -> Mapping[str, Sequence[str]]:
    def same(value: float) -> FloatArray:
        return np.full(found.head.shape, value)

    return {
        "place": [place.name for place in places],
        "kind": [place.kind for place in places],
        "past_crest": list(past),
        **at_head(briefing, found.head),
        "grade_kn": kilonewtons(found.grade),
        "curve_kn": kilonewtons(found.curve),
        "breakaway_kn": kilonewtons(same(found.breakaway)),
        "inertia_kn": kilonewtons(same(found.inertia)),
        "required_kn": kilonewtons(found.need),
        "available_kn": kilonewtons(same(found.available)),
        "margin_kn": kilonewtons(found.margin),
        "start_notch": _notches(found.notch),
        "starts": yes(found.starts),
        "start_probability": fixed(found.probability, 2),
        "limited_by": [str(word) for word in found.limited_by],
        "draft_kn": kilonewtons(found.draft),
        "draft_behind_vehicle": whole(found.draft_at + 1),
        "over_limit_kn": kilonewtons(np.maximum(found.draft - found.draft_limit, 0.0)),
        "buff_kn": kilonewtons(found.buff),
        "buff_behind_vehicle": whole(found.buff_at + 1),
        "independent_kn": kilonewtons(same(found.independent)),
        "independent_holds": yes(found.independent_holds),
        "part_before_line": yes(found.continued),
        "helps": [reliefs_words(place.reliefs, "metric") for place in places],
    }


def _sequences(briefing: Briefing) -> Columns:
    rows: list[tuple[int, StartSequence, int, str, str, str]] = []
    for place, sequence in briefing.sequences:
        rows += [(place, sequence, *row) for row in _told(sequence)]
    at = [(sequence.run, min(i, sequence.run.time.size - 1)) for _, sequence, i, *_ in rows]
    last = [sequence.run.time[-1] for _, sequence, *_ in rows]
    time = [i * float(s.run.time[1]) for _, s, i, *_ in rows]
    gone = [t > end for t, end in zip(time, last, strict=True)]

    def of_run(name: str, size: float, decimals: int) -> list[str]:
        values = [None if past else getattr(run, name)[i] / size for (run, i), past in zip(at, gone, strict=True)]
        return fixed(values, decimals)

    return {
        "place": Texts(briefing.places[place].name for place, *_ in rows),
        "kind": [briefing.places[place].kind for place, *_ in rows],
        **at_head(briefing, [sequence.head for _, sequence, *_ in rows]),
        "time_s": fixed(time, 1),
        "act": [row[3] for row in rows],
        "value": [row[4] for row in rows],
        "unit": [row[5] for row in rows],
        "moved_m": of_run("moved", 1.0, 1),
        "speed_kmh": of_run("speed", KMH, 1),
        "notch": ["" if past else str(int(run.notch[i])) for (run, i), past in zip(at, gone, strict=True)],
        "effort_kn": of_run("effort", KN, 1),
        "air_brake_kn": of_run("air", KN, 1),
        "independent_kn": of_run("independent", KN, 1),
    }


def _told(sequence: StartSequence) -> Iterator[tuple[int, str, str, str]]:
    """Steps of the run with act, value and unit: every act, and the run itself while it starts."""
    step = float(sequence.run.time[1])
    under_way = sequence.run.under_way
    until = min(under_way + 30.0 if np.isfinite(under_way) else 120.0, float(sequence.run.time[-1]))
    told = [(float(t), "", "", "") for t in np.arange(0.0, until + step / 2, _TOLD_EVERY)]
    for one in sequence.acts:
        unit, size = _ACT_UNITS[one.unit]
        told.append((one.time, one.kind, fixed([one.value / size], 2)[0] if one.value or unit else "", unit))
    for time, act, value, unit in sorted(told, key=lambda row: row[0]):
        yield round(time / step), act, value, unit


def _rolled_back(briefing: Briefing) -> Columns:
    rows = [(place, sequence, slip) for place, sequence in briefing.sequences for slip in sequence.slips]
    return {
        "place": Texts(briefing.places[place].name for place, *_ in rows),
        "kind": [briefing.places[place].kind for place, *_ in rows],
        **at_head(briefing, [sequence.head for _, sequence, _ in rows]),
        "notch_late_s": fixed([slip.late for *_, slip in rows], 0),
        "independent": ["dropped" if slip.dropped else "eased" for *_, slip in rows],
        "back_m": fixed([slip.back for *_, slip in rows], 1),
        "speed_kmh": fixed([slip.speed / KMH for *_, slip in rows], 1),
    }


def _rating(briefing: Briefing) -> Columns:
    rating = briefing.rating
    assert rating is not None
    ruled, size = rating.ruled, len(rating.ruled)
    return {
        "rule": [r.rule for r in ruled],
        "trailing_t": fixed([r.mass / TONNE for r in ruled], 0),
        "low_t": fixed([None if r.low is None else r.low / TONNE for r in ruled], 0),
        "high_t": fixed([None if r.high is None else r.high / TONNE for r in ruled], 0),
        "rules": yes([r is rating.ruling for r in ruled]),
        "given_t": fixed([rating.given / TONNE] * size, 0),
        "enough": yes([rating.given <= r.mass for r in ruled]),
        "train_length_m": fixed([r.length for r in ruled], 0),
        **at_head(briefing, [r.head for r in ruled]),
        "compensated_grade_pct": fixed([None if r.grade is None else r.grade / PERCENT for r in ruled], 3),
        "minimum_speed_kmh": fixed([rating.speed / KMH] * size, 1),
    }


def _climbs(briefing: Briefing) -> Columns:
    speeds, units = briefing.speeds, briefing.units
    return {
        "kind": [s.climb.kind for s in speeds],
        **_ends(briefing, [s.climb for s in speeds]),
        **at_head(briefing, [s.head for s in speeds]),
        "compensated_grade_pct": fixed([s.grade / PERCENT for s in speeds], 3),
        "balance_speed_kmh": fixed([s.speed / KMH for s in speeds], 1),
        "short_time_s": fixed([s.short_time if np.isfinite(s.short_time) else None for s in speeds], 0),
        "enough": yes([s.enough for s in speeds]),
        "start_required_kn": kilonewtons([u.start_need for u in units]),
        "head_limit_kn": kilonewtons([u.head_limit for u in units]),
        "fewest_units": whole([u.fewest for u in units]),
        "most_units": whole([u.most for u in units]),
        "refused": yes([u.refused for u in units]),
    }


def _units(briefing: Briefing) -> Columns:
    rows = [(u, p) for u in briefing.units for p in u.pulling]
    return {
        "kind": [u.climb.kind for u, _ in rows],
        **_ends(briefing, [u.climb for u, _ in rows]),
        "units": [str(p.units) for _, p in rows],
        **at_head(briefing, [p.at for _, p in rows]),
        "starts": yes([p.starts for _, p in rows]),
        "speed_kmh": fixed([p.speed / KMH for _, p in rows], 1),
        "holds_speed": yes([p.holds for _, p in rows]),
        "draft_kn": kilonewtons([p.needed_draft for _, p in rows]),
        "full_draft_kn": kilonewtons([p.full_draft for _, p in rows]),
        "full_draft_behind_vehicle": whole([p.vehicle + 1 for _, p in rows]),
        "over_limit_kn": kilonewtons([p.excess for _, p in rows]),
    }


def _remote(briefing: Briefing) -> Columns:
    remote = briefing.remote
    assert remote is not None
    places = remote.standings
    return {
        "units": [str(remote.units)] * len(places),
        "cars_ahead": [str(p.cars_ahead) for p in places],
        "cars_ahead_share": fixed([p.back for p in places], 3),
        "draft_kn": kilonewtons([p.draft for p in places]),
        "over_limit_kn": kilonewtons([p.excess for p in places]),
        "buff_kn": kilonewtons([p.buff for p in places]),
        "rms_kn": kilonewtons([p.rms for p in places]),
        "now": yes([p == remote.now for p in places]),
        "best": yes([p == remote.best for p in places]),
    }


def _helpers(briefing: Briefing) -> Columns:
    helpers = briefing.helpers
    return {
        **_ends(briefing, helpers),
        **at_head(briefing, [h.at for h in helpers]),
        "missing_kn": kilonewtons([h.missing for h in helpers]),
        "units": whole([h.units for h in helpers]),
    }
