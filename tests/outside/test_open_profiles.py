"""Real lines end to end, against what railways publish of them: needs the folder of open data."""

from __future__ import annotations

import numpy as np
import pytest

from profiler import CoverageError, build_profile, landmarks_of
from tests import open_data
from tests.open_data import mean_grades, published, residuals, territory

pytestmark = open_data.needs_open_data


@pytest.fixture(scope="module")
def puymorens():
    return build_profile(open_data.puymorens())


def test_puymorens_stations(puymorens):
    """Published: station elevations of line 672000 (pages named in published_elevations.csv), to a metre
    or so. The raster stands 2 to 3 m too high there, which no standard error learned along the line can
    know: rms within 4 m, none beyond 8 m, at least 7 of 9 within 2.5 standard errors."""
    found = residuals(puymorens, published("fr-puymorens", "pk_km"))
    assert len(found) == 9
    error, se = np.array(list(found.values())).T
    assert np.sqrt((error**2).mean()) <= 4.0, found
    assert np.abs(error).max() <= 8.0, found
    assert (np.abs(error) < 2.5 * np.hypot(se, 1.0)).sum() >= 7, found


def test_puymorens_tunnels(puymorens):
    """Published: 18 tunnels, a helical one of 1,650 m, a summit one of 5,414 m (SNCF Réseau tunnel list);
    steepest grade 40 per mille, so that no kilometre of it can be over 44."""
    by_name = {s.name: s for s in puymorens.route.structures}
    assert len(by_name) == 18
    assert by_name["Saillens Hélicoidal"].end - by_name["Saillens Hélicoidal"].start == pytest.approx(1650, abs=60)
    summit = by_name["Puymorens"]
    assert summit.end - summit.start == pytest.approx(5414, abs=60)
    assert np.abs(mean_grades(puymorens, 1000.0)).max() < 0.044
    inside = (puymorens.chainage > summit.start) & (puymorens.chainage < summit.end)
    assert puymorens.elevation_se[inside].max() > 1.5 * np.median(puymorens.elevation_se)
    assert puymorens.elevation[inside].max() < puymorens.ground[inside].max() - 200, "it follows the mountain"


def test_puymorens_summit_lies_in_its_tunnel(puymorens):
    """Published: the line's summit is in the Puymorens tunnel, whose southern mouth stands at 1,562 m."""
    top = puymorens.chainage[np.argmax(puymorens.elevation)]
    post = float(puymorens.route.posts.at(top))
    assert 144.6 < post < 150.5
    assert puymorens.elevation.max() == pytest.approx(1562, abs=15)


def test_puymorens_posts(puymorens):
    """Published: length between kilometre posts agrees with the drawn line within 0.3 %."""
    posts = puymorens.route.posts
    assert posts.unit == "km"
    assert float(posts.at(0.0)) == pytest.approx(82.183, abs=0.01)
    whole = (164.724 - 82.183) * 1000
    assert puymorens.route.length == pytest.approx(whole, rel=0.003)


def test_maurienne_uncovered_west_is_refused():
    """Law: what the raster does not reach is refused in one sentence that lists the stretches."""
    with pytest.raises(CoverageError, match=r"N45E006.*no elevation over km 100\.84 to km 11.*--trim"):
        build_profile(open_data.maurienne())


def test_maurienne_trimmed():
    """Published: stations of the Arc valley (pages in published_elevations.csv), steepest grade
    30 per mille between Saint-Michel and Modane; a trial on the same raster gave 32."""
    settings = open_data.maurienne()
    profile = build_profile(settings, trim=True)
    assert any("trimmed" in said for said in profile.assumptions)
    found = residuals(profile, published("fr-maurienne", "pk_km"))
    assert len(found) == 3
    assert max(abs(error) for error, _ in found.values()) < 4.5, found
    landmarks = landmarks_of(profile, settings)
    (ruling,) = [x for x in landmarks.of_kind("ruling_grade", direction="with") if x.train_length == 2000.0]
    assert 2.8 < ruling.value < 3.4
    assert 220 < float(profile.route.posts.at(ruling.at)) < 236


def test_bayreuth_from_openstreetmap():
    """Published: the line has its crest between Bayreuth and Bindlach and falls both ways; stations
    Bindlach 356 m, Harsdorf 344 m (pages in published_elevations.csv); 13.1 km of it in the extract."""
    settings = territory("de-bayreuth", "north-bayreuth.osm.gz", ["*.hgt"], settings={"prominence_m": 2.0})
    profile = build_profile(settings)
    route = profile.route
    assert route.length == pytest.approx(13_094, abs=30)
    assert route.latitude[0] < 49.96
    assert route.latitude[-1] > 50.05
    assert any("service" in said for said in route.assumptions)
    assert len([s for s in route.structures if s.kind == "bridge"]) == 3
    stations = {s.name: float(np.interp(s.chainage, profile.chainage, profile.elevation)) for s in route.stations}
    assert stations["Bindlach"] == pytest.approx(356, abs=4)
    assert stations["Harsdorf"] == pytest.approx(344, abs=4)
    landmarks = landmarks_of(profile, settings)
    crest = landmarks.of_kind("crest")[0]
    assert 600 < crest.at < 1700
    sag = next(x for x in landmarks.of_kind("sag") if x.at > crest.at)
    assert sag.at == pytest.approx(4700, abs=500)
