"""The estimator on real lines and real gradient tables, with what it is not told: needs the folder of open data.

Gradient tables: Kouzoupis, Pendharkar and Corman, Operations Research Forum 4, 67 (2023), BSD 2-Clause;
operating points: SBB open data; ground: SRTM (public domain).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from profiler import build_profile, landmarks_of
from profiler.elevation.estimator import Estimate, estimate
from profiler.elevation.noise import GREATEST_ERROR, LEAST_ERROR, Noise, fit_noise
from profiler.elevation.sampling import sample
from profiler.landmark import Landmark
from profiler.profile import Profile
from profiler.read.rasters import open_sources
from profiler.territory import Territory
from tests import open_data
from tests.open_data import OPEN_DATA, published, residuals

pytestmark = open_data.needs_open_data


@dataclass(frozen=True, eq=False)
class Withheld:
    """A line with its list of tunnels, and with the list withheld."""

    told: Profile
    untold: Profile
    suspected: tuple[Landmark, ...]

    @classmethod
    def of(cls, told: Territory, untold: Territory) -> Withheld:
        profile = build_profile(untold, trim=True)
        found = landmarks_of(profile, untold).of_kind("suspected_tunnel", "suspected_bridge")
        return cls(build_profile(told, trim=True), profile, found)

    def inside(self, name: str) -> np.ndarray:
        """Stations (n,) in a listed tunnel, bool."""
        (tunnel,) = [s for s in self.told.route.structures if s.name.startswith(name)]
        return (self.told.chainage >= tunnel.start) & (self.told.chainage <= tunnel.end)

    @property
    def moved(self) -> np.ndarray:
        """How far (n,) the rail moves when the list is withheld. [m]"""
        return np.abs(self.untold.elevation - self.told.elevation)

    def share_suspected(self, name: str) -> float:
        """Share of a listed tunnel under suspected tunnels."""
        inside, under = self.inside(name), np.zeros(self.told.chainage.size, dtype=bool)
        for run in self.suspected:
            if run.kind == "suspected_tunnel":
                under |= (self.told.chainage >= run.start) & (self.told.chainage <= run.end)
        return float(under[inside].mean())


@pytest.fixture(scope="module")
def puymorens() -> Withheld:
    return Withheld.of(open_data.puymorens(), open_data.puymorens(tunnels=False))


@pytest.fixture(scope="module")
def maurienne() -> Withheld:
    return Withheld.of(open_data.maurienne(), open_data.maurienne(tunnels=False))


@pytest.mark.parametrize(("name", "limit"), [("Saillens Hélicoidal", 5.0), ("Puymorens", 10.0)])
def test_a_withheld_tunnel_is_crossed_as_a_listed_one(puymorens: Withheld, name: str, limit: float):
    """Law: under 400 and 530 m of mountain that nobody tells of, the rail stays where the list puts it:
    1.5 m and 8.4 m off at most, when this was written."""
    inside = puymorens.inside(name)
    assert puymorens.moved[inside].max() < limit
    assert puymorens.untold.structure_probability[inside].mean() > 0.95


def test_withheld_tunnels_are_suspected(puymorens: Withheld):
    """Published: the line's tunnels over 400 m (SNCF Réseau tunnel list). With the list withheld all but one
    are suspected over more than half of their length, and nothing is suspected that is not on the list. The
    one, Lareng, was found beside a smoothed line and is missed beside the line as it is read now."""
    long = [s for s in puymorens.told.route.structures if s.end - s.start > 400]
    assert {s.name for s in long} == {
        "Couloubret",
        "Runac-Berduquet",
        "Lareng",
        "Saillens Hélicoidal",
        "Barthe-Espresso",
        "Puymorens",
    }
    shares = {s.name: puymorens.share_suspected(s.name) for s in long}
    assert sorted(shares.values())[1] > 0.5, shares
    for run in puymorens.suspected:
        assert any(s.start < run.end and s.end > run.start for s in puymorens.told.route.structures), run
        assert run.probability > 0.5


def test_stations_do_not_need_the_list(puymorens: Withheld):
    """Published: nine station elevations, to a metre or so: rms within 4 m, none beyond 8 m, at least 7
    within 2.5 standard errors, with the list withheld too."""
    error, se = np.array(list(residuals(puymorens.untold, published("fr-puymorens", "pk_km")).values())).T
    assert np.sqrt((error**2).mean()) <= 4.0
    assert np.abs(error).max() <= 8.0
    assert (np.abs(error) < 2.5 * np.hypot(se, 1.0)).sum() >= 7


def test_the_line_ends_in_a_tunnel_nobody_told_of(maurienne: Withheld):
    """Published: the Fréjus tunnel, 6,908 m to the frontier, where this line ends (SNCF Réseau tunnel list).
    Withheld, it is suspected from its mouth to the end, and said not to come out."""
    last = maurienne.suspected[-1]
    assert last.kind == "suspected_tunnel"
    assert last.start == pytest.approx(maurienne.told.chainage[maurienne.inside("Fréjus")][0], abs=300)
    assert last.end == maurienne.untold.chainage[-1]
    assert last.probability > 0.95
    assert last.value > 1400
    assert "does not come out before the line ends" in last.note
    assert maurienne.share_suspected("Fréjus") > 0.95


def test_it_does_not_follow_the_mountain(maurienne: Withheld):
    """Law: inside, the ground rises 1,700 m and the rail by no more than its bound allows; the standard
    error grows to the end; the rail is within three standard errors of the listed one's."""
    inside = maurienne.inside("Fréjus")
    told, untold = maurienne.told, maurienne.untold
    assert np.ptp(untold.ground[inside]) > 1600
    assert np.ptp(untold.elevation[inside]) < 0.045 * 7000
    assert (np.diff(untold.elevation_se[inside][50::50]) > 0).all()
    assert untold.elevation_se[-1] > 10 * np.median(untold.elevation_se)
    apart = maurienne.moved / np.hypot(told.elevation_se, untold.elevation_se)
    assert apart[inside].max() < 3, "in the tunnel"
    assert apart.max() < 3, "anywhere"


