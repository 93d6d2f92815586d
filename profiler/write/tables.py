"""The tables of a profile as CSV: metric always, units in the column names."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from profiler.landmark import GradeRun, Landmark, Landmarks, PracticeNote, Straddle
from profiler.longitude import wrapped
from profiler.profile import KnownResidual, Profile
from profiler.route import DIRECTIONS, Posts
from profiler.units import KMH, PERCENT
from profiler.vertical_curve import Pvi
from profiler.wording import known_words
from profiler.write.cells import Columns, Texts, fixed, post_cells
from profiler.write.datapackage import write_package
from profiler.write.plan_tables import plan_tables
from profiler.write.post_tables import posts_table
from profiler.write.route_tables import route_tables
from profiler.write.statement import left_out

_VALUE_DECIMALS = {"m": 2, "%": 4, "degree": 3}
_PRACTICE_DECIMALS = {"degree": 3, "m": 1, "mm": 0}
_STRUCTURES = np.array(["", "tunnel", "bridge"], dtype=object)


def write_tables(profile: Profile, landmarks: Landmarks, folder: Path) -> None:
    """Write every table of a profile, each a .csv, into ``folder``, and datapackage.json, which describes them.

    Parameters
    ----------
    profile, landmarks
        What to write, see `tables_of`.
    folder : Path
        An existing folder; files of these names are replaced.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    write_package(profile, tables_of(profile, landmarks), folder)


