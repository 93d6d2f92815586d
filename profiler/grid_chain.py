"""A chain of tangents, spirals and arcs on a plane, moved as little as it takes to stay on a line.

Places are complex, east + i·north [m]; headings counter-clockwise from east [rad]; curvature + left [1/m].
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from profiler.units import FloatArray

IntArray = npt.NDArray[np.int64]

_ASIDE_SE, _ALONG_SE, _HEADING_SE = 1.0, 5.0, 0.3
"""How well elements follow the line across [m], their ends along it [m] and in heading [rad]."""

_LENGTH_SE = 0.1
"""Relative standard error of an element's length."""

_STEPS, _SMALL, _LARGEST = 20, 1e-6, 0.3
"""Most steps of Gauss–Newton; a move of nodes that is none [m]; most a length or curvature changes in one."""

_T, _W = (v / 2 for v in np.polynomial.legendre.leggauss(24))
_T = _T + 0.5


@dataclass(frozen=True, eq=False)
class Target:
    """Where a chain of n elements should lie.

    ``node``, ``heading`` (n + 1,): the line where elements meet. ``element``, ``share`` (m,): samples between,
    of which element and where in it; ``place``, ``along`` (m,) are the line and its heading there.
    ``curvature_se`` (g,) are relative standard errors of the chain's curvatures.
    """

    node: FloatArray
    heading: FloatArray
    element: IntArray
    share: FloatArray
    place: FloatArray
    along: FloatArray
    curvature_se: FloatArray


@dataclass(frozen=True, eq=False)
class Chain:
    """n elements with n + 1 nodes: places and headings of nodes, lengths (n,) [m], curvatures (g,) [1/m].

    ``first`` and ``second`` (n,) say which curvature an element begins and ends with: elements that meet
    without a step share one. Entry 0 is zero itself.
    """

    node: FloatArray
    heading: FloatArray
    length: FloatArray
    curvature: FloatArray
    first: IntArray
    second: IntArray

    @property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Curvatures (n,) at which elements begin and end. [1/m]"""
        return self.curvature[self.first], self.curvature[self.second]

    def places(self, element: IntArray, share: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Places (m,) at shares of elements, and headings there."""
        k0, k1 = (k[element] for k in self.ends)
        theta = self.length[element] * (k0 * share + (k1 - k0) * share**2 / 2)
        turned = np.exp(1j * self.heading[element])
        return self.node[element] + turned * self._shape(element, share)[0], self.heading[element] + theta

    def offsets(self, target: Target) -> FloatArray:
        """How far at most each element (n,) lies beside the line. [m]"""
        place, _ = self.places(target.element, target.share)
        aside = np.abs(((place - target.place) * np.exp(-1j * target.along)).imag)
        ends = np.abs(((self.node - target.node) * np.exp(-1j * target.heading)).imag)
        most = np.maximum(ends[1:], ends[:-1])
        np.maximum.at(most, target.element, aside)
        return most

    def changes(self, start: Chain) -> FloatArray:
        """How much at most the length or a curvature of each element (n,) has changed, as a logarithm."""
        bend = np.zeros(self.curvature.size)
        bend[1:] = np.abs(np.log(self.curvature[1:] / start.curvature[1:]))
        return np.maximum(np.abs(np.log(self.length / start.length)), np.maximum(bend[self.first], bend[self.second]))

    def _shape(self, element: IntArray, share: FloatArray) -> tuple[FloatArray, ...]:
        """Ways (m,) from starts of elements in their own axes, and their derivatives by length and curvatures.

        Gauss–Legendre over the heading L·(k0·t + (k1 − k0)·t²/2) of a clothoid.
        """
        length = self.length[element][:, None]
        k0, k1 = (k[element][:, None] for k in self.ends)
        t = share[:, None] * _T
        theta = length * (k0 * t + (k1 - k0) * t**2 / 2)
        weight = length * share[:, None] * _W * np.exp(1j * theta)
        by_length = ((1 + 1j * theta) * weight).sum(axis=1) / length[:, 0]
        by_first = (1j * weight * length * (t - t**2 / 2)).sum(axis=1)
        by_second = (1j * weight * length * t**2 / 2).sum(axis=1)
        return weight.sum(axis=1), by_length, by_first, by_second


def fitted(start: Chain, target: Target, held: npt.NDArray[np.bool_]) -> Chain:
    """The chain nearest to ``start`` that lies on its target.

    Joints of the ``held`` (n,) elements and both ends of the line are conditions; places, lengths and curvatures are
    observations with their standard errors. An unknown meets those of the next elements only, so that the
    equations stay sparse and the time is proportional to n.
    """
    chain = start
    for _ in range(_STEPS):
        n = chain.length.size
        step = _step(chain, start, target, held)
        nodes = step[: 3 * n + 3].reshape(-1, 3)
        change = np.exp(np.clip(step[3 * n + 3 :][: n + chain.curvature.size], -_LARGEST, _LARGEST))
        chain = dataclasses.replace(
            chain,
            node=chain.node + nodes[:, 0] + 1j * nodes[:, 1],
            heading=chain.heading + nodes[:, 2],
            length=chain.length * change[:n],
            curvature=chain.curvature * change[n:],
        )
        if np.abs(nodes[:, :2]).max() < _SMALL:
            break
    return chain