@pytest.mark.parametrize("name", ["Sorderettes", "Grandes Murailles", "St-Antoine"])
def test_withheld_tunnels_of_the_valley(maurienne: Withheld, name: str):
    """Published: tunnels of 571 to 1,074 m (SNCF Réseau tunnel list) under 57 to 63 m of ground."""
    assert maurienne.share_suspected(name) > 0.5


LE90 = 1.645  # of a normal error: 90 % lie within so many s.d.
SRTM, GLO_30 = 16.0 / LE90, 4.0 / LE90


@pytest.mark.parametrize("line", ["puymorens", "maurienne"])
def test_the_noise_learned_is_of_the_size_published(line: str, request: pytest.FixtureRequest):
    """Published: SRTM errs by at most 16 m at 90 % (s.d. 9.73 m; Farr et al. 2007), Copernicus GLO-30 by
    4 m (2.43 m; its product handbook). What is learned here of SRTM, without the bias of the region, is
    far below its specification, over half a metre, and within a factor of two of the other model's; and
    both published figures are ones that the estimator may learn."""
    profile = request.getfixturevalue(line).told
    counts = np.isfinite(profile.ground) & (profile.structure_probability < 0.2)
    learned = fit_noise(profile.ground - profile.elevation, counts, float(np.diff(profile.chainage[:2])[0]))
    assert 0.5 < learned.sigma < SRTM
    assert GLO_30 / 2 < learned.sigma < GLO_30 * 2
    assert pytest.approx(9.73, abs=0.005) == GREATEST_ERROR
    assert LEAST_ERROR < GLO_30 < GREATEST_ERROR


@dataclass(frozen=True, eq=False)
class Table:
    """An official gradient table: sections of grade [m/m] from ``start`` to ``start[1:]``, ``length`` [m];
    ``base`` is the elevation at its beginning [m]; tile and operating points lie beside it."""

    start: np.ndarray
    grade: np.ndarray
    length: float
    base: float
    points: str
    tile: str

    @classmethod
    def read(cls, name: str, length: float, base: float, points: str, tile: str) -> Table:
        rows = np.loadtxt(Path(OPEN_DATA, FOLDER, f"{name}_gradients.csv"), delimiter=",", skiprows=1)
        return cls(rows[:, 0], rows[:, 1] / 1000, length, base, points, tile)

    def grade_at(self, chainage: np.ndarray) -> np.ndarray:
        """Official grade (n,). [m/m]"""
        return self.grade[np.clip(np.searchsorted(self.start, chainage, side="right") - 1, 0, None)]

    def elevation_at(self, chainage: np.ndarray) -> np.ndarray:
        """Elevation (n,) by the official grades alone. [m]"""
        ends = np.r_[self.start, self.length]
        return np.interp(chainage, ends, self.base + np.r_[0.0, np.cumsum(self.grade * np.diff(ends))])

    def track(self, chainage: np.ndarray) -> np.ndarray:
        """Elevation (n,) of a track with that table: every join rounded by a parabola of `CURVE`."""
        fine = np.arange(-CURVE, self.length + CURVE + 1)
        kernel = np.full(int(CURVE) + 1, 1 / (CURVE + 1))
        grade = np.convolve(self.grade_at(fine), kernel, mode="same")
        rise = np.r_[0.0, np.cumsum((grade[1:] + grade[:-1]) / 2)]
        rise -= np.interp(0.0, fine, rise)
        return self.base + np.interp(chainage, fine, rise)

    def tile_error(self) -> float:
        """Robust s.d. of the tile about the table at the operating points, their kilometres scaled. [m]"""
        with Path(OPEN_DATA, FOLDER, self.points).open(encoding="utf-8-sig") as file:
            rows = list(csv.DictReader(file, delimiter=";"))
        post = np.array([float(r["Kilometry of the operating point"]) for r in rows])
        latitude, longitude = np.array([r["geopos"].split(",") for r in rows], dtype=float).T
        chainage = (post - post.min()) / np.ptp(post) * self.length
        ground = sample(open_sources([self.tile], Path(OPEN_DATA, FOLDER)), longitude, latitude).values[0]
        off = ground - self.elevation_at(chainage)
        return float(1.4826 * np.median(np.abs(off - np.median(off))))


