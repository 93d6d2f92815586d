"""Mountains by running water: a drainage network and the relief that it would carve.

Every point drains to its lowest neighbour, and the slope of a stream falls with the area it drains,
S = k·A^−θ (Flint 1974). Finding the network on the relief and the relief on the network, in turns,
settles into valleys, spurs and divides. The points are scattered, so that no valley follows a grid.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import Delaunay

from profiler.units import FloatArray

CONCAVITY = 0.36
STEEPEST = 0.60


@dataclass(frozen=True, eq=False)
class Mesh:
    """Scattered points (n, 2) [m] and who is whose neighbour, as a compressed list."""

    points: FloatArray
    first: FloatArray
    neighbour: FloatArray
    distance: FloatArray
    area: float

    def smoothed(self, z: FloatArray, share: float) -> FloatArray:
        """``z`` drawn by ``share`` towards the mean of its neighbours."""
        n = self.first.size - 1
        near = csr_array((np.ones(self.neighbour.size), self.neighbour, self.first), shape=(n, n))
        return (1 - share) * z + share * (near @ z) / np.diff(self.first)


def scattered(x: tuple[float, float], y: tuple[float, float], spacing: float, rng: np.random.Generator) -> Mesh:
    """A mesh of jittered points over a rectangle. [m]"""
    grid = np.meshgrid(np.arange(*x, spacing), np.arange(*y, spacing))
    points = np.column_stack([g.ravel() for g in grid])
    points += rng.uniform(-0.45, 0.45, points.shape) * spacing
    first, neighbour = Delaunay(points).vertex_neighbor_vertices
    source = np.repeat(np.arange(len(points)), np.diff(first))
    distance = np.hypot(*(points[source] - points[neighbour]).T)
    return Mesh(points, first, neighbour, distance, spacing * spacing)


def carve(mesh: Mesh, start: FloatArray, base: FloatArray, steepness: FloatArray, rounds: int) -> FloatArray:
    """Heights (n,) [m] after so many turns.

    ``base`` holds the height of every outlet (a river, the sea, the edge) and NaN on free land;
    ``steepness`` is k; ``start`` the relief to begin with.
    """
    free = np.isnan(base)
    z = np.where(free, start, base)
    for _ in range(rounds):
        filled = _filled(mesh, z, ~free)
        into, run = _receivers(mesh, filled, ~free)
        order = np.argsort(filled, kind="stable").tolist()
        area = _drained(into, order, mesh.area)
        rise = np.minimum(steepness * area**-CONCAVITY, STEEPEST) * run
        carved = np.array(_raised(into, order, rise.tolist(), np.where(free, 0.0, base).tolist()))
        z = np.where(free, mesh.smoothed(0.75 * carved + 0.25 * z, 0.3), base)
    return z


def _drained(into: list[int], order: list[int], cell: float) -> FloatArray:
    """Area above every point. [m²]"""
    area = [cell] * len(into)
    for i in reversed(order):
        if into[i] != i:
            area[into[i]] += area[i]
    return np.array(area)


def _raised(into: list[int], order: list[int], rise: list[float], height: list[float]) -> list[float]:
    """Heights, climbing from the outlets."""
    for i in order:
        if into[i] != i:
            height[i] = height[into[i]] + rise[i]
    return height


def _filled(mesh: Mesh, z: FloatArray, fixed: FloatArray) -> FloatArray:
    """``z`` without pits: every free point drains to an outlet (priority flood, Barnes et al. 2014)."""
    flat, done = z.tolist(), fixed.tolist()
    first, neighbour = mesh.first.tolist(), mesh.neighbour.tolist()
    heap = [(flat[i], i) for i in np.flatnonzero(fixed).tolist()]
    heapq.heapify(heap)
    while heap:
        height, i = heapq.heappop(heap)
        for j in neighbour[first[i] : first[i + 1]]:
            if not done[j]:
                done[j] = True
                flat[j] = max(flat[j], height + 1e-4)
                heapq.heappush(heap, (flat[j], j))
    return np.array(flat)


def _receivers(mesh: Mesh, z: FloatArray, fixed: FloatArray) -> tuple[list[int], FloatArray]:
    """The steepest lower neighbour of every point (itself at outlets), and the way there [m]."""
    n = z.size
    source = np.repeat(np.arange(n), np.diff(mesh.first))
    drop = (z[source] - z[mesh.neighbour]) / mesh.distance
    edge = np.lexsort((drop, source))[mesh.first[1:] - 1]
    into = np.where(fixed, np.arange(n), mesh.neighbour[edge])
    return into.tolist(), np.where(fixed, 0.0, mesh.distance[edge])
