"""A profile held against a reference: placed, shifted in height, judged by what it says of its own errors."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.comparison.compare import compare, reference_of_profile, tangent_se
from profiler.comparison.fitting import grade_se
from profiler.comparison.reference_words import results, sentences
from profiler.elevation.noise import Noise
from profiler.errors import InputError
from profiler.landmarks.find import LandmarkSettings
from profiler.profile import Profile, reversed_profile
from profiler.reference import Reference
from profiler.route import Posts
from tests.comparison.truths import STATIONS, profile_of
from tests.truth import Railway, railway

GROUNDS = {"DTM": Noise(0.8, 60.0), "DSM": Noise(2.5, 250.0)}
PIECE = 400.0


@pytest.fixture(scope="module")
def truth() -> Railway:
    return railway(3, style="mixed", length=30_000.0)


@pytest.fixture(scope="module")
def profile(truth: Railway) -> Profile:
    return profile_of(truth.elevation, GROUNDS["DTM"], 3)


def reference(**changes: object) -> Reference:
    """A reference whose arrays are empty but for those given."""
    size = len(next(v for v in changes.values() if isinstance(v, np.ndarray)))
    empty = {name: np.full(size, np.nan) for name in (
        "position", "elevation", "elevation_se", "start", "end", "grade", "grade_se", "longitude", "latitude"
    )}  # fmt: skip
    plain = {
        "source": "table.csv",
        "kind": "gradients",
        "row": np.arange(size) + 2,
        "names": ("",) * size,
        "unit": "km",
    }
    return Reference(**{**plain, **empty, **changes})


def gradients(truth: Railway, *, scale: float = 1.0, shift: float = 0.0, piece: float = PIECE) -> Reference:
    """Mean grades of the truth over pieces, counted with a shift [m] and a stretch."""
    edges = np.arange(0.0, truth.chainage[-1] + 1, piece)
    grade = np.diff(np.interp(edges, truth.chainage, truth.elevation)) / piece
    a, b = scale * edges[:-1] + shift, scale * edges[1:] + shift
    return reference(position=a, start=a, end=b, grade=grade, grade_se=np.zeros(grade.size))


def stations(truth: Railway, *, scale: float = 1.0, shift: float = 0.0, lift: float = 0.0) -> Reference:
    """True elevations of the line's stations, counted with a shift [m] and a stretch, over another datum."""
    at = np.array([share for _, share in STATIONS]) * truth.chainage[-1]
    z = np.interp(at, truth.chainage, truth.elevation) + lift
    names = tuple(name for name, _ in STATIONS)
    se = np.full(at.size, 0.1)
    return reference(position=scale * at + shift, elevation=z, elevation_se=se, names=names, kind="stations")


@pytest.mark.parametrize("ground", GROUNDS)
def test_the_truth_is_within_as_often_as_stated(ground: str):
    """Law: of elevations and mean grades of the truth 95 % lie in the stated intervals; over eight lines the shares
    were .93 and .95 (DTM), .92 and .98 (DSM) when this was written."""
    shares = []
    for seed in range(8):
        line = railway(seed, style="mixed", length=20_000.0)
        made = profile_of(line.elevation, GROUNDS[ground], seed)
        at = np.arange(0.0, 20_001.0, PIECE)
        se = np.zeros(at.size)
        z = np.interp(at, line.chainage, line.elevation)
        found = compare(made, reference(position=at, elevation=z, elevation_se=se, kind="pvis"))
        shares.append((found.elevation.within_as_stated.mean(), found.grade.within.mean()))
    elevations, grades = np.mean(shares, axis=0)
    assert 0.88 < elevations < 0.995
    assert 0.88 < grades < 0.995


def test_the_error_of_a_mean_grade_comes_from_the_draws(profile: Profile):
    """Worked: over a piece between two nodes of the draws it is the spread of their rises over its length, and not
    what the standard errors of stations would give if they were independent."""
    a, b = (profile.draws.chainage[[20, 60]][i : i + 1] for i in (0, 1))
    rises = profile.draws.elevation[:, 60].astype(float) - profile.draws.elevation[:, 20]
    assert grade_se(profile, a, b)[0] == pytest.approx(rises.std() / (b[0] - a[0]), rel=1e-6)


def test_shift_and_scale_by_shared_stations(truth: Railway, profile: Profile):
    """Worked: positions 0.3 % too long and 40 m on; position = 1.003 × chainage + 40, so chainage is 1/1.003 of it
    less 39.88 m, and all stations fit."""
    placing = compare(profile, stations(truth, scale=1.003, shift=40.0)).placing
    assert placing.how == "stations"
    assert placing.shared == len(STATIONS)
    assert placing.scale == pytest.approx(1 / 1.003, abs=1e-6)
    assert placing.shift == pytest.approx(-40 / 1.003, abs=0.05)
    assert placing.residual < 0.05


