"""Gradewright: a track centreline and open elevation data in, a railway grade and curvature profile out.

The public list. Names are loaded when they are first asked for, so that importing costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from profiler.briefing.direction import direction_towards
    from profiler.briefing.lesson import Question, lesson
    from profiler.briefing.plan import Briefing, plan_handling
    from profiler.briefing.story import Fact, Sentence, five_facts, six_sentences
    from profiler.build import build_profile, build_route, landmarks_of, open_ground
    from profiler.centreline import Centreline, Piece, PointFeature
    from profiler.cited import Cited
    from profiler.comparison.beside import Beside, compare_beside
    from profiler.comparison.compare import Comparison, compare
    from profiler.errors import (
        CoverageError,
        InputError,
        MissingCRSError,
        OutputError,
        ProfilerError,
        RouteError,
        TerritoryError,
        TrainError,
    )
    from profiler.files import sha256, staged_file, staged_folder
    from profiler.ground import Bounds, Ground, GroundSource, Relief
    from profiler.landmark import GradeRun, Landmark, Landmarks, Straddle
    from profiler.landmarks.find import LandmarkSettings, find_landmarks
    from profiler.mark import Mark
    from profiler.network_line import NetworkLine
    from profiler.present.chart import draw_chart
    from profiler.present.map import draw_map
    from profiler.present.network import draw_network
    from profiler.profile import Draws, Profile, reversed_profile
    from profiler.read.centreline import read_centreline
    from profiler.read.checking import check_tables, load_toml, told_at_once, toml_kind
    from profiler.read.profile import read_landmarks, read_profile
    from profiler.read.reference_table import read_reference
    from profiler.read.territory import read_territory, territory_of_line
    from profiler.read.trains import read_train
    from profiler.reference import Reference
    from profiler.results import (
        write_beside,
        write_briefings,
        write_comparison,
        write_network,
        write_network_view,
        write_profile,
        write_profile_file,
    )
    from profiler.route import CurveElement, Posts, Route, SpeedLimit, Station, Structure
    from profiler.sample import sample_territory
    from profiler.territory import ElevationTable, SettingsTable, Territory
    from profiler.train import Block, Train
    from profiler.vehicle import Vehicle
    from profiler.write.exports import EXPORTS, export

_PLACES = {
    "briefing.direction": ("direction_towards",),
    "briefing.lesson": ("Question", "lesson"),
    "briefing.plan": ("Briefing", "plan_handling"),
    "briefing.story": ("Fact", "Sentence", "five_facts", "six_sentences"),
    "build": ("build_profile", "build_route", "landmarks_of", "open_ground"),
    "centreline": ("Centreline", "Piece", "PointFeature"),
    "cited": ("Cited",),
    "comparison.beside": ("Beside", "compare_beside"),
    "comparison.compare": ("Comparison", "compare"),
    "errors": (
        "CoverageError",
        "InputError",
        "MissingCRSError",
        "OutputError",
        "ProfilerError",
        "RouteError",
        "TerritoryError",
        "TrainError",
    ),
    "files": ("sha256", "staged_file", "staged_folder"),
    "ground": ("Bounds", "Ground", "GroundSource", "Relief"),
    "landmark": ("GradeRun", "Landmark", "Landmarks", "Straddle"),
    "landmarks.find": ("LandmarkSettings", "find_landmarks"),
    "mark": ("Mark",),
    "network_line": ("NetworkLine",),
    "present.chart": ("draw_chart",),
    "present.map": ("draw_map",),
    "present.network": ("draw_network",),
    "profile": ("Draws", "Profile", "reversed_profile"),
    "read.centreline": ("read_centreline",),
    "read.checking": ("check_tables", "load_toml", "told_at_once", "toml_kind"),
    "read.profile": ("read_landmarks", "read_profile"),
    "read.reference_table": ("read_reference",),
    "read.territory": ("read_territory", "territory_of_line"),
    "read.trains": ("read_train",),
    "reference": ("Reference",),
    "results": (
        "write_beside",
        "write_briefings",
        "write_comparison",
        "write_network",
        "write_network_view",
        "write_profile",
        "write_profile_file",
    ),
    "route": ("CurveElement", "Posts", "Route", "SpeedLimit", "Station", "Structure"),
    "sample": ("sample_territory",),
    "territory": ("ElevationTable", "SettingsTable", "Territory"),
    "train": ("Block", "Train"),
    "vehicle": ("Vehicle",),
    "write.exports": ("EXPORTS", "export"),
}
_PLACE_OF = {name: module for module, names in _PLACES.items() for name in names}

__all__ = [
    "EXPORTS",
    "Beside",
    "Block",
    "Bounds",
    "Briefing",
    "Centreline",
    "Cited",
    "Comparison",
    "CoverageError",
    "CurveElement",
    "Draws",
    "ElevationTable",
    "Fact",
    "GradeRun",
    "Ground",
    "GroundSource",
    "InputError",
    "Landmark",
    "LandmarkSettings",
    "Landmarks",
    "Mark",
    "MissingCRSError",
    "NetworkLine",
    "OutputError",
    "Piece",
    "PointFeature",
    "Posts",
    "Profile",
    "ProfilerError",
    "Question",
    "Reference",
    "Relief",
    "Route",
    "RouteError",
    "Sentence",
    "SettingsTable",
    "SpeedLimit",
    "Station",
    "Straddle",
    "Structure",
    "Territory",
    "TerritoryError",
    "Train",
    "TrainError",
    "Vehicle",
    "build_profile",
    "build_route",
    "check_tables",
    "compare",
    "compare_beside",
    "direction_towards",
    "draw_chart",
    "draw_map",
    "draw_network",
    "export",
    "find_landmarks",
    "five_facts",
    "landmarks_of",
    "lesson",
    "load_toml",
    "open_ground",
    "plan_handling",
    "read_centreline",
    "read_landmarks",
    "read_profile",
    "read_reference",
    "read_territory",
    "read_train",
    "reversed_profile",
    "sample_territory",
    "sha256",
    "six_sentences",
    "staged_file",
    "staged_folder",
    "territory_of_line",
    "told_at_once",
    "toml_kind",
    "write_beside",
    "write_briefings",
    "write_comparison",
    "write_network",
    "write_network_view",
    "write_profile",
    "write_profile_file",
]


def __getattr__(name: str) -> Any:
    if name in _PLACE_OF:
        return getattr(importlib.import_module(f"profiler.{_PLACE_OF[name]}"), name)
    raise AttributeError(f"module 'profiler' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
