"""One train of a page, in plain values: what it is, and what it feels and does along the line, case by case."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import draft_sentences, train_sentence, vehicle_words
from profiler.mark import Mark
from profiler.mechanics.couplers import largest
from profiler.mechanics.in_train import InTrain
from profiler.mechanics.speed_limits import head_limit
from profiler.present.page_felt import felt_notes, with_felt_places
from profiler.present.page_line import UNITS, read_in
from profiler.present.page_pack import Packed, Packer
from profiler.present.train_map import SIGNS, map_mark
from profiler.present.train_marks import window_of
from profiler.present.train_signs import BEGIN, SLACK
from profiler.train import Train
from profiler.train_words import mass_text
from profiler.units import FloatArray

HEAD = 100.0
"""Everything about a train is told for head positions no farther apart than this. [m]"""
_LEVELS = 127
"""Steps of the outline of coupler forces."""
_APART = 150.0
"""The train is not run where the run by plan has no instant so near. [m]"""
_FORCE, _GRADE, _SPEED, _TIME = 100.0, 2e-6, 0.01, 0.1
_PLACES = ("quarter", "half", "three_quarter")


def train_data(train: Train) -> dict[str, Any]:
    """What a train is: its vehicles from the head by where they end behind it [m], and what its couplers may carry."""
    kinds = [train.blocks[b].vehicle.kind for b in train.vehicle_block]
    limits = train.limits
    return {
        "name": train.name,
        "size": {u: f"{wording.short_length_text(train.length, u)}, {mass_text(train.mass, u)}" for u in UNITS},
        "length": round(train.length, 2),
        "edges": [round(float(x), 2) for x in (*train.vehicle_heads, train.length)],
        "groups": [[round(group.start, 2), round(group.end, 2)] for group in train.groups],
        "power": [int(kind == "locomotive") for kind in kinds],
        "vehicles": [vehicle_words(train, i) for i in range(train.vehicles)],
        "pull": {"caution": float(limits.draft_caution), "limit": float(limits.draft)},
        "push": {"limit": float(limits.buff)},
    }


def trip_data(briefing: Briefing, packer: Packer) -> dict[str, Any]:
    """What a train feels and does in one direction: at steady speed, and as run by plan in every case."""
    head = heads(briefing)
    run, route, train = briefing.running, briefing.profile.route, briefing.train
    peaks = [plan.forces.peaks for plan in briefing.plans]
    limit = head_limit((*route.limits, *route.slow_orders), briefing.terrain, train.length, train.train_class)

    def along(values: FloatArray, step: float) -> Packed:
        return packer.add(np.interp(head, run.pull.head, values), step)

    return {
        "told": {u: [train_sentence(read_in(briefing, u)), *draft_sentences(read_in(briefing, u))] for u in UNITS},
        "felt": {u: felt_notes(read_in(briefing, u)) for u in UNITS},
        "grade": along(run.under.grade, _GRADE),
        "grade_se": along(run.grade_se, _GRADE),
        "limit": {
            "edges": [round(float(x), 1) for x in limit.edge],
            "speeds": [round(float(v), 4) if math.isfinite(v) else None for v in limit.speed],
        },
        "most": {
            "draft": max(float(p.draft.max(initial=0.0)) for p in peaks),
            "buff": max(float(p.buff.max(initial=0.0)) for p in peaks),
        },
        "cases": {plan.case: _case(briefing.as_case(plan.case), head, packer) for plan in briefing.plans},
    }


def heads(briefing: Briefing) -> FloatArray:
    """Head positions by distance travelled that a page tells of, evenly from end to end. [m]"""
    length = briefing.terrain.length
    return np.linspace(0.0, length, int(np.ceil(length / HEAD)) + 1)


def _case(briefing: Briefing, head: FloatArray, packer: Packer) -> dict[str, Any]:
    trip, steady, (force, known) = briefing.journey, briefing.running, forces_at(briefing.forces, head)
    draft, draft_at, buff, buff_at = largest(force) if force.shape[1] else (np.zeros(head.size),) * 4
    place, first = np.unique(trip.head, return_index=True)

    def run(values: FloatArray, step: float) -> Packed:
        return packer.add(np.where(known, np.interp(head, place, values[first]), np.nan), step)

    def carried(values: FloatArray, step: float) -> Packed:
        return packer.add(np.where(known, values, np.nan), step)

    def along(values: FloatArray, step: float) -> Packed:
        return packer.add(np.interp(head, steady.pull.head, values), step)

    return {
        "needed": along(steady.needed, _FORCE),
        "available": along(steady.available, _FORCE),
        "steady": along(steady.pull.speed, _SPEED),
        "time": run(trip.time, _TIME),
        "speed": run(trip.speed, _SPEED),
        "effort": run(trip.effort, _FORCE),
        "notch": packer.add(np.where(known, _latest(head, place, trip.notch[first]), np.nan), 1.0),
        "dynamic": run(trip.dynamic, _FORCE),
        "share": run(trip.share, 0.001),
        "reduction": packer.add(np.where(known, _latest(head, place, trip.reduction[first]), np.nan), 100.0),
        "force": packer.add_fine(np.where(known[:, None], force, np.nan), _LEVELS),
        "draft": carried(draft, _FORCE),
        "draft_at": carried(draft_at, 1.0),
        "buff": carried(buff, _FORCE),
        "buff_at": carried(buff_at, 1.0),
        "marks": with_felt_places(briefing, marks_data(briefing), packer),
    }


def _latest(head: FloatArray, place: FloatArray, values: FloatArray) -> FloatArray:
    """Of what goes by steps, the last value before each head position."""
    return np.asarray(values[np.clip(np.searchsorted(place, head, side="right") - 1, 0, place.size - 1)])


def forces_at(forces: InTrain, head: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Coupler forces (h, v - 1) [N] of a run at head positions [m], and whether it passes them (h,)."""
    place, first = np.unique(forces.head, return_index=True)
    if place.size < 2:
        return np.zeros((head.size, forces.force.shape[1])), np.zeros(head.size, dtype=bool)
    after = np.clip(np.searchsorted(place, head), 1, place.size - 1)
    a, b = place[after - 1], place[after]
    share = np.clip((head - a) / (b - a), 0.0, 1.0)[:, None]
    force = forces.force[first]
    near = np.minimum(np.abs(head - a), np.abs(b - head)) <= _APART
    return force[after - 1] * (1 - share) + force[after] * share, near


