"""A territory: one checked route file, every unit in its key's name."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from profiler.track_chart import AS_ON_CHART
from profiler.units import FOOT, KMH, MPH, POST_UNITS, US_SURVEY_FOOT

VERTICAL_UNITS_M = {"m": 1.0, "ft": FOOT, "us-ft": US_SURVEY_FOOT}
"""Metres per declared vertical unit."""

_POST_UNIT_M = {**POST_UNITS, "m": 1.0}

CHART_SE = 0.3
"""Standard error of a chart's elevations where none is stated, a foot: common practice, no source. [m]"""

Longitude = Annotated[float, Field(ge=-180, le=180)]
Latitude = Annotated[float, Field(ge=-90, le=90)]
Speed = Annotated[float, Field(gt=0, le=500)]
Credit = Annotated[str, Field(max_length=1000), AfterValidator(lambda text: " ".join(text.split()))]
"""Words that stand wherever the data are credited, on one line."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, allow_inf_nan=False)


class Place(_Table):
    """A place on the line: a post, or longitude and latitude, or chainage_m. Exactly one of them."""

    post: str | None = None
    longitude: Longitude | None = None
    latitude: Latitude | None = None
    chainage_m: float | None = None

    @model_validator(mode="before")
    @classmethod
    def _post_as_text(cls, data: Any) -> Any:
        if isinstance(data, dict) and isinstance(data.get("post"), int | float):
            return {**data, "post": str(data["post"])}
        return data

    @model_validator(mode="after")
    def _one_way(self) -> Place:
        pair = (self.longitude is not None) + (self.latitude is not None)
        if pair == 1:
            raise ValueError("longitude and latitude belong together")
        if (self.post is not None) + (pair == 2) + (self.chainage_m is not None) != 1:
            raise ValueError("a place is a post, or longitude and latitude, or chainage_m: give one of them")
        return self

    def words(self) -> str:
        """The place as the file states it."""
        if self.post is not None:
            return f"post {self.post}"
        if self.chainage_m is not None:
            return f"chainage {self.chainage_m:g} m"
        return f"longitude {self.longitude:.5f}, latitude {self.latitude:.5f}"


class RouteTable(_Table):
    name: str = ""
    units: Literal["us", "metric"] = "metric"
    ends: tuple[str, str] | None = None
    invented: bool = False


class PostsFrom(_Table):
    """Posts carried by the pieces (start, end) or by point features (points, post)."""

    unit: Literal["mi", "km", "m"]
    start: str | None = None
    end: str | None = None
    points: str | None = None
    post: str | None = None

    @model_validator(mode="after")
    def _one_way(self) -> PostsFrom:
        by_pieces = self.start is not None and self.end is not None
        by_points = self.points is not None and self.post is not None
        if by_pieces == by_points or (by_pieces and (self.points or self.post)):
            raise ValueError("give start and end (fields of the pieces), or points and post (a file and its field)")
        return self

    @property
    def unit_m(self) -> float:
        return _POST_UNIT_M[self.unit]


class CentrelineTable(_Table):
    """Where the line is drawn; ``attribution`` and ``licence`` say whose drawing it is, as its provider asks."""

    path: str
    layer: str | None = None
    keep: dict[str, list[str]] | None = None
    start: Place | None = None
    end: Place | None = None
    posts_from: PostsFrom | None = None
    attribution: Credit = ""
    licence: Credit = ""


class ElevationTable(_Table):
    """Rasters of the ground; ``attribution`` and ``licence`` say whose they are, as their provider asks."""

    rasters: Annotated[list[str], Field(min_length=1)]
    vertical_datum: str = "unknown"
    vertical_unit: Literal["m", "ft", "us-ft"] | None = None
    offset_m: float = 0.0
    attribution: Credit = ""
    licence: Credit = ""


class PostAt(Place):
    """A post tied to a place: here `post` is the label and one of the other keys the place."""

    post: str

    @model_validator(mode="after")
    def _one_way(self) -> PostAt:
        pair = (self.longitude is not None) + (self.latitude is not None)
        if pair == 1 or (pair == 2) == (self.chainage_m is not None):
            raise ValueError("a post is tied to chainage_m, or to longitude and latitude: give one of them")
        return self


class PostEquation(_Table):
    at_chainage_m: float
    back: str
    ahead: str


class PostsTable(_Table):
    unit: Literal["mi", "km"]
    at: Annotated[list[PostAt], Field(min_length=1)]
    equations: list[PostEquation] = []


class StructurePostsFrom(_Table):
    start: str
    length_m: str | None = None
    end: str | None = None


class StructureTable(_Table):
    kind: Literal["tunnel", "bridge"]
    name: str = ""
    path: str | None = None
    layer: str | None = None
    name_from: str | None = None
    posts_from: StructurePostsFrom | None = None
    from_: Annotated[Place | None, Field(alias="from")] = None
    to: Place | None = None

    @model_validator(mode="after")
    def _one_way(self) -> StructureTable:
        by_places = self.from_ is not None and self.to is not None
        if by_places == (self.path is not None):
            raise ValueError("give path (a file of structures), or from and to (two places)")
        return self


class _Limit(_Table):
    from_: Annotated[Place, Field(alias="from")]
    to: Place
    speed_mph: Speed | None = None
    speed_kmh: Speed | None = None

    @model_validator(mode="after")
    def _one_speed(self) -> _Limit:
        if (self.speed_mph is None) == (self.speed_kmh is None):
            raise ValueError("give speed_mph or speed_kmh, one of them")
        return self

    @property
    def speed(self) -> float:
        """[m/s]"""
        return self.speed_mph * MPH if self.speed_mph is not None else (self.speed_kmh or 0.0) * KMH


class SpeedLimitTable(_Limit):
    train_class: str = ""


class SlowOrderTable(_Limit):
    reason: str = ""


class KnownElevationTable(_Table):
    """A height of the rail; ``offset_m`` is added to it, stated by the user to bring it to the rasters' datum."""

    at: Place
    elevation_m: Annotated[float | None, Field(ge=-500, le=9000)] = None
    elevation_ft: Annotated[float | None, Field(ge=-1640, le=29_530)] = None
    se_m: Annotated[float | None, Field(gt=0)] = None
    se_ft: Annotated[float | None, Field(gt=0)] = None
    vertical_datum: str = "unknown"
    offset_m: float | None = None

    @model_validator(mode="after")
    def _one_elevation(self) -> KnownElevationTable:
        if (self.elevation_m is None) == (self.elevation_ft is None):
            raise ValueError("give elevation_m or elevation_ft, one of them")
        if self.se_m is not None and self.se_ft is not None:
            raise ValueError("give se_m or se_ft, one of them")
        return self

    @property
    def elevation(self) -> float:
        """As given, above its own datum. [m]"""
        return self.elevation_m if self.elevation_m is not None else (self.elevation_ft or 0.0) * FOOT

    @property
    def se(self) -> float | None:
        """Standard error as given, None where none is. [m]"""
        return self.se_ft * FOOT if self.se_ft is not None else self.se_m