def test_one_station_astray_does_not_lead(truth: Railway, profile: Profile):
    """Law: of twelve shared places one that lies 2 km off moves the others by a few metres only, and the residual
    tells of it."""
    table = gradients(truth)
    some = np.arange(0, table.row.size, 6)
    lon = np.full(table.row.size, np.nan)
    lon[some] = -5.0 + table.position[some] / 111_000
    lon[some[5]] += 2000 / 111_000
    found = compare(profile, dataclasses.replace(table, longitude=lon, latitude=np.where(np.isnan(lon), np.nan, 0.0)))
    assert found.placing.how == "stations"
    assert found.placing.shift + found.placing.scale * 15_000 == pytest.approx(15_000, abs=15)
    assert found.placing.residual > 100


@pytest.mark.parametrize("seed", [1, 2])
def test_shift_and_scale_by_agreement_of_the_grades(seed: int):
    """Worked: the same stretch and shift found without a shared place, by the grades of a mountain line alone: the
    middle, which stands 85 m off, within twice the stated standard error; the misfit falls to what errors leave."""
    line = railway(seed, style="mountain", length=30_000.0)
    found = compare(profile_of(line.elevation, GROUNDS["DTM"], seed), gradients(line, scale=1.003, shift=40.0))
    placing = found.placing
    assert placing.how == "agreement"
    middle = placing.shift + placing.scale * (1.003 * 15_000 + 40)
    assert abs(middle - 15_000) < 2 * placing.shift_se < 60
    assert placing.scale == pytest.approx(1 / 1.003, abs=0.002)
    assert placing.after < placing.before
    assert found.grade.within.mean() > 0.88


@pytest.mark.parametrize("ground", GROUNDS)
def test_nothing_is_moved_without_support(ground: str):
    """Law: a table that is right as it stands is left as it stands, on six lines of either ground."""
    for seed in range(6):
        line = railway(seed, style="mountain", length=20_000.0)
        made = profile_of(line.elevation, GROUNDS[ground], seed)
        assert compare(made, gradients(line)).placing.how == "stated"


def test_few_pieces_are_taken_as_they_stand(truth: Railway, profile: Profile):
    """Law: a dozen pieces do not say where they lie, and that is said."""
    found = compare(profile, gradients(truth, shift=40.0, piece=2500.0))
    assert found.placing.how == "stated"
    assert any("as they stand" in said for said in sentences(found))


def test_another_datum_is_found_and_said(truth: Railway, profile: Profile):
    """Worked: elevations 2.3 m over the truth stand 2.3 m higher; taken off, and both residuals are said."""
    found = compare(profile, stations(truth, lift=2.3))
    plain = compare(profile, stations(truth))
    assert found.elevation.offset == pytest.approx(2.3 + plain.elevation.offset, abs=1e-9)
    assert found.elevation.offset == pytest.approx(2.3, abs=0.5)
    assert np.median(found.elevation.difference) == pytest.approx(0.0, abs=1e-9)
    (said,) = [said for said in sentences(found) if "throughout" in said]
    assert f"stands {found.elevation.offset:.1f} m higher" in said
    assert "before" in said
    assert "after" in said


def test_posts_that_fall_turn_the_grades(truth: Railway, profile: Profile):
    """Law: a table by posts that fall along the line says the same of it."""
    falling = Posts(np.array([0.0, 30_000.0]), np.array([130.0, 100.0]), "km")
    down = dataclasses.replace(profile, route=dataclasses.replace(profile.route, posts=falling))
    plain = gradients(truth)
    order = slice(None, None, -1)
    posts = reference(
        position=130_000 - plain.end[order],
        start=130_000 - plain.end[order],
        end=130_000 - plain.start[order],
        grade=-plain.grade[order],
        grade_se=plain.grade_se,
    )
    found, straight = compare(down, posts), compare(profile, plain)
    assert found.placing.by_posts
    assert found.placing.turned
    np.testing.assert_allclose(found.grade.reference, straight.grade.reference, atol=1e-12)
    np.testing.assert_allclose(found.grade.ours, straight.grade.ours, atol=1e-12)


def test_a_profile_beside_itself_and_turned(profile: Profile):
    """Law: an older profile that is the same differs in nothing, and one drawn the other way neither."""
    for older in (profile, reversed_profile(profile)):
        found = compare(profile, older, source="older")
        assert found.reference.kind == "profile"
        assert abs(found.elevation.difference).max() < 0.05
        assert abs(found.grade.difference).max() < 1e-4
        assert found.elevation.within.all()
        assert all(whole.within for whole in found.wholes)
        assert all(turn.within for turn in found.turns)


