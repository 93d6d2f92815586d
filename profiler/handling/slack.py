"""Where the slack of a train runs in and out along a run, why, and which way it is customarily kept.

By steady forces, slack at rest and acts gradual: they tell where slack changes sides, not how hard it does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from profiler.cited import Cited
from profiler.handling.straddles import TrainStraddle
from profiler.landmark import SHOWN_FROM
from profiler.mark import Figure, Mark
from profiler.mechanics.in_train import EVERY, InTrain
from profiler.mechanics.terrain import Terrain
from profiler.train import Train
from profiler.units import FloatArray

FELT = Cited(50, "kn", "choice")
"""Slack counts as moved where a coupler goes from draft to buff, or back, by so much: about what bunches the slack of
a light train, 15 % of the dynamic brake of two units. Less moves slack too, but nobody feels it. [N]"""
PART = Cited(1 / 3, "", "choice")
"""And where it does so in this part of all couplers. [-]"""
APART = Cited(500, "m", "choice")
"""Changes nearer than this, or than the length of the train, are of one piece. [m]"""
STRETCHED, BUNCHED = 1, -1
BY_ACTS = {
    "effort": ("power_on", "power_off"),
    "dynamic": ("dynamic_brake", "dynamic_off"),
    "air": ("air_step", "release"),
}
"""Reasons of a change that acts bring about: by what moves the couplers most, as it rises or falls."""
BY_LINE = ("crest", "sag", "grade_break", "line")
"""Reasons of a change that grades under the train bring about; "line" where no landmark tells."""


@dataclass(frozen=True, kw_only=True)
class SlackChange:
    """Slack that runs in (``bunches``) or out in a good part of the train.

    Over instants ``first`` to ``last`` of the forces, half of it by ``middle``. Of the couplers that change sides the
    one behind ``vehicle`` has the greatest change of force, from ``before`` to ``after``, + draft [N], there and just
    before and beyond. ``cause`` is what moves all of them most, one of `BY_ACTS` or "line", and ``by_acts`` the part
    that acts have in it [-]. The place where draft turns to buff walks from behind ``node_from`` to behind ``node_to``;
    vehicles are counted from 0 at the head. ``bunched`` is the part of all couplers in buff before and after [-].
    """

    bunches: bool
    first: int
    middle: int
    last: int
    vehicle: int
    before: float
    after: float
    cause: str
    by_acts: float
    node_from: int
    node_to: int
    bunched: tuple[float, float]


def slack_state(force: FloatArray) -> FloatArray:
    """Whether each coupler (t, v - 1) is `STRETCHED` or `BUNCHED`: once `FELT` apart, till then as it was.

    Of forces [N], + draft. 0 until it is known.
    """
    known = np.abs(force) > FELT / 2
    last = np.maximum.accumulate(np.where(known, np.arange(force.shape[0])[:, None], -1), axis=0)
    sign = np.sign(np.take_along_axis(force, np.maximum(last, 0), axis=0))
    return np.where(last >= 0, sign, 0.0)


def slack_changes(train: Train, forces: InTrain) -> tuple[SlackChange, ...]:
    """Changes of slack along a run of a train, in order of travel.

    None over a gap between two runs, nor where a run begins, with whatever slack it has then.
    """
    gap = np.flatnonzero(np.diff(forces.head) > 2 * EVERY) + 1
    found: list[SlackChange] = []
    for first, end in zip(np.r_[0, gap], np.r_[gap, forces.head.size], strict=True):
        state = slack_state(forces.force[first:end])
        bunched = (state == BUNCHED).mean(axis=1)
        for a, b in _swings(bunched):
            span = _steepest(bunched, forces.head[first:end], a, b, 2 * _reach(train))
            if span is not None and forces.head[first + span[0]] >= forces.head[first] + EVERY:
                found.append(_change(forces, state, bunched, int(first), *span, _reach(train) / 4))
    return tuple(change for change in found if abs(change.after - change.before) >= FELT)


def _reach(train: Train) -> float:
    """Changes nearer than this are of one piece. [m]"""
    return max(train.length, float(APART))


def _swings(level: FloatArray) -> list[tuple[int, int]]:
    """From where to where a level (t,) rises or falls by `PART` and more, lesser swings back left out."""
    turns, low, high, sense = [], 0, 0, 0
    for i, value in enumerate(level):
        high = i if value >= level[high] else high
        low = i if value <= level[low] else low
        if sense >= 0 and level[high] - value >= PART:
            turns.append(high)
            low, high, sense = i, i, -1
        elif sense <= 0 and value - level[low] >= PART:
            turns.append(low)
            low, high, sense = i, i, 1
    if sense:
        turns.append(high if sense > 0 else low)
    return list(pairwise(turns))


def _steepest(level: FloatArray, head: FloatArray, a: int, b: int, reach: float) -> tuple[int, int] | None:
    """The most that a swing from ``a`` to ``b`` does within a reach [m], what comes before and after cut off.

    None where that is less than `PART`.
    """
    up = level[a : b + 1] * np.sign(level[b] - level[a])
    ends = np.searchsorted(head[a : b + 1], head[a : b + 1] + reach, side="right")
    most = np.array([up[i:end].max() - up[i] for i, end in enumerate(ends)])
    i = int(most.argmax())
    if most[i] < PART - 1e-9:
        return None
    j = i + int(up[i : ends[i]].argmax())
    i = j - int(np.argmax(up[i : j + 1][::-1] <= up[i]))
    return a + i, a + j


def _change(
    forces: InTrain, state: FloatArray, bunched: FloatArray, first: int, a: int, b: int, margin: float
) -> SlackChange:
    """One change, from ``a`` to ``b`` of the instants from ``first`` on; forces are looked for a margin [m] about."""
    after = BUNCHED if bunched[b] > bunched[a] else STRETCHED
    moved = (state[b] == after) & (state[a] != after)
    when = (state[a : b + 1] == after).argmax(axis=0)
    order = np.flatnonzero(moved)[np.argsort(when[moved], kind="stable")]
    head = forces.head[first : first + bunched.size]
    from_, to = (
        first + low + (sign * forces.force[first + low : first + high + 1, order]).argmax(axis=0)
        for sign, low, high in (
            (-after, int(np.searchsorted(head, head[a] - margin)), b),
            (after, a, int(np.searchsorted(head, head[b] + margin, side="right")) - 1),
        )
    )
    before, beyond = forces.force[from_, order], forces.force[to, order]
    k = int(np.argmax(np.abs(beyond - before) * np.where(before * beyond < 0, 1.0, 1e-6)))
    parts = {name: getattr(forces, f"by_{name}") for name in BY_ACTS}
    moved_by = {name: float((after * (part[to, order] - part[from_, order])).sum()) for name, part in parts.items()}
    whole, acts = float((after * (beyond - before)).sum()), sum(moved_by.values())
    most = max(moved_by, key=lambda name: moved_by[name])
    falls = bool(getattr(forces, most)[to[k]] < getattr(forces, most)[from_[k]])
    half = (bunched[a] + bunched[b]) / 2
    middle = int(np.argmax((bunched[a : b + 1] - half) * -after >= 0))
    return SlackChange(
        bunches=after == BUNCHED,
        first=first + a,
        middle=first + a + middle,
        last=first + b,
        vehicle=int(order[k]),
        before=float(before[k]),
        after=float(beyond[k]),
        cause=BY_ACTS[most][falls] if acts > whole / 2 else "line",
        by_acts=float(np.clip(acts / whole, 0.0, 1.0)),
        node_from=int(order[0]),
        node_to=int(order[-1]),
        bunched=(float(bunched[a]), float(bunched[b])),
    )


def slack_marks(
    train: Train,
    terrain: Terrain,
    forces: InTrain,
    straddles: Sequence[TrainStraddle] = (),
) -> tuple[Mark, ...]:
    """Marks of kinds "slack_in" and "slack_out", not yet numbered, in order of travel.

    Parameters
    ----------
    train : Train
    terrain : Terrain
        Its line; the direction of the marks.
    forces : InTrain
        Of that train along a run on that line.
    straddles : sequence of TrainStraddle
        Landmarks that it lies astride of, as `straddles.train_straddles` gives them.

    Notes
    -----
    Changes nearer than the length of the train are of one piece: where it ends as it began, slack is customarily
    kept as it was before, elsewhere as it is after (common practice, no source). Three and more are one mark,
    "undulation". Changes of power are customarily finished before the head enters a sag (common practice, no source):
    ``finish_by`` among the figures, by chainage.
    """
    marks = []
    for piece in _pieces(slack_changes(train, forces), forces, _reach(train)):
        returns = len(piece) % 2 == 0
        stretched = piece[0].bunches if returns else not piece[0].bunches
        for part in [piece] if len(piece) > 2 else [[change] for change in piece]:
            marks.append(_mark(part, stretched, returns, terrain, forces, straddles))
    return tuple(marks)


def _pieces(changes: Sequence[SlackChange], forces: InTrain, reach: float) -> list[list[SlackChange]]:
    """Changes of one piece together: there and back, and again."""
    pieces: list[list[SlackChange]] = []
    for change in changes:
        last = pieces[-1][-1] if pieces else None
        near = last is not None and forces.head[change.first] - forces.head[last.last] <= reach
        if last is not None and near and change.bunches != last.bunches:
            pieces[-1].append(change)
        else:
            pieces.append([change])
    return pieces


def _mark(
    part: Sequence[SlackChange],
    stretched: bool,
    returns: bool,
    terrain: Terrain,
    forces: InTrain,
    straddles: Sequence[TrainStraddle],
) -> Mark:
    """The mark of a change, or of several to and fro."""
    change = max(part, key=lambda one: abs(one.after - one.before)) if len(part) > 2 else part[0]
    first, last = float(forces.head[part[0].first]), float(forces.head[part[-1].last])
    astride = _astride(terrain, straddles, first, last if len(part) > 2 else float(forces.head[change.middle]))
    sags = [s for s in astride if s.straddle.kind == "sag"]
    figures = [
        Figure("before", change.before, "N"),
        Figure("after", change.after, "N"),
        Figure("behind", change.vehicle + 1.0, ""),
        Figure("node_from", change.node_from + 1.0, ""),
        Figure("node_to", change.node_to + 1.0, ""),
        Figure("bunched_before", change.bunched[0], ""),
        Figure("bunched_after", change.bunched[1], ""),
        Figure("by_acts", change.by_acts, ""),
        Figure("keep_stretched", float(stretched), ""),
        Figure("returns", float(returns), ""),
        Figure("changes", float(len(part)), ""),
    ]
    if sags:
        figures.append(Figure("finish_by", float(sags[0].straddle.head), "m"))
    if astride:
        figures.append(Figure("landmark", float(astride[0].straddle.landmark), ""))
    places = (float(terrain.chainage(x)) for x in (first, forces.head[change.middle], last))
    earliest, half, latest = places
    return Mark(
        number=0,
        kind="slack_in" if change.bunches else "slack_out",
        direction=terrain.direction,
        earliest=earliest,
        recommended=half,
        latest=latest,
        value=change.after - change.before,
        unit="N",
        reason=_reason(part, change, astride),
        figures=tuple(figures),
    )


def _astride(terrain: Terrain, straddles: Sequence[TrainStraddle], first: float, last: float) -> list[TrainStraddle]:
    """Landmarks astride of which the train lies over a stretch of head positions [m], the sharpest first."""
    found = []
    for one in straddles:
        head, clear = sorted(float(terrain.way_at(x)) for x in (one.straddle.head, one.straddle.clear))
        if one.probability >= SHOWN_FROM and head <= last and clear >= first:
            found.append(one)
    return sorted(found, key=lambda one: -abs(one.change))


def _reason(part: Sequence[SlackChange], change: SlackChange, astride: Sequence[TrainStraddle]) -> str:
    """Why: one of `BY_ACTS` where acts do most of it, else of `BY_LINE`; "undulation" of several."""
    if len(part) > 2:
        return "undulation"
    if change.cause == "line" and astride:
        return astride[0].straddle.kind
    return change.cause
