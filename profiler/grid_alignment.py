"""The plan on the grid of a map projection: elements that join without gap or kink, for engineering formats.

Curves are estimated by chainage, the line by coordinates; neither alone is an alignment that another
program can lay out. Here lengths and curvatures of the elements are moved as little as it takes for the
chain of them to stay on the line and to arrive at its end.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import Proj, Transformer

from profiler.grid_chain import Chain, Target, fitted
from profiler.plan_elements import PlanElement, elements_of
from profiler.route import Route, frozen_array
from profiler.units import FloatArray

_ALIKE = 1e-9
"""Curvatures nearer than this are one. [1/m]"""

_SAMPLE = 50.0
"""How far apart elements are held against the line. [m]"""

_CURVATURE_SE = 0.01, 0.5
"""Bounds of the relative standard error of a curvature."""

_TOO_FAR = 5.0
"""An element farther beside the line than this, or than four of its standard errors, contradicts it. [m]"""

_TOO_MUCH = 0.3
"""An element whose length or curvature must change by more than e to this is another one than was estimated."""

_THINNED = 0.25
"""How far the vertices of a drawn stretch may leave it. [m]"""

_WAVES = 8
"""How often contradicting elements are taken out before the rest is drawn as well."""


@dataclass(frozen=True)
class GridElement:
    """One element on the grid; ``plan`` is what is estimated, by chainage and in lengths on the ground.

    ``start``, ``end`` are (easting, northing) [m]; ``direction`` is that of its beginning, counter-clockwise
    from grid east [rad]. ``length`` [m], ``curvature_start`` and ``curvature_end`` [1/m, + left] are
    measured on the grid. ``points`` are the vertices of a "drawn" stretch, where the estimated curves and
    the line contradict each other; empty for others.
    """

    plan: PlanElement
    start: tuple[float, float]
    end: tuple[float, float]
    direction: float
    length: float
    curvature_start: float = 0.0
    curvature_end: float = 0.0
    points: tuple[tuple[float, float], ...] = ()

    @property
    def kind(self) -> str:
        """ "tangent", "spiral", "arc" or "drawn"."""
        return self.plan.kind

    @property
    def turn(self) -> float:
        """Angle turned, + left. [rad]"""
        return (self.curvature_start + self.curvature_end) / 2 * self.length


@dataclass(frozen=True, eq=False)
class GridAlignment:
    """The plan of a line on the grid of the projection ``epsg``.

    ``elements`` in order, the end of one being the start of the next. ``chainage`` and ``station`` (m,) [m]
    tell where on the grid a place of the ground stands: lengths of elements summed from 0. ``scale``: least and
    greatest length on the grid for one on the ground. ``offset_median`` and ``offset_most`` [m] are
    how far the elements lie beside the line's coordinates.
    """

    epsg: int
    elements: tuple[GridElement, ...]
    chainage: FloatArray
    station: FloatArray
    scale: tuple[float, float]
    offset_median: float
    offset_most: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "chainage", frozen_array(self.chainage))
        object.__setattr__(self, "station", frozen_array(self.station))

    @property
    def length(self) -> float:
        """Length of all elements. [m]"""
        return float(self.station[-1])

    @property
    def drawn(self) -> tuple[GridElement, ...]:
        """The stretches without elements."""
        return tuple(e for e in self.elements if e.kind == "drawn")

    def station_at(self, chainage: npt.ArrayLike) -> FloatArray:
        """Stations [m] of chainages [m]; beyond the ends they go on at the ground's length."""
        x = np.asarray(chainage, dtype=float)
        inside = np.clip(x, self.chainage[0], self.chainage[-1])
        return np.interp(inside, self.chainage, self.station) + (x - inside)


