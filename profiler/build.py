"""The wiring: a territory in; its route, profile, landmarks and the ground around it out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from profiler.alignment.route import part_of_route
from profiler.charted_profile import charted_profile
from profiler.drawn_line import DrawnLine, draw_line, route_of
from profiler.elevation.coverage import Gap, gaps, longest_covered
from profiler.elevation.estimator import Estimate
from profiler.elevation.pvis import clearest, find_pvis
from profiler.elevation.sampling import GroundSamples, sample
from profiler.errors import CoverageError, TerritoryError
from profiler.ground import Bounds, GroundSource, Relief
from profiler.heights import datum_of, in_one_datum, known_between, known_elevations, side_by_side
from profiler.landmark import Landmarks
from profiler.landmarks.find import LandmarkSettings, find_landmarks
from profiler.longitude import wrapped
from profiler.profile import Draws, KnownElevation, Profile
from profiler.progress import Progress, quiet
from profiler.rail import rail_of
from profiler.read.rasters import assumptions_of, open_sources
from profiler.read.relief import read_relief
from profiler.route import Route
from profiler.territory import Territory
from profiler.units import EARTH_RADIUS, KILOMETRE, PERCENT, FloatArray
from profiler.wording import post_text

RELIEF_MARGIN_M, RELIEF_SHARE = 5000.0, 0.4
"""Ground is shown this far around the line, and at least this share of its extent, in any direction:
a tall line on a wide screen still lies in country."""

_DEGREE_M = np.radians(1) * EARTH_RADIUS


def build_route(territory: Territory) -> Route:
    """The route of a territory, without its ground: chainage is ellipsoidal length.

    Raises
    ------
    InputError, RouteError, MissingCRSError
        As the readers and the joining do.
    """
    return route_of(territory, draw_line(territory))


def open_ground(territory: Territory) -> tuple[GroundSource, ...]:
    """The rasters of a ``territory``, opened: their headers are read and checked, no cell yet.

    Raises
    ------
    InputError, MissingCRSError
        If one is missing or is not what it claims to be.
    """
    table = territory.elevation
    if table is None:
        raise TerritoryError(
            territory.source,
            "no elevation raster is given",
            "name one with --dem, or in [elevation] of a territory file",
        )
    return open_sources(
        table.rasters,
        territory.folder if territory.raster_folder is None else territory.raster_folder,
        vertical_datum=table.vertical_datum,
        vertical_unit=table.vertical_unit,
        offset_m=table.offset_m,
    )


def build_profile(
    territory: Territory,
    *,
    trim: bool = False,
    ground: Sequence[GroundSource] | None = None,
    progress: Progress = quiet,
) -> Profile:
    """The profile of a territory: the whole of the main job.

    Where the territory states a known profile, that is drawn instead of an estimate.

    Parameters
    ----------
    territory : Territory
    trim : bool
        Where elevation data are missing over more than ``max_gap_km``, keep the longest covered
        stretch instead of refusing.
    ground : sequence of GroundSource, optional
        The territory's rasters as `open_ground` opens them, or those of them that lie about the line.
    progress : callable
        Told (what is being done, share of it done).

    Raises
    ------
    InputError, RouteError, MissingCRSError
        If an input is not what it claims to be.
    CoverageError
        If the rasters leave a gap that may not be bridged.
    """
    if territory.profile is not None:
        return charted_profile(territory, draw_line(territory, progress))
    sources = open_ground(territory) if ground is None else tuple(ground)
    drawn = draw_line(territory, progress)
    samples = sample_ground(territory, sources, drawn, progress, shoulders=True)
    samples, of_datum = in_one_datum(samples, drawn.stations.longitude, drawn.stations.latitude)
    said = (*assumptions_of(sources), *side_by_side(samples), *of_datum)
    height = float(np.nanmean(samples.values)) if np.isfinite(samples.values).any() else 0.0
    route = route_of(territory, drawn, 1 + height / EARTH_RADIUS)
    known, of_known = known_elevations(territory, route, datum_of(samples))
    route, samples, known, of_part = _covered(route, samples, known, territory, trim)
    progress("estimating the rail", 0.0)
    off_ground = _off_ground(route, max((c for c in samples.cell_m if np.isfinite(c)), default=0.0))
    fit, of_rail = rail_of(
        route, samples, off_ground, known, territory, lambda share: progress("estimating the rail", share)
    )
    return _profile(route, samples, off_ground, fit, territory, (*said, *of_known, *of_part, *of_rail))


def sample_ground(
    territory: Territory,
    sources: tuple[GroundSource, ...],
    drawn: DrawnLine,
    progress: Progress = quiet,
    *,
    shoulders: bool = False,
) -> GroundSamples:
    """What the rasters say at every station, and with ``shoulders`` left and right of it too."""
    return sample(
        sources,
        drawn.stations.longitude,
        drawn.stations.latitude,
        heading=drawn.stations.heading if shoulders else None,
        method=territory.settings.interpolation,
        progress=lambda share: progress("sampling the ground", share),
    )


def _missing(
    territory: Territory, route: Route, samples: GroundSamples
) -> tuple[FloatArray, FloatArray, tuple[Gap, ...]]:
    """Ground (n,) [m], where open track has none (n,) bool, and the gaps too long to bridge."""
    ground, _ = samples.preferred()
    structure = route.structure_at(route.chainage) > 0
    found = gaps(route.chainage, ground, structure, territory.settings.max_gap_km * KILOMETRE)
    return ground, np.isnan(ground) & ~structure, found


def coverage(territory: Territory, route: Route, samples: GroundSamples) -> tuple[str, bool]:
    """How much of the line the rasters reach in words, and whether a gap is too long to bridge."""
    ground, _, found = _missing(territory, route, samples)
    share = f"{np.isfinite(ground).mean():.1%} of the line has elevation"
    if not found:
        return share, False
    return f"{share}; none over {_stretches(route, found)}: add rasters or use --trim", True


def _covered(
    route: Route, samples: GroundSamples, known: tuple[KnownElevation, ...], territory: Territory, trim: bool
) -> tuple[Route, GroundSamples, tuple[KnownElevation, ...], tuple[str, ...]]:
    """The route, samples and known elevations whose gaps may be bridged: all of them, or the longest stretch."""
    ground, missing, found = _missing(territory, route, samples)
    if not found:
        said = f"elevation data are missing at {int(missing.sum())} stations and bridged" if missing.any() else ""
        return route, samples, known, (said,) if said else ()
    stretch = longest_covered(route.chainage, ground, found)
    if stretch is None:
        raise CoverageError(
            ", ".join(samples.names),
            f"no elevation on the line, which lies within {_extent(route)}",
            "give rasters that cover it",
        )
    words = _stretches(route, found)
    if not trim:
        raise CoverageError(
            ", ".join(samples.names),
            f"no elevation over {words}",
            "give rasters that cover it, or use --trim to keep the longest covered stretch",
        )
    first, last = stretch
    kept = part_of_route(route, first, last)
    said = (
        f"trimmed to {post_text(route.posts, float(route.chainage[first]), 2)} … "
        f"{post_text(route.posts, float(route.chainage[last]), 2)}: no elevation over {words}"
    )
    known, left_out = known_between(known, float(route.chainage[first]), float(route.chainage[last]))
    return kept, samples.part(first, last), known, (said, *left_out)


def _extent(route: Route) -> str:
    return (
        f"longitude {wrapped(route.longitude.min()):.3f} to {wrapped(route.longitude.max()):.3f}, "
        f"latitude {route.latitude.min():.3f} to {route.latitude.max():.3f}"
    )


def _stretches(route: Route, found: tuple[Gap, ...]) -> str:
    shown = [
        f"{post_text(route.posts, float(route.chainage[g.first]), 2)} to "
        f"{post_text(route.posts, float(route.chainage[g.last]), 2)} "
        f"({(route.chainage[g.last] - route.chainage[g.first]) / KILOMETRE:.1f} km)"
        for g in found[:5]
    ]
    more = f" and {len(found) - 5} more stretches" if len(found) > 5 else ""
    return ", ".join(shown) + more


def _off_ground(route: Route, margin: float) -> FloatArray:
    """Stations on known structures and one raster cell to each side of them."""
    inside = np.zeros(route.chainage.size, dtype=bool)
    for structure in route.structures:
        inside |= (route.chainage >= structure.start - margin) & (route.chainage <= structure.end + margin)
    return inside


def _profile(
    route: Route,
    samples: GroundSamples,
    off_ground: FloatArray,
    fit: Estimate,
    territory: Territory,
    assumptions: tuple[str, ...],
) -> Profile:
    ground, _ = samples.preferred()
    source = fit.weight.argmax(axis=0)
    weight = np.take_along_axis(fit.weight, source[None], axis=0)[0]
    on_structure = route.structure_at(route.chainage) > 0
    pvis = find_pvis(route.chainage, *clearest(fit.ground, fit.noise), fit)
    return Profile(
        route=route,
        ground=ground,
        elevation=fit.elevation,
        elevation_se=fit.elevation_se,
        grade=fit.grade,
        grade_se=fit.grade_se,
        structure_probability=np.where(off_ground, on_structure, fit.structure_probability),
        ground_source=np.where(weight > 0, source, -1),
        ground_weight=weight,
        draws=Draws(fit.draw_chainage, fit.draw_elevation),
        source_names=samples.names,
        vertical_datum=datum_of(samples),
        units=territory.route.units,
        pvi_visible=pvis is not None,
        pvis=pvis or (),
        known=fit.known,
        invented=territory.route.invented,
        curve_compensation=territory.settings.curve_compensation_pct_per_degree * PERCENT,
        assumptions=assumptions,
        attribution=territory.elevation.attribution if territory.elevation else "",
        licence=territory.elevation.licence if territory.elevation else "",
    )


def landmark_settings(territory: Territory) -> LandmarkSettings:
    """Definitions of the landmarks as the territory sets them."""
    s = territory.settings
    return LandmarkSettings(
        train_lengths=tuple(s.train_lengths_m),
        prominence=s.prominence_m,
        grade_break=s.grade_break_pct * PERCENT,
        sustained_grade=s.sustained_grade_pct * PERCENT,
        sustained_length=s.sustained_length_km * KILOMETRE,
    )


def landmarks_of(profile: Profile, territory: Territory) -> Landmarks:
    """Landmarks, grade runs and straddles of a profile by the definitions of its ``territory``."""
    return find_landmarks(profile, landmark_settings(territory))


def relief_around(profile: Profile, territory: Territory) -> Relief | None:
    """The ground around the line, for the picture under the map; None where no raster tells of it."""
    if territory.elevation is None:
        return None
    line = _bounds(profile.route, 0.0)
    middle = np.radians((line.south + line.north) / 2)
    extent = max(line.north - line.south, (line.east - line.west) * np.cos(middle)) * _DEGREE_M
    margin = max(RELIEF_MARGIN_M, RELIEF_SHARE * float(extent))
    return read_relief(open_ground(territory), _bounds(profile.route, margin))


def input_files(territory: Territory, route: Route) -> tuple[tuple[Path, str], ...]:
    """Every file that a territory's profile rests on, with its role; of the tiles, those the line meets."""
    files = list(territory.named_files())
    if territory.elevation is not None:
        around = _bounds(route, 0.0)
        tiles = (tile for source in open_ground(territory) for tile in source.tiles)
        files += [(tile.path, "elevation") for tile in tiles if tile.bounds.turns_to(around)]
    return tuple(files)


def _bounds(route: Route, margin: float) -> Bounds:
    """The box around a route, ``margin`` [m] wider on every side."""
    south, north = float(route.latitude.min()), float(route.latitude.max())
    high = margin / _DEGREE_M
    wide = high / max(np.cos(np.radians((south + north) / 2)), 0.05)
    west, east = float(route.longitude.min()), float(route.longitude.max())
    return Bounds(west - wide, south - high, east + wide, north + high)
