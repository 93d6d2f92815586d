"""How a profile lies in its GeoPackage: layers, columns, and the fields of the nouns they hold.

Reading and writing follow this one list. Columns named here are SI, read back bit for bit; what is
written beside them for people (percent, posts, degrees of curve) is not read.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from profiler.landmark import GradeRun, Landmark, PracticeNote, Straddle
from profiler.profile import KnownResidual
from profiler.route import Corner, CurveElement, KnownPost, SpeedLimit, Station, Structure
from profiler.vertical_curve import Pvi

VERSION = 7
"""Number of this layout; a reader refuses any other."""

FILE_NAME = "profile.gpkg"
WRITTEN_BY = "gradewright"
DRAW = "draw_{:03d}_m"


class Column(NamedTuple):
    """A column and the field it holds; an ``optional`` number is None where the cell is empty."""

    name: str
    field: str
    kind: type = float
    optional: bool = False


class Record(NamedTuple):
    """A layer with one noun a row."""

    noun: type[Any]
    columns: tuple[Column, ...]


_START, _END = Column("start_m", "start"), Column("end_m", "end")
_PLACE = (Column("name", "name", str), Column("chainage_m", "chainage"))
_LIMIT = (
    _START,
    _END,
    Column("speed_m_per_s", "speed"),
    Column("train_class", "train_class", str),
    Column("reason", "reason", str),
)

RECORDS = {
    "landmarks": Record(
        Landmark,
        (
            Column("kind", "kind", str),
            Column("direction", "direction", str),
            Column("train_length_m", "train_length", optional=True),
            _START,
            _END,
            Column("at_m", "at"),
            Column("value", "value"),
            Column("low", "low", optional=True),
            Column("high", "high", optional=True),
            Column("unit", "unit", str),
            Column("probability", "probability"),
            Column("place_low_m", "place_low", optional=True),
            Column("place_high_m", "place_high", optional=True),
            Column("note", "note", str),
        ),
    ),
    "grade_runs": Record(
        GradeRun,
        (
            _START,
            _END,
            Column("grade_ratio", "grade"),
            Column("grade_se_ratio", "grade_se"),
            Column("rise_m", "rise"),
            Column("end_se_m", "end_se"),
        ),
    ),
    "pvis": Record(
        Pvi,
        (
            Column("chainage_m", "chainage"),
            Column("chainage_se_m", "chainage_se"),
            Column("elevation_m", "elevation"),
            Column("elevation_se_m", "elevation_se"),
            Column("grade_in_ratio", "grade_in"),
            Column("grade_out_ratio", "grade_out"),
            Column("curve_length_m", "curve_length"),
            Column("probability", "probability"),
        ),
    ),
    "straddles": Record(
        Straddle,
        (
            Column("landmark_index", "landmark", int),
            Column("kind", "kind", str),
            Column("direction", "direction", str),
            Column("train_length_m", "train_length"),
            Column("head_m", "head"),
            Column("quarter_m", "quarter"),
            Column("half_m", "half"),
            Column("three_quarter_m", "three_quarter"),
            Column("clear_m", "clear"),
        ),
    ),
    "known_elevations": Record(
        KnownResidual,
        (
            Column("place", "place", str),
            Column("chainage_m", "chainage"),
            Column("known_m", "known"),
            Column("se_m", "se"),
            Column("fitted_m", "fitted"),
            Column("residual_se_m", "residual_se"),
            Column("reason", "reason", str),
            Column("rival", "rival", str),
        ),
    ),
    "curves": Record(
        CurveElement,
        (
            Column("number", "number", str),
            Column("kind", "kind", str),
            _START,
            _END,
            Column("spiral_in_m", "spiral_in"),
            Column("spiral_out_m", "spiral_out"),
            Column("curvature_per_m", "curvature"),
            Column("curvature_se_per_m", "curvature_se"),
            Column("start_se_m", "start_se"),
            Column("end_se_m", "end_se"),
            Column("spiral_in_se_m", "spiral_in_se"),
            Column("spiral_out_se_m", "spiral_out_se"),
            Column("deflection_se_rad", "deflection_se"),
        ),
    ),
    "corners": Record(Corner, (Column("chainage_m", "chainage"), Column("turn_rad", "turn"), Column("step_m", "step"))),
    "known_posts": Record(
        KnownPost,
        (
            Column("known_post", "post"),
            Column("chainage_m", "chainage"),
            Column("residual_m", "residual", optional=True),
        ),
    ),
    "practice": Record(
        PracticeNote,
        (
            Column("kind", "kind", str),
            _START,
            _END,
            Column("value", "value"),
            Column("practice", "practice"),
            Column("unit", "unit", str),
            Column("value_se", "value_se"),
            Column("speed_m_per_s", "speed", optional=True),
            Column("train_class", "train_class", str),
            Column("of", "of", str),
            Column("source", "source", str),
        ),
    ),
    "structures": Record(
        Structure,
        (
            Column("kind", "kind", str),
            _START,
            _END,
            Column("name", "name", str),
            Column("origin", "origin", str),
        ),
    ),
    "places": Record(Station, _PLACE),
    "stops": Record(Station, _PLACE),
    "limits": Record(SpeedLimit, _LIMIT),
    "slow_orders": Record(SpeedLimit, _LIMIT),
}

STATIONS = "profile"
ROUTE_ARRAYS = {
    "chainage_m": "chainage",
    "heading_rad": "heading",
    "curvature_per_m": "curvature",
    "curvature_se_per_m": "curvature_se",
    "lateral_se_m": "lateral_se",
}
PROFILE_ARRAYS = {
    "ground_m": "ground",
    "elevation_m": "elevation",
    "elevation_se_m": "elevation_se",
    "grade_ratio": "grade",
    "grade_se_ratio": "grade_se",
    "structure_probability": "structure_probability",
    "source_index": "ground_source",
    "ground_weight": "ground_weight",
}
"""Columns of the layer of stations; longitude and latitude are its geometry."""

POSTS_MAP = {"chainage_m": "chainage", "post": "value"}

ROUTE_FACTS = {
    "name": "name",
    "ends": "ends",
    "line_source": "source",
    "scale": "scale",
    "line_assumptions": "assumptions",
}
PROFILE_FACTS = {
    "source_names": "source_names",
    "vertical_datum": "vertical_datum",
    "units": "units",
    "pvi_visible": "pvi_visible",
    "curve_compensation_per_degree": "curve_compensation",
    "curve_resistance": "curve_resistance",
    "attribution": "attribution",
    "licence": "licence",
    "invented": "invented",
    "assumptions": "assumptions",
}
POSTS_FACTS = {"post_unit": "unit", "posts_stated": "stated", "post_prefix": "prefix", "post_plus": "plus"}
"""Keys of the table ``about``, whose values are JSON."""

LAYERS = ("centreline", STATIONS, *RECORDS, "posts", "draws", "posts_map", "about")