def test_figures_of_the_whole_use_the_same_window(profile: Profile):
    """Worked: of a reference that climbs 1 % for 2 km within a level line the ruling grade is 1 % over 1 km and over
    2 km, 0.5 % over 4 km; it climbs 20 m and falls nothing."""
    at = np.array([0.0, 10_000.0, 12_000.0, 30_000.0])
    table = reference(position=at, elevation=np.array([700.0, 700, 720, 720]), elevation_se=np.zeros(4), kind="pvis")
    found = compare(profile, table, LandmarkSettings(train_lengths=(1000.0, 2000.0, 4000.0)))
    ruling = {
        w.figure.train_length: w.value
        for w in found.wholes
        if w.figure.key == "ruling_grade" and w.figure.direction == "with"
    }
    assert ruling == {1000.0: pytest.approx(1.0), 2000.0: pytest.approx(1.0), 4000.0: pytest.approx(0.5)}
    totals = {w.figure.key: w.value for w in found.wholes if w.figure.key in ("rise", "fall")}
    assert totals == {"rise": pytest.approx(20.0), "fall": pytest.approx(0.0)}


def test_crests_and_sags_beside_those_of_the_truth(truth: Railway, profile: Profile):
    """Law: most crests and sags of the truth are found again, and their places lie in the stated intervals."""
    found = compare(profile, gradients(truth, piece=100.0))
    met = [turn for turn in found.turns if turn.ours is not None]
    assert len(met) >= 3
    assert len(met) >= 0.7 * len(found.turns)
    assert sum(bool(turn.within) for turn in met) >= 0.7 * len(met)


def test_stations_say_nothing_of_the_line_between(truth: Railway, profile: Profile):
    """Law: from elevations of four stations no ruling grade and no crest is read."""
    found = compare(profile, stations(truth))
    assert found.wholes == ()
    assert found.turns == ()
    assert "mean grades of 3 pieces" in " ".join(results(found))


def test_a_vertical_curve_counts_in_the_error_of_a_tangent():
    """Worked: 1 % down to level at 0.1 % per 100 ft is a curve of 304.8 m; its middle lies A·L/8 = 0.381 m over the
    meeting tangents, uniform from none to that 0.381/√3 m, over pieces of 1,000 and 500 m. A gap has no curve."""
    start, grade = np.array([0.0, 1000.0]), np.array([-0.01, 0.0])
    se = tangent_se(start, np.array([1000.0, 1500.0]), grade)
    np.testing.assert_allclose(se, 0.381 / np.sqrt(3) / np.array([1000.0, 500.0]), rtol=1e-6)
    assert not tangent_se(start, np.array([900.0, 1500.0]), grade).any()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"position": np.array([90e3, 91e3])}, r"none of its 2 rows is on the line: they lie from 90.00 to 91.00 km"),
        ({"names": ("Thrift", "Heath"), "unit": ""}, "none of its 2 rows is on the line: it has no station of theirs"),
        (
            {"longitude": np.array([9.0, 9.1]), "latitude": np.array([9.0, 9.1]), "unit": ""},
            "all coordinates are more than 250 m away",
        ),
    ],
)
def test_what_is_not_on_the_line_is_refused(profile: Profile, changes: dict[str, object], said: str):
    """Law: no overlap is one sentence that names both ranges."""
    with pytest.raises(InputError, match=said):
        compare(
            profile, reference(elevation=np.array([1.0, 2.0]), elevation_se=np.zeros(2), kind="stations", **changes)
        )


def test_positions_in_the_wrong_unit_are_refused(truth: Railway, profile: Profile):
    """Law: stations whose positions would have to be 1.61 × as long show that the column's unit is wrong."""
    with pytest.raises(InputError, match=r"1\.61 × as long to fit the 4 places.*check the unit"):
        compare(profile, stations(truth, scale=1 / 1.609344))


def test_rows_beyond_the_line_are_left_out_and_said(truth: Railway, profile: Profile):
    """Law: what lies beyond the ends is counted and the first row named."""
    found = compare(profile, gradients(truth, shift=-1000.0, piece=2000.0))
    assert found.left_out.tolist() == [0]
    assert any("1 row of 15 not on the line and left out, the first is row 2" in said for said in sentences(found))


def test_an_older_profile_brings_its_own_errors(profile: Profile):
    """Law: its standard errors are those of its stations and draws, at the nodes of the draws."""
    table = reference_of_profile(profile, "older")
    assert table.se_stated
    np.testing.assert_allclose(table.elevation_se, np.interp(table.position, profile.chainage, profile.elevation_se))
    assert np.isfinite(table.grade_se[:-1]).all()