def utm_zone(longitude: float, latitude: float) -> int:
    """EPSG code of the zone of WGS 84 / UTM of a place [degree]."""
    zone = int(((longitude + 180) % 360) // 6) + 1
    return (32600 if latitude >= 0 else 32700) + zone


def one_handed(elements: Sequence[PlanElement]) -> tuple[PlanElement, ...]:
    """The same elements, spirals from one hand to the other cut where their curvature is zero."""
    cut: list[PlanElement] = []
    for e in elements:
        if e.curvature_start * e.curvature_end < 0:
            middle = e.start + e.length * e.curvature_start / (e.curvature_start - e.curvature_end)
            first, _, second = e.curve.partition("/")
            cut.append(dataclasses.replace(e, end=middle, curvature_end=0.0, curve=first))
            cut.append(dataclasses.replace(e, start=middle, curvature_start=0.0, curve=second or first))
        else:
            cut.append(e)
    return tuple(cut)


def grid_alignment(route: Route) -> GridAlignment:
    """Lay the elements of a route out on the UTM zone of its middle.

    Notes
    -----
    Elements that turn otherwise than the line, that cannot be laid within 5 m of it (four of its standard errors), or
    only with another length or curvature, are taken out and the rest is laid out again: there the line is
    drawn, and nothing claims a tangent or an arc.
    """
    middle = int(np.searchsorted(route.chainage, route.chainage[[0, -1]].mean()))
    epsg = utm_zone(float(route.longitude[middle]), float(route.latitude[middle]))
    plan = one_handed(elements_of(route.curves, float(route.chainage[0]), float(route.chainage[-1])))
    line = _Line.of(route, epsg)
    start, target = _laid_on(line, plan, route)
    held = line.follows(start, plan)
    chain = start
    for _ in range(_WAVES):
        chain = fitted(start, target, held)
        near = chain.offsets(target) <= line.tolerance(plan)
        wrong = held & ~(near & (chain.changes(start) <= _TOO_MUCH))  # so that what is no number is wrong too
        held = held & ~wrong
        if not wrong.any():
            break
    elements = _elements(chain, held, plan, line)
    chainage, station = _stations(chain, held, elements, plan, target)
    offset = chain.offsets(target)[held]
    scale = float(line.scale.min()), float(line.scale.max())
    median, most = (float(f(offset)) if offset.size else 0.0 for f in (np.median, np.max))
    return GridAlignment(epsg, elements, chainage, station, scale, median, most)


@dataclass(frozen=True, eq=False)
class _Line:
    """The line on the grid, (n,): chainage, place (complex), heading, grid over ground, where it is too far off."""

    chainage: FloatArray
    place: FloatArray
    heading: FloatArray
    scale: FloatArray
    too_far: FloatArray

    @classmethod
    def of(cls, route: Route, epsg: int) -> _Line:
        east, north = Transformer.from_crs(4326, epsg, always_xy=True).transform(route.longitude, route.latitude)
        factors = Proj(f"EPSG:{epsg}").get_factors(route.longitude, route.latitude)
        place = np.asarray(east) + 1j * np.asarray(north)
        heading = np.unwrap(np.angle(np.gradient(place, route.chainage)))
        too_far = np.maximum(_TOO_FAR, 4 * np.nan_to_num(route.lateral_se))
        return cls(route.chainage, place, heading, np.asarray(factors.meridional_scale) / route.scale, too_far)

    def at(self, chainage: FloatArray, what: FloatArray) -> FloatArray:
        return np.asarray(np.interp(chainage, self.chainage, what))

    def tolerance(self, plan: Sequence[PlanElement]) -> FloatArray:
        return self.at(np.array([(e.start + e.end) / 2 for e in plan]), self.too_far)

    def follows(self, start: Chain, plan: Sequence[PlanElement]) -> npt.NDArray[np.bool_]:
        """Whether (n,) each element, laid with its ends on the line, lies beside it at its quarters and its middle."""
        element = np.repeat(np.arange(len(plan)), 4)
        share = np.tile([0.25, 0.5, 0.75, 1.0], len(plan))
        begin, length = (np.array([getattr(e, name) for e in plan]) for name in ("start", "length"))
        ways = (
            start.places(element, share)[0] - start.node[element],
            self.at(begin[element] + share * length[element], self.place) - start.node[element],
        )
        chords = [(way.reshape(-1, 4) / way.reshape(-1, 4)[:, -1:]).imag for way in ways]
        return np.asarray(np.abs(chords[0] - chords[1]).max(axis=1) * length < self.tolerance(plan))


def _laid_on(line: _Line, plan: Sequence[PlanElement], route: Route) -> tuple[Chain, Target]:
    """Elements with the lengths and curvatures of the ground, their ends on the line, and what they should meet."""
    edge = np.array([plan[0].start, *(e.end for e in plan)])
    middle = (edge[1:] + edge[:-1]) / 2
    scale = line.at(middle, line.scale)
    first, second, curvature = _shared_curvatures(plan, scale)
    se = np.zeros(curvature.size)
    near = np.interp(middle, route.chainage, np.nan_to_num(route.curvature_se, nan=1.0))
    for ids in (first, second):
        np.maximum.at(se, ids, near)
    relative = np.clip(se / np.maximum(np.abs(curvature), _ALIKE), *_CURVATURE_SE)
    pieces = np.maximum(np.ceil(np.diff(edge) / _SAMPLE).astype(int), 2)
    element = np.repeat(np.arange(len(plan)), pieces - 1)
    share = np.concatenate([np.arange(1, n) for n in pieces]) / pieces[element]
    at = edge[element] + share * np.diff(edge)[element]
    node, heading = line.at(edge, line.place), line.at(edge, line.heading)
    target = Target(node, heading, element, share, line.at(at, line.place), line.at(at, line.heading), relative)
    return Chain(node, heading, np.diff(edge) * scale, curvature, first, second), target


def _shared_curvatures(
    plan: Sequence[PlanElement], scale: FloatArray
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], FloatArray]:
    """Which curvature each element begins and ends with, and the curvatures (g,) on the grid, the first zero."""
    ids: list[tuple[int, int]] = []
    values = [0.0]
    before, held = 0.0, 0
    for e, k in zip(plan, scale.tolist(), strict=True):
        pair = []
        for curvature in (e.curvature_start, e.curvature_end):
            if abs(curvature) < _ALIKE:
                held = 0
            elif abs(curvature - before) > _ALIKE or not held:
                held = len(values)
                values.append(curvature / k)
            before = curvature
            pair.append(held)
        ids.append((pair[0], pair[1]))
    first, second = np.array(ids, dtype=np.int64).T
    return first, second, np.array(values)


