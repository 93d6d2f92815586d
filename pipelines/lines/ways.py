"""Ways over tracks that meet, as a train runs them: it never turns back at a switch (pure)."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Collection, Sequence

import numpy as np

from pipelines.lines.meeting import Contact
from pipelines.lines.tracks import FloatArray, Track

ON = 0.0
"""Cosine between the ways before and behind a switch from which on a train goes over it."""

Leg = tuple[int, float, float]
"""A track, and from where to where along it [m]."""

_State = tuple[int, int, int]  # track, number of a spot on it, direction


class Ways:
    """Spots on tracks, and which of them are one place. ``more`` spots (track, along [m]) belong to no contact."""

    def __init__(
        self, tracks: Sequence[Track], contacts: Sequence[Contact], more: Sequence[tuple[int, float]] = ()
    ) -> None:
        self._tracks = tracks
        pairs = [((c.track, c.at), (c.other, c.other_at)) for c in contacts]
        spots: dict[int, set[float]] = {t: {0.0, track.length} for t, track in enumerate(tracks)}
        for t, at in [*(spot for pair in pairs for spot in pair), *more]:
            spots[t].add(at)
        self.spots = {t: sorted(found) for t, found in spots.items()}
        self._number = {(t, at): i for t, found in self.spots.items() for i, at in enumerate(found)}
        self._beyond: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
        for one, other in pairs:
            a, b = ((t, self._number[t, at]) for t, at in (one, other))
            self._beyond[a].append(b)
            self._beyond[b].append(a)
        self._headings: dict[_State, FloatArray] = {}

    def between(self, start: Sequence[tuple[int, float]], end: Sequence[tuple[int, float]]) -> list[Leg]:
        """The shortest way from one of some spots that were given to one of others; empty where no train gets there."""
        begin, goals = ([(t, self._number[t, at], d) for t, at in spots for d in (1, -1)] for spots in (start, end))
        return self._way(begin, goals, np.inf, ())

    def smooth(self, track: int, longest: float, without: Collection[int]) -> list[Leg]:
        """The shortest way from where a track begins to where it ends that does not use it, up to a length [m]."""
        last = len(self.spots[track]) - 1
        closed = {*without, track}
        begin, goals = (self._on((track, i, 1), closed) for i in (0, last))
        return self._way(begin, set(goals), longest, closed)

    def _heading(self, state: _State) -> FloatArray:
        if state not in self._headings:
            t, i, d = state
            at = self.spots[t][i]
            here = self._tracks[t].heading(at, d)
            # at its very end a track goes on as it came
            self._headings[state] = here if here.any() else -self._tracks[t].heading(at, -d)
        return self._headings[state]

    def _on(self, state: _State, closed: Collection[int]) -> list[_State]:
        """States a train comes to at the same place, going on as it does, over tracks that are not closed."""
        heading = self._heading(state)
        seen, stack = {state[:2]}, [state[:2]]
        found = []
        while stack:
            for t, i in self._beyond[stack.pop()]:
                if (t, i) in seen:
                    continue
                seen.add((t, i))
                stack.append((t, i))
                for d in (1, -1):
                    if t not in closed and float(heading @ self._heading((t, i, d))) > ON:
                        found.append((t, i, d))
        return found

    def _way(
        self,
        begin: Sequence[_State],
        goals: Collection[_State],
        longest: float,
        closed: Collection[int],
    ) -> list[Leg]:
        """The shortest way from the first of some states to the first of others, none of them a goal at once."""
        cost = dict.fromkeys(begin, 0.0)
        before: dict[_State, tuple[_State, bool]] = {}
        heap = [(0.0, state) for state in begin]
        settled: set[_State] = set()
        while heap:
            spent, state = heapq.heappop(heap)
            if state in settled:
                continue
            settled.add(state)
            if state in goals and spent > 0:
                return self._legs(state, before)
            t, i, d = state
            moves = [(0.0, other, False) for other in self._on(state, closed)]
            if 0 <= i + d < len(self.spots[t]):
                moves.append((abs(self.spots[t][i + d] - self.spots[t][i]), (t, i + d, d), True))
            for step, other, along in moves:
                total = spent + step
                if total <= longest and total < cost.get(other, np.inf):
                    cost[other], before[other] = total, (state, along)
                    heapq.heappush(heap, (total, other))
        return []

    def _legs(self, state: _State, before: dict[_State, tuple[_State, bool]]) -> list[Leg]:
        steps: list[Leg] = []
        while state in before:
            earlier, along = before[state]
            t, start, end = state[0], self.spots[state[0]][earlier[1]] if along else 0.0, self.spots[state[0]][state[1]]
            if along and steps and steps[-1][0] == t and steps[-1][1] == end:
                steps[-1] = (t, start, steps[-1][2])
            elif along:
                steps.append((t, start, end))
            state = earlier
        return steps[::-1]