def _step(chain: Chain, start: Chain, target: Target, held: npt.NDArray[np.bool_]) -> FloatArray:
    """Change of all unknowns: (east, north, heading) of nodes, logarithms of lengths, of curvatures."""
    fit, misfit = _observations(chain, start, target, held)
    hold, gap = _conditions(chain, target, held)
    system = sp.bmat([[fit.T @ fit, hold.T], [hold, None]], format="csc")
    return np.asarray(splu(system).solve(np.r_[-(fit.T @ misfit), -gap]))


class _Rows:
    """Rows of a sparse matrix and their right-hand side, as they come."""

    def __init__(self, chain: Chain) -> None:
        self.columns = 4 * chain.length.size + 3 + chain.curvature.size
        self.entries: list[tuple[IntArray, IntArray, FloatArray]] = []
        self.right: list[FloatArray] = []
        self.count = 0

    def add(self, right: FloatArray, *terms: tuple[IntArray, FloatArray | float]) -> None:
        """Rows (m,), each with one entry of every term: its column and its value."""
        rows = self.count + np.arange(right.size)
        for column, value in terms:
            self.entries.append((rows, column, np.broadcast_to(value, rows.shape)))
        self.right.append(right)
        self.count += right.size

    def done(self) -> tuple[sp.csr_matrix, FloatArray]:
        row, column, value = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        return sp.csr_matrix((value, (row, column)), shape=(self.count, self.columns)), np.concatenate(self.right)


def _felt(chain: Chain, element: IntArray) -> tuple[IntArray, ...]:
    """Columns of the unknowns that give an element its shape: heading, length, first and second curvature."""
    n = chain.length.size
    bend = 4 * n + 3
    return 3 * element + 2, 3 * n + 3 + element, bend + chain.first[element], bend + chain.second[element]


def _ways(chain: Chain, element: IntArray, share: FloatArray) -> tuple[FloatArray, list[tuple[IntArray, FloatArray]]]:
    """Places at shares of elements, and how each unknown moves them."""
    way, by_length, by_first, by_second = chain._shape(element, share)
    turned = np.exp(1j * chain.heading[element])
    k0, k1 = (k[element] for k in chain.ends)
    moves = (1j * way, by_length * chain.length[element], by_first * k0, by_second * k1)
    terms = [(column, turned * move) for column, move in zip(_felt(chain, element), moves, strict=True)]
    return chain.node[element] + turned * way, terms


def _conditions(chain: Chain, target: Target, held: npt.NDArray[np.bool_]) -> tuple[sp.csr_matrix, FloatArray]:
    """An element ends where the next begins, in its heading; the line begins and ends where it does."""
    rows, element = _Rows(chain), np.flatnonzero(held)
    place, terms = _ways(chain, element, np.ones(element.size))
    gap = place - chain.node[element + 1]
    for axis, part in enumerate((np.real, np.imag)):
        own, following = 3 * element + axis, 3 * element + 3 + axis
        rows.add(part(gap), (own, 1.0), (following, -1.0), *((column, part(move)) for column, move in terms))
    length, (k0, k1) = chain.length[element], (k[element] for k in chain.ends)
    kink = chain.heading[element] + (k0 + k1) / 2 * length - chain.heading[element + 1]
    heading, by_length, by_first, by_second = _felt(chain, element)
    rows.add(
        kink,
        (3 * element + 5, -1.0),
        (heading, 1.0),
        (by_length, (k0 + k1) / 2 * length),
        (by_first, k0 / 2 * length),
        (by_second, k1 / 2 * length),
    )
    ends = np.array([0, chain.length.size])
    off = (chain.node - target.node)[ends]
    rows.add(off.real, (3 * ends, 1.0))
    rows.add(off.imag, (3 * ends + 1, 1.0))
    return rows.done()


def _observations(
    chain: Chain, start: Chain, target: Target, held: npt.NDArray[np.bool_]
) -> tuple[sp.csr_matrix, FloatArray]:
    """What lies beside the line, what lies along it, and what has changed, in standard errors."""
    rows, n = _Rows(chain), chain.length.size
    sample = np.flatnonzero(held[target.element])
    element = target.element[sample]
    place, terms = _ways(chain, element, target.share[sample])
    # seen in the line's own heading, what is imaginary lies aside and what is real along
    aside = np.exp(-1j * target.along[sample]) / _ASIDE_SE
    rows.add(
        ((place - target.place[sample]) * aside).imag,
        (3 * element, aside.imag),
        (3 * element + 1, aside.real),
        *((column, (move * aside).imag) for column, move in terms),
    )
    node, back = np.arange(n + 1), np.exp(-1j * target.heading)
    off = (chain.node - target.node) * back
    rows.add(off.imag / _ASIDE_SE, (3 * node, back.imag / _ASIDE_SE), (3 * node + 1, back.real / _ASIDE_SE))
    rows.add(off.real / _ALONG_SE, (3 * node, back.real / _ALONG_SE), (3 * node + 1, -back.imag / _ALONG_SE))
    rows.add((chain.heading - target.heading) / _HEADING_SE, (3 * node + 2, 1 / _HEADING_SE))
    stretched = np.log(chain.length / start.length) / _LENGTH_SE
    rows.add(stretched, (3 * n + 3 + np.arange(n), 1 / _LENGTH_SE))
    bent = np.zeros(chain.curvature.size)
    bent[1:] = np.log(chain.curvature[1:] / start.curvature[1:]) / target.curvature_se[1:]
    rows.add(bent, (4 * n + 3 + np.arange(bent.size), 1 / target.curvature_se))
    return rows.done()
