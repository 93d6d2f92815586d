"""The rail of a route: the estimator under a territory's settings, and in words what it learned."""

from __future__ import annotations

from collections.abc import Callable

from profiler.elevation.estimator import Estimate, estimate
from profiler.elevation.sampling import GroundSamples
from profiler.profile import KnownElevation
from profiler.route import Route
from profiler.territory import Territory
from profiler.units import PERCENT, FloatArray

DRAWS, SEED = 100, 0

LEANS = 0.02
"""A bound on the grade that holds back more than this share of the line is too tight."""

WIDER, STEEPEST_PCT = 1.5, 15.0
"""It is then widened by this factor, to this at most."""


def rail_of(
    route: Route,
    samples: GroundSamples,
    off_ground: FloatArray,
    known: tuple[KnownElevation, ...],
    territory: Territory,
    progress: Callable[[float], None] = lambda _share: None,
) -> tuple[Estimate, tuple[str, ...]]:
    """The estimate, and what is to be said of it.

    The bound on the grade is the territory's, or a wider one if the estimate leans on that.
    """
    given = bound = territory.settings.max_grade_pct
    leaned = 0.0
    while True:
        fit = estimate(
            route.chainage,
            samples.values,
            off_ground,
            max_grade=bound * PERCENT,
            shoulders=samples.shoulders,
            known=known,
            draws=DRAWS,
            seed=SEED,
            progress=progress,
        )
        if fit.at_bound <= LEANS or bound >= STEEPEST_PCT:
            break
        leaned = leaned or fit.at_bound
        bound = min(WIDER * bound, STEEPEST_PCT)
    said = [*_learned(fit, samples.names), _level(fit)]
    if leaned:
        said.append(
            f"the estimate leaned on max_grade_pct = {given:g} over {leaned:.0%} of the line: widened to {bound:.3g}"
        )
    return fit, tuple(said)


def _learned(fit: Estimate, names: tuple[str, ...]) -> list[str]:
    speaking = fit.weight.max(axis=1) > 0
    return [
        f"{name}: its error about the rail, learned on this line, is {noise.sigma:.2g} m (standard deviation), "
        f"alike over {noise.length:.0f} m"
        for name, noise, speaks in zip(names, fit.noise, speaking, strict=True)
        if speaks
    ]


def _level(fit: Estimate) -> str:
    if fit.offset is None:
        return (
            "standard errors leave out a bias of the elevation data that is the same along the line "
            "(a few metres in global models): a known elevation would show it"
        )
    low, high = float(fit.offset.min()), float(fit.offset.max())
    where = f"{low:.1f} m" if high - low < 0.1 else f"{low:.1f} to {high:.1f} m"
    return f"the elevation data stand {where} above the known elevations; taken off"
