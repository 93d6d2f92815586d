"""All landmarks of a profile."""

from __future__ import annotations

from dataclasses import dataclass

from profiler.landmark import Landmark, Landmarks
from profiler.landmarks.grades import LEAST_UNDULATION, heavy_grades, ruling_grades, sustained_grades, totals
from profiler.landmarks.practice import practice_notes
from profiler.landmarks.runs import grade_breaks, grade_runs
from profiler.landmarks.straddles import length_quarters, straddles
from profiler.landmarks.structures import suspected_structures
from profiler.landmarks.turning import crests_and_sags, turning_points
from profiler.profile import Profile
from profiler.units import degree_of_curve

SHARPEST = 5
"""So many of the sharpest curves are landmarks."""


@dataclass(frozen=True)
class LandmarkSettings:
    """Definitions: ``prominence`` of crests and sags [m], change of a ``grade_break`` [m/m], a
    ``sustained_grade`` [m/m] over a ``sustained_length`` [m], ``train_lengths`` [m] to measure ruling grades by."""

    train_lengths: tuple[float, ...] = (1000.0, 2000.0)
    prominence: float = 5.0
    grade_break: float = 0.005
    sustained_grade: float = 0.008
    sustained_length: float = 2000.0


def find_landmarks(profile: Profile, settings: LandmarkSettings | None = None) -> Landmarks:
    """Landmarks, grade runs, straddles and the line beside design practice, in order of chainage.

    Parameters
    ----------
    profile : Profile
    settings : LandmarkSettings, optional
        Definitions; the customary ones if not given.
    """
    settings = settings or LandmarkSettings()
    runs = grade_runs(profile)
    turns = crests_and_sags(profile, settings.prominence)
    places = tuple(t.at for t in turns)
    items = [
        *turns,
        *grade_breaks(profile, runs, settings.grade_break, places),
        *ruling_grades(profile, settings.train_lengths),
        *sustained_grades(profile, settings.sustained_grade, settings.sustained_length),
        *heavy_grades(profile),
        *sharpest_curves(profile),
        *suspected_structures(profile),
        *totals(profile, turning_points(profile.elevation, LEAST_UNDULATION)),
    ]
    items.sort(key=lambda item: (item.start, item.at, item.kind, item.direction, item.train_length or 0.0))
    quarters = [length_quarters(length) for length in settings.train_lengths]
    return Landmarks(tuple(items), runs, straddles(items, quarters), practice_notes(profile))


def sharpest_curves(profile: Profile) -> list[Landmark]:
    """The sharpest curves by degree."""
    curves = sorted(profile.route.curves, key=lambda c: (-abs(c.curvature), c.start))[:SHARPEST]
    found = []
    for curve in curves:
        degrees = [float(d) for d in _degrees(curve.curvature, curve.curvature_se)]
        found.append(
            Landmark(
                kind="sharpest_curve",
                direction="both",
                start=curve.start,
                end=curve.end,
                at=(curve.start + curve.end) / 2,
                value=degrees[0],
                low=degrees[1],
                high=degrees[2],
                unit="degree",
                note=f"curve {curve.number}, {curve.hand} hand, radius {curve.radius:.0f} m",
            )
        )
    return found


def _degrees(curvature: float, se: float) -> tuple[float, float, float]:
    value, low, high = degree_of_curve([curvature, curvature - 1.96 * se, curvature + 1.96 * se])
    return float(value), float(low), float(high)