FOLDER = "ch-gradient-tables"
CURVE = 60.0
"""Length of vertical curves: at 100 km/h a radius of 0.35 V² = 3,500 m (EN 13803) needs 56 m for a
change of 16 per mille, the greatest between steep sections. [m]"""

TABLES = {
    "stgallen_wil": (29_556.1, 675.2, "operating_points_850_StGallen_Wil.csv", "N47E009.hgt"),
    "fribourg_bern": (31_240.7, 630.0, "operating_points_250_Fribourg_Bern.csv", "N46E007.hgt"),
}
GROUNDS = {"lidar": Noise(0.2, 20.0), "DTM": Noise(0.8, 60.0)}
LIMITS = {"lidar": (0.50, 0.045, 0.35), "DTM": (0.60, 0.08, 0.55), "own tile": (0.95, 0.32, 2.1)}
"""Station grade and 2 km mean grade, 95th percentile [%], elevation rms [m]."""


@pytest.fixture(scope="module", params=TABLES)
def table(request: pytest.FixtureRequest) -> Table:
    return Table.read(request.param, *TABLES[request.param])


def test_the_table_is_the_published_line(table: Table):
    """Published: the gradients add up to 570.9 m at Wil and 539.5 m at Bern; the tile agrees within 5 m at
    most operating points, so that its s.d. is some 2.5 m. Vertical curves move the track by decimetres."""
    end = float(table.elevation_at(np.array([table.length]))[0])
    assert end == pytest.approx(570.9 if "N47" in table.tile else 539.5, abs=0.05)
    assert 1.5 < table.tile_error() < 4.0
    places = np.arange(0.0, table.length, 10.0)
    assert np.abs(table.track(places) - table.elevation_at(places)).max() < 0.2


@pytest.mark.parametrize("ground", LIMITS)
def test_a_gradient_table_is_recovered(table: Table, ground: str, record_property):
    """Published: the official gradients, laid under correlated error and estimated again, three times.

    When this was written, St. Gallen to Wil and Fribourg to Bern: station grade p95 .33 and .39 % (lidar),
    .44 and .48 % (DTM), .67 and .73 % (error of the tile itself); elevation .10 and .15, .37 and .38, 1.7 and
    1.6 m. Real grades change every 140 to 220 m, oftener than the estimator expects: the interval of a
    station's grade covers 83, 88, 85 and 73, 73, 88 %, that of its elevation 84 % and more.
    """
    noise = GROUNDS.get(ground) or Noise(table.tile_error(), 250.0)
    s = np.arange(0.0, table.length, 10.0)
    fits = [_laid_on(table.track(s), noise, s, seed) for seed in range(3)]
    grade, elevation = table.grade_at(s), table.elevation_at(s)
    off_grade = np.array([np.abs(f.grade - grade) for f in fits])
    off = np.array([np.abs(f.elevation - elevation) for f in fits])
    mean = np.array([_mean2(f.elevation) - _mean2(elevation) for f in fits])
    figures = {
        "grade_p95_pct": float(np.quantile(off_grade, 0.95)) * 100,
        "mean_2km_p95_pct": float(np.quantile(np.abs(mean), 0.95)) * 100,
        "elevation_rms_m": float(np.sqrt((off**2).mean())),
        "grade_covered": float((off_grade < 1.96 * np.array([f.grade_se for f in fits])).mean()),
        "elevation_covered": float((off < 1.96 * np.array([f.elevation_se for f in fits])).mean()),
    }
    for name, value in figures.items():
        record_property(name, round(value, 3))
    grade_limit, mean_limit, elevation_limit = LIMITS[ground]
    assert figures["grade_p95_pct"] < grade_limit, figures
    assert figures["mean_2km_p95_pct"] < mean_limit, figures
    assert figures["elevation_rms_m"] < elevation_limit, figures
    assert figures["grade_covered"] > 0.68, figures
    assert figures["elevation_covered"] > 0.8, figures
    assert max(f.structure_probability.max() for f in fits) < 0.5, "open track is taken for a structure"


def _laid_on(track: np.ndarray, noise: Noise, s: np.ndarray, seed: int) -> Estimate:
    """The estimate of a track (n,) under exponentially correlated error."""
    keep = np.exp(-10.0 / noise.length)
    drive = np.random.default_rng(seed).normal(size=s.size) * noise.sigma * np.sqrt(1 - keep**2)
    drive[0] /= np.sqrt(1 - keep**2)
    ground = track + lfilter([1.0], [1.0, -keep], drive)
    return estimate(s, ground[None], np.zeros(s.size, dtype=bool), max_grade=0.045, draws=10)


def _mean2(elevation: np.ndarray) -> np.ndarray:
    """Mean grade over every 2 km. [m/m]"""
    return (elevation[200:] - elevation[:-200]) / 2000