class StationTable(_Table):
    name: str
    at: Place


class StopTable(_Table):
    at: Place


class ProfileTable(_Table):
    """A known profile, typed from a track chart; ``se_m`` is the standard error of its elevations."""

    table: str
    curves: str | None = None
    se_m: Annotated[float | None, Field(gt=0, le=100)] = None
    se_ft: Annotated[float | None, Field(gt=0, le=300)] = None
    vertical_datum: str = AS_ON_CHART

    @model_validator(mode="after")
    def _one_se(self) -> ProfileTable:
        if self.se_m is not None and self.se_ft is not None:
            raise ValueError("give se_m or se_ft, one of them")
        return self

    @property
    def se(self) -> float:
        """Standard error of the elevations, `CHART_SE` where none is stated. [m]"""
        return self.se_ft * FOOT if self.se_ft is not None else self.se_m or CHART_SE


class SettingsTable(_Table):
    """How a line is worked on: what a territory file may set, with its defaults."""

    fast_curves: bool = False
    step_m: Annotated[float, Field(ge=1, le=100)] = 10.0
    max_grade_pct: Annotated[float, Field(gt=0, le=15)] = 4.5
    max_gap_km: Annotated[float, Field(ge=0, le=50)] = 2.0
    train_lengths_m: Annotated[list[Annotated[float, Field(ge=10, le=10_000)]], Field(min_length=1)] = [
        1000.0,
        2000.0,
    ]
    prominence_m: Annotated[float, Field(gt=0, le=500)] = 5.0
    grade_break_pct: Annotated[float, Field(gt=0, le=10)] = 0.5
    sustained_grade_pct: Annotated[float, Field(gt=0, le=10)] = 0.8
    sustained_length_km: Annotated[float, Field(gt=0, le=100)] = 2.0
    curve_compensation_pct_per_degree: Annotated[float, Field(ge=0, le=0.2)] = 0.04
    interpolation: Literal["bilinear", "cubic"] = "bilinear"
    grade_classes_pct: Annotated[list[float], Field(min_length=4, max_length=4)] | None = None

    @model_validator(mode="after")
    def _classes_rise(self) -> SettingsTable:
        limits = self.grade_classes_pct
        if limits is not None and (min(limits) <= 0 or sorted(set(limits)) != limits):
            raise ValueError("grade_classes_pct must be four rising figures above zero")
        return self