def write_csv(profile: Profile, landmarks: Landmarks, folder: Path) -> tuple[str, ...]:
    """Write the same, and tables of what stands along the route: the export ``csv``.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    write_package(profile, {**tables_of(profile, landmarks), **route_tables(profile.route)}, folder)
    return (left_out(),)


def tables_of(profile: Profile, landmarks: Landmarks) -> dict[str, Columns]:
    """Every table of a profile by its name; `profiler.write.columns` tells what a column means.

    Stations give the rows of profile, PVIs those of pvis; curves, alignment and corners are as `plan_tables`
    has them, the others are rows of the landmarks; ``landmark`` in straddles is a row of landmarks, from 1.

    Notes
    -----
    pvis is left out where the elevation data cannot show vertical points of intersection
    (``pvi_visible``): grades is then a way of reading the grade, and nothing claims a PVI.
    known_elevations is there where any were given: each beside what is fitted without it.
    """
    posts = profile.route.posts
    tables: dict[str, Columns] = {
        "profile": _profile(profile),
        "landmarks": _landmarks(landmarks.items, posts),
        "grades": _grades(landmarks.grade_runs, posts),
        **plan_tables(profile.route),
        "posts": posts_table(profile.route),
        "straddles": _straddles(landmarks.straddles),
        "practice": _practice(landmarks.practice, posts),
    }
    if profile.pvi_visible:
        tables["pvis"] = _pvis(profile.pvis)
    if profile.known:
        tables["known_elevations"] = _known(profile.known, posts)
    return tables


def _profile(profile: Profile) -> Columns:
    route = profile.route
    sources = np.array([*profile.source_names, ""], dtype=object)  # -1 is the last, the empty one
    return {
        "chainage_m": fixed(route.chainage, 1),
        "post": post_cells(route.posts, route.chainage),
        "longitude": fixed(wrapped(route.longitude), 7),
        "latitude": fixed(route.latitude, 7),
        "ground_m": fixed(profile.ground, 2),
        "elevation_m": fixed(profile.elevation, 2),
        "elevation_se_m": fixed(profile.elevation_se, 2),
        "grade_pct": fixed(profile.grade / PERCENT, 4),
        "grade_se_pct": fixed(profile.grade_se / PERCENT, 4),
        "degree_of_curve": fixed(profile.degree, 3),
        "structure": _STRUCTURES[route.structure_at(route.chainage).astype(int)].tolist(),
        "ground_source": Texts(sources[profile.ground_source]),
        "structure_probability": fixed(profile.structure_probability, 3),
        "ground_weight": fixed(profile.ground_weight, 3),
        **{
            f"compensated_grade_{direction}_pct": fixed(profile.compensated_grade(direction) / PERCENT, 4)
            for direction in DIRECTIONS
        },
    }


def _landmarks(items: Sequence[Landmark], posts: Posts) -> Columns:
    return {
        "kind": [item.kind for item in items],
        "direction": [item.direction for item in items],
        "train_length_m": fixed([item.train_length for item in items], 1),
        "start_m": fixed([item.start for item in items], 1),
        "end_m": fixed([item.end for item in items], 1),
        "at_m": fixed([item.at for item in items], 1),
        "post": post_cells(posts, [item.at for item in items]),
        **{
            name: [fixed([getattr(item, name)], _VALUE_DECIMALS[item.unit])[0] for item in items]
            for name in ("value", "low", "high")
        },
        "unit": [item.unit for item in items],
        "probability": fixed([item.probability for item in items], 3),
        "note": Texts(item.note for item in items),
    }


def _grades(runs: Sequence[GradeRun], posts: Posts) -> Columns:
    return {
        "start_m": fixed([run.start for run in runs], 1),
        "end_m": fixed([run.end for run in runs], 1),
        "post": post_cells(posts, [run.start for run in runs]),
        "grade_pct": fixed([run.grade / PERCENT for run in runs], 4),
        "grade_se_pct": fixed([run.grade_se / PERCENT for run in runs], 4),
        "rise_m": fixed([run.rise for run in runs], 2),
    }


def _pvis(pvis: Sequence[Pvi]) -> Columns:
    return {
        "chainage_m": fixed([pvi.chainage for pvi in pvis], 1),
        "chainage_se_m": fixed([pvi.chainage_se for pvi in pvis], 1),
        "elevation_m": fixed([pvi.elevation for pvi in pvis], 2),
        "grade_in_pct": fixed([pvi.grade_in / PERCENT for pvi in pvis], 4),
        "grade_out_pct": fixed([pvi.grade_out / PERCENT for pvi in pvis], 4),
        "curve_length_m": fixed([pvi.curve_length for pvi in pvis], 1),
        "se_m": fixed([pvi.elevation_se for pvi in pvis], 2),
        "probability": fixed([pvi.probability for pvi in pvis], 3),
    }


def _known(known: Sequence[KnownResidual], posts: Posts) -> Columns:
    return {
        "post": post_cells(posts, [item.chainage for item in known]),
        "chainage_m": fixed([item.chainage for item in known], 1),
        "place": Texts(item.place for item in known),
        "known_m": fixed([item.known for item in known], 2),
        "se_m": fixed([item.se for item in known], 2),
        "fitted_m": fixed([item.fitted for item in known], 2),
        "residual_m": fixed([item.residual for item in known], 2),
        "residual_se_m": fixed([item.residual_se for item in known], 2),
        "standard_errors": fixed([item.standard_errors for item in known], 1),
        "used": ["yes" if item.used else "no" for item in known],
        "note": Texts(known_words(item.reason, item.standard_errors, item.rival, item.unit_meant) for item in known),
    }


def _straddles(straddles: Sequence[Straddle]) -> Columns:
    places = ("train_length", "head", "quarter", "half", "three_quarter", "clear")
    return {
        "landmark": [str(straddle.landmark + 1) for straddle in straddles],
        "kind": [straddle.kind for straddle in straddles],
        "direction": [straddle.direction for straddle in straddles],
        **{f"{name}_m": fixed([getattr(s, name) for s in straddles], 1) for name in places},
    }


def _practice(notes: Sequence[PracticeNote], posts: Posts) -> Columns:
    return {
        "kind": [note.kind for note in notes],
        "of": Texts(note.of for note in notes),
        "start_m": fixed([note.start for note in notes], 1),
        "end_m": fixed([note.end for note in notes], 1),
        "post": post_cells(posts, [(note.start + note.end) / 2 for note in notes]),
        **{
            name: [fixed([getattr(note, name)], _PRACTICE_DECIMALS[note.unit])[0] for note in notes]
            for name in ("value", "value_se", "practice")
        },
        "unit": [note.unit for note in notes],
        "speed_kmh": fixed([None if note.speed is None else note.speed / KMH for note in notes], 1),
        "source": Texts(note.source for note in notes),
        "train_class": Texts(note.train_class for note in notes),
    }