def _elements(
    chain: Chain, held: npt.NDArray[np.bool_], plan: Sequence[PlanElement], line: _Line
) -> tuple[GridElement, ...]:
    """The chain as elements; where it is not held, the line between."""
    elements: list[GridElement] = []
    k0, k1 = (k.tolist() for k in chain.ends)
    for keep, group in groupby(range(len(plan)), key=lambda i: bool(held[i])):
        which = list(group)
        if not keep:
            elements.append(_drawn(chain, line, plan[which[0]], plan[which[-1]], which[0], which[-1] + 1))
            continue
        for i in which:
            ends, heading = (_pair(chain.node[i]), _pair(chain.node[i + 1])), float(chain.heading[i])
            elements.append(GridElement(plan[i], *ends, heading, float(chain.length[i]), k0[i], k1[i]))
    return tuple(elements)


def _drawn(chain: Chain, line: _Line, before: PlanElement, after: PlanElement, a: int, b: int) -> GridElement:
    inside = (line.chainage > before.start + 1) & (line.chainage < after.end - 1)
    places = np.r_[chain.node[a], line.place[inside], chain.node[b]]
    shape = shapely.simplify(shapely.linestrings(places.real, places.imag), _THINNED)
    points = tuple((float(x), float(y)) for x, y in shapely.get_coordinates(shape))
    plan = PlanElement("drawn", before.start, after.end, 0.0, 0.0)
    direction = float(np.arctan2(points[1][1] - points[0][1], points[1][0] - points[0][0]))
    return GridElement(plan, points[0], points[-1], direction, float(shape.length), points=points)


def _pair(place: complex) -> tuple[float, float]:
    return float(place.real), float(place.imag)


def _stations(
    chain: Chain,
    held: npt.NDArray[np.bool_],
    elements: Sequence[GridElement],
    plan: Sequence[PlanElement],
    target: Target,
) -> tuple[FloatArray, FloatArray]:
    """Chainages (m,) and the stations abreast of them: of the line's ends, of joints and of samples."""
    edges = {e.plan.start: s for e, s in zip(elements, np.cumsum([0.0, *(e.length for e in elements)]), strict=False)}
    start = np.array([edges.get(e.start, np.nan) for e in plan])
    keep = held[target.element]
    element, share = target.element[keep], target.share[keep]
    place, heading = chain.places(element, share)
    ahead = ((target.place[keep] - place) * np.exp(-1j * heading)).real
    length = np.array([e.length for e in plan])
    samples = (
        np.array([e.start for e in plan])[element] + share * length[element],
        start[element] + share * chain.length[element] + ahead,
    )
    total = float(sum(e.length for e in elements))
    joint = np.array([e.plan.start for e in elements])[1:]
    off = (target.node - chain.node) * np.exp(-1j * chain.heading)
    index = np.searchsorted([e.start for e in plan], joint)
    at_joint = np.array([edges[x] for x in joint.tolist()]) + off.real[index]
    chainage = np.r_[plan[0].start, samples[0], joint, plan[-1].end]
    station = np.r_[0.0, samples[1], at_joint, total]
    order = np.argsort(chainage, kind="stable")
    return chainage[order], np.clip(np.maximum.accumulate(station[order]), 0.0, total)