class Territory(_Table):
    """A whole territory; ``folder`` is where its relative paths start, ``source`` its file.

    ``raster_folder`` is where those of rasters start, if elsewhere: on the command line they start
    where one stands.
    """

    route: RouteTable = RouteTable()
    centreline: CentrelineTable | None = None
    elevation: ElevationTable | None = None
    posts: PostsTable | None = None
    structures: list[StructureTable] = []
    speed_limits: list[SpeedLimitTable] = []
    slow_orders: list[SlowOrderTable] = []
    known_elevations: list[KnownElevationTable] = []
    stations: list[StationTable] = []
    stops: list[StopTable] = []
    profile: ProfileTable | None = None
    settings: SettingsTable = SettingsTable()
    folder: Annotated[Path, Field(exclude=True)] = Path()
    source: Annotated[str, Field(exclude=True)] = ""
    raster_folder: Annotated[Path | None, Field(exclude=True)] = None

    @model_validator(mode="after")
    def _whole(self) -> Territory:
        if self.posts is not None and self.centreline is not None and self.centreline.posts_from is not None:
            raise ValueError("posts stand twice, in [posts] and in centreline.posts_from: keep one of them")
        if self.profile is None and self.centreline is None:
            raise ValueError("there is no [centreline]: say where the line is, with path = …")
        if self.profile is not None and self.elevation is not None:
            raise ValueError("[profile] and [elevation] both tell the elevation: keep one of them")
        if self.profile is not None and self.known_elevations:
            raise ValueError("known_elevations stand beside [profile]: make each a row of its table")
        return self

    def named_files(self) -> tuple[tuple[Path, str], ...]:
        """Every file that it rests on but its rasters, itself first, each with its role."""
        files: list[tuple[Path, str]] = []
        if Path(self.source).suffix == ".toml":
            files.append((Path(self.source), "territory"))
        if self.centreline is not None:
            files.append((self.folder / self.centreline.path, "centreline"))
            if self.centreline.posts_from is not None and self.centreline.posts_from.points:
                files.append((self.folder / self.centreline.posts_from.points, "posts"))
        files += [(self.folder / s.path, f"{s.kind}s") for s in self.structures if s.path]
        if self.profile is not None:
            tables = ((self.profile.table, "profile table"), (self.profile.curves, "curves"))
            files += [(self.folder / name, role) for name, role in tables if name]
        return tuple(files)

    def written_posts(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Posts as the file writes them: those of [posts], and those of all other places."""
        table, line = self.posts, self.centreline
        stated = [] if table is None else [entry.post for entry in table.at]
        stated += [] if table is None else [post for e in table.equations for post in (e.back, e.ahead)]
        places = [] if line is None else [line.start, line.end]
        places += [place for table in self.structures for place in (table.from_, table.to)]
        limits: tuple[_Limit, ...] = (*self.speed_limits, *self.slow_orders)
        places += [place for table in limits for place in (table.from_, table.to)]
        places += [known.at for known in self.known_elevations]
        places += [station.at for station in self.stations] + [stop.at for stop in self.stops]
        return tuple(stated), tuple(p.post for p in places if p is not None and p.post is not None)
