"""The way through a network that is the route, and what is left beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from profiler.alignment.network import Network, Run
from profiler.alignment.snap import IntArray
from profiler.errors import RouteError
from profiler.longitude import toward, wrapped
from profiler.units import KILOMETRE, FloatArray

BESIDE = 50.0
"""Track that stays within this of the route is a parallel track of the same line. [m]"""

BRANCH = 2000.0
BRANCH_SHARE = 0.2
"""A branch longer than BRANCH [m] or this share of the route is a line in its own right."""

BEHIND_SHARE = 0.5
"""Line behind a given end up to this share of the route leaves no doubt which side is meant."""

_DENSE = 20.0
_SWEEPS = 6
_SAME = 0.02  # [m]

GIVE_ENDS = "give start and end by longitude and latitude in the territory file"


def longest_way(network: Network, source: str, start: int | None = None) -> list[int]:
    """States of the longest way over the main line, from one node if ``start`` is given.

    On a network without loops two sweeps find it (the farthest node from anywhere is an end of
    it); where loops make more sweeps longer, they are made.

    Raises
    ------
    RouteError
        If the line is closed upon itself, without ends.
    """
    if start is not None:
        best = _farthest(network, network.run(start), start, _main_nodes(network, network.component[start]))[1]
    else:
        best = []
        totals = np.bincount(network.component[network.node[:, 0]], network.length * network.main)
        for component in np.argsort(-totals, kind="stable"):
            if totals[component] <= _main_length(network, best):
                break
            way = _swept(network, _main_nodes(network, component))
            best = max(best, way, key=lambda states: _main_length(network, states))
    if not best:
        raise RouteError(source, "the line is closed upon itself and has no ends", GIVE_ENDS)
    return best


def way_between(network: Network, a: int, b: int) -> tuple[list[int], bool]:
    """States of the shortest way between two nodes of one component, and whether it turns back."""
    run = network.run(a)
    if np.isfinite(run.cost[b]) and _is_simple(network, way := run.way_to(b)):
        return way, False
    return network.run(a, turn_back=True).way_to(b), True


def _swept(network: Network, nodes: IntArray) -> list[int]:
    best: list[int] = []
    start = int(nodes[0])
    for _ in range(_SWEEPS):
        start, way = _farthest(network, network.run(start), start, nodes)
        if _main_length(network, way) <= _main_length(network, best) + 0.01:
            break
        best = way
    return best


def _farthest(network: Network, run: Run, start: int, nodes: IntArray) -> tuple[int, list[int]]:
    """The farthest of some nodes that a simple way reaches, and that way."""
    cost = run.cost[nodes]
    for i in np.argsort(-np.where(np.isfinite(cost), cost, -1.0), kind="stable"):
        if nodes[i] == start or not np.isfinite(cost[i]):
            continue
        way = run.way_to(int(nodes[i]))
        if _is_simple(network, way):
            return int(nodes[i]), way
    return start, []


def _is_simple(network: Network, way: Sequence[int]) -> bool:
    nodes = passed_nodes(network, way)
    return len(set(nodes)) == len(nodes)


def passed_nodes(network: Network, way: Sequence[int]) -> list[int]:
    """Nodes along a way, from its first to its last."""
    ends = network.node.ravel()
    return [int(ends[state]) for state in way[:1]] + [int(ends[state ^ 1]) for state in way]


def _main_length(network: Network, way: Sequence[int]) -> float:
    links = np.array(way, dtype=int) // 2
    return float(network.length[links][network.main[links]].sum())


def _main_nodes(network: Network, component: int) -> IntArray:
    """Nodes at main links of a component (all, where it has none), from west to east."""
    ends, place = network.node.ravel(), network.end_place.reshape(-1, 2)
    here = network.component[ends] == component
    on_main = here & np.repeat(network.main, 2)
    chosen = np.flatnonzero(on_main if on_main.any() else here)
    return ends[chosen[np.lexsort(place[chosen].T[::-1])]]


@dataclass(frozen=True, eq=False)
class SideTrack:
    """Links that hang together beside the route. ``joints`` are the route's nodes they leave from;
    ``reach`` is how far main track leads away, or how long it is between several joints [m]."""

    links: IntArray
    joints: tuple[int, ...]
    reach: float
    parallel: bool


def side_tracks(network: Network, way: Sequence[int]) -> list[SideTrack]:
    """What the component of a way holds beside it, in the order of the way."""
    nodes = passed_nodes(network, way)
    place_on_way = {node: i for i, node in enumerate(nodes)}
    off = network.component[network.node[:, 0]] == network.component[nodes[0]]
    off[np.array(way) // 2] = False
    links = np.flatnonzero(off)
    if not links.size:
        return []
    away = network.distances(np.array(nodes), off)
    beside = _Beside(network, way)
    found = []
    for group in _hanging_together(network, links, set(nodes)):
        joints = sorted(
            {int(n) for n in network.node[group].ravel()} & place_on_way.keys(), key=place_on_way.__getitem__
        )
        main = group[network.main[group]]
        reach = 0.0
        if main.size and len(joints) > 1:
            reach = float(network.length[main].sum())
        elif main.size:
            reach = float((away[network.node[main]].min(axis=1) + network.length[main]).max())
        found.append(SideTrack(group, tuple(joints), reach, beside.holds(group)))
    return sorted(found, key=lambda track: place_on_way[track.joints[0]])


def _hanging_together(network: Network, links: IntArray, on_way: set[int]) -> Iterable[IntArray]:
    """Groups of links connected with each other without crossing the route."""
    ends = network.node[links]
    link = np.repeat(np.arange(links.size), 2)
    free = ~np.isin(ends.ravel(), list(on_way))
    size = links.size + network.count
    pairs = (np.ones(int(free.sum())), (link[free], links.size + ends.ravel()[free]))
    label = connected_components(csr_matrix(pairs, shape=(size, size)), directed=False)[1][: links.size]
    order = np.argsort(label, kind="stable")
    return np.split(links[order], np.flatnonzero(np.diff(label[order])) + 1)


class _Beside:
    def __init__(self, network: Network, way: Sequence[int]) -> None:
        self._network = network
        self._tree = cKDTree(self._dense(np.array(way) // 2))

    def _dense(self, links: IntArray) -> FloatArray:
        return np.concatenate([_dense(self._network.links[i].position) for i in links])

    def holds(self, links: IntArray) -> bool:
        """Whether links stay beside the route over their whole length."""
        near = self._tree.query(self._dense(links), distance_upper_bound=BESIDE + _DENSE / 2)[0]
        return bool(np.isfinite(near).all())


def _dense(position: FloatArray) -> FloatArray:
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(position, axis=0), axis=1))]
    at = np.linspace(0.0, along[-1], int(along[-1] / _DENSE) + 2)
    return np.column_stack([np.interp(at, along, axis) for axis in position.T])


def refuse_fork(
    network: Network, way: Sequence[int], tracks: Sequence[SideTrack], source: str, given: int | None = None
) -> None:
    """Refuse a route beside which another could be meant as well.

    What leaves from the ``given`` end lies behind it: the longer side is meant, if it is clearly so.

    Raises
    ------
    RouteError
        Naming the place of the fork.
    """
    length = float(network.length[np.array(way) // 2].sum())
    for track in tracks:
        limit = BEHIND_SHARE * length if track.joints == (given,) else min(BRANCH, BRANCH_SHARE * length)
        if not track.parallel and track.reach > limit:
            what = "another way" if len(track.joints) > 1 else "a branch"
            where = place_words(node_place(network, track.joints[0]))
            raise RouteError(
                source,
                f"the line forks at {where}, {what} of {track.reach / KILOMETRE:.1f} km leaves there",
                GIVE_ENDS,
            )


def refuse_second_line(network: Network, way: Sequence[int], source: str) -> IntArray:
    """Links of other components that may be left out; refuse those that are another line.

    Raises
    ------
    RouteError
        Naming the gap between the two.
    """
    component_of = network.component[network.node[:, 0]]
    own = component_of[way[0] // 2]
    other = np.unique(component_of[(component_of != own) & network.main])
    beside = _Beside(network, way) if other.size else None
    apart = [c for c in other if beside is not None and not beside.holds(np.flatnonzero(component_of == c))]
    if apart:
        raise gap_error(network, own, np.isin(component_of, apart), source)
    return np.flatnonzero(component_of != own)


def gap_error(network: Network, own: int, others: npt.NDArray[np.bool_], source: str) -> RouteError:
    """The sentence for a gap between a component and the nearest of other links, (e,) mask."""
    mine = network.component[network.node[:, 0]] == own
    a, b = network.end[mine].reshape(-1, 3), network.end[others].reshape(-1, 3)
    off, j = cKDTree(b).query(a)
    i = int(np.argmin(off))
    here = network.end_place[mine].reshape(-1, 2)[i]
    there = network.end_place[others].reshape(-1, 2)[j[i]]
    if off[i] < _SAME:
        problem = f"the pieces make two lines that cross at {place_words(here)}"
        return RouteError(source, problem, "give start and end on one of them in the territory file")
    gap = f"{off[i]:.0f} m" if off[i] < 10 * KILOMETRE else f"{off[i] / KILOMETRE:.0f} km"
    return RouteError(
        source,
        f"the pieces make separate lines: gap of {gap} between {place_words(here)} and {place_words(there)}",
        "draw the missing piece, or give start and end on one line in the territory file",
    )


def node_place(network: Network, node: int) -> tuple[float, float]:
    """Longitude and latitude of a node. [degree]"""
    longitude, latitude = network.end_place[network.node == node].T
    return float(toward(longitude, longitude[0]).mean()), float(latitude.mean())


def place_words(place: Sequence[float]) -> str:
    """Longitude and latitude to five decimals, a metre."""
    return f"{wrapped(place[0]):.5f}, {place[1]:.5f}"