def marks_data(briefing: Briefing) -> list[dict[str, Any]]:
    """Marks that reach the line, in order of travel, by distance travelled and in words of both units."""
    length = briefing.terrain.length
    read = [read_in(briefing, units) for units in UNITS]
    found = []
    for mark in briefing.marks:
        us, metric = (map_mark(one, mark) for one in read)
        if us["end"] < 0 or us["start"] >= length:
            continue
        found.append(
            {
                "number": 0 if mark.kind in SLACK else mark.number,
                "sign": SIGNS[mark.kind],
                **{key: us[key] for key in ("start", "at", "end")},
                "quarters": _quarters(briefing, mark),
                "crest": mark.kind == "straddle" and "crest" in mark.reason,
                **_ends(briefing, mark),
                "where": where_words(briefing, mark),
                "inside": inside_words(briefing, mark),
                "us": {"title": us["title"], "lines": _lines(mark, us)},
                "metric": {"title": metric["title"], "lines": _lines(mark, metric)},
            }
        )
    return found


def _quarters(briefing: Briefing, mark: Mark) -> list[float]:
    places = [getattr(mark, name) for name in _PLACES]
    return [round(float(briefing.terrain.way_at(x)), 1) for x in places] if None not in places else []


def _ends(briefing: Briefing, mark: Mark) -> dict[str, bool]:
    if mark.kind not in BEGIN:
        return {"opens": True, "ends": True, "empty": False}
    return dataclasses.asdict(window_of(mark, briefing.terrain))


def _lines(mark: Mark, words: dict[str, Any]) -> Sequence[str]:
    """What a mark says when it is opened: places in full, reason, figures, and how sure."""
    sure = [wording.probability_words(mark.probability)] if mark.probability < 0.995 else []
    return [words["where"], *words["lines"], *sure]


def where_words(briefing: Briefing, mark: Mark) -> str:
    """Places of a mark for a list: "begins 64.2, best 64.6, last 65.0", "astride 54.3 to 55.3", "from 58.3 to 61.7"."""
    first, best, last = _posts(briefing, mark)
    if mark.kind in BEGIN:
        return window_of(mark, briefing.terrain).words(first, best, last)
    if mark.kind == "straddle":
        return f"astride {first} to {last}"
    return f"from {first} to {last}" if first != last else f"at {first}"


def inside_words(briefing: Briefing, mark: Mark) -> tuple[str, str]:
    """The same while the head is inside, what is bold and what follows: ("open", ", best 54.6, last 54.8")."""
    _, best, last = _posts(briefing, mark)
    if mark.kind in BEGIN:
        return "open", f", {window_of(mark, briefing.terrain).last_words(best, last)}"
    bold = {"straddle": "astride", "do_not_stop": "do not stop", "start_hard": "start hard", "not_held": "not held"}
    return bold.get(mark.kind, "here"), f" until {last}"


def _posts(briefing: Briefing, mark: Mark) -> tuple[str, str, str]:
    posts = briefing.profile.route.posts
    first, best, last = (wording.post_text(posts, x) for x in (mark.earliest, mark.recommended, mark.latest))
    return first, best, last
