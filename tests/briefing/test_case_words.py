"""Cases of a plan beside each other: tables, the train under way, and words."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiler.briefing.by_plan import CASES
from profiler.briefing.case_words import case_lines
from profiler.briefing.plan import Briefing
from profiler.mechanics.speed_limits import head_limit
from profiler.units import KMH, MPH
from profiler.write.briefing import write_briefing_tables
from tests.briefed import briefed


@pytest.fixture(scope="module")
def three() -> Briefing:
    """Power at both ends, in all cases."""
    return briefed("a", cases=CASES)


@pytest.fixture(scope="module")
def folder(three: Briefing, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its tables."""
    place = tmp_path_factory.mktemp("three")
    write_briefing_tables(three, place)
    return place


@pytest.mark.parametrize("name", ["marks", "under_train", "run"])
def test_tables_have_rows_of_every_case(three: Briefing, folder: Path, tmp_path: Path, name: str):
    """Law: which case is the first column, in the order planned; rows of the plan are those it has alone."""
    rows = pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
    assert rows.columns[0] == "case"
    assert rows.case.unique().tolist() == list(CASES)
    write_briefing_tables(three.as_case("plan"), tmp_path)
    alone = pd.read_csv(tmp_path / f"{name}.csv", dtype=str, keep_default_na=False)
    pd.testing.assert_frame_equal(rows[rows.case == "plan"], alone)


def test_under_way_at_the_speed_of_the_plan(three: Briefing, folder: Path):
    """Law: in no case is the train told faster than is posted, nor than its plan has it, nor than full power keeps up;
    a slower case holds less by and large."""
    rows = pd.read_csv(folder / "under_train.csv")
    route, train = three.profile.route, three.train
    posted = head_limit((*route.limits, *route.slow_orders), three.terrain, train.length)
    for plan in three.plans:
        one = rows[rows.case == plan.case]
        assert (one.speed_kmh * KMH <= posted.at(one.head_m.to_numpy()) + 0.02).all()
        assert (one.required_kn <= one.available_kn + 0.5).all()
        run, speeds = plan.running.pull, plan.line.speeds
        course = plan.line.course
        held = np.interp(run.head, course.first + course.step * np.arange(course.hold.size), speeds.expected)
        assert (run.speed <= held + 1e-6).all()
    usual, slower, faster = (plan.line.speeds.hold for plan in three.plans)
    assert slower.mean() < usual.mean() < faster.mean()


def test_one_line_on_the_cases(three: Briefing):
    """Law: time, work, first act and open windows of every case in their order, and that nothing is faster than
    posted; nothing is told of one case alone."""
    (line,) = case_lines(three)
    assert line.startswith("plan / slower / faster, speeds held × 1 / 0.9 / 1.1 and never above what is posted")
    minutes = " / ".join(f"{plan.journey.time[-1] / 60:.0f}" for plan in three.plans)
    work = " / ".join(f"{plan.journey.work / 3.6e9:.1f}" for plan in three.plans)
    assert f": {minutes} min, {work} MWh, first act at " in line
    for case, said in zip(CASES, re.findall(r"(\d+) of \d+", line), strict=True):
        marks = [m for m in three.marks_by_case[case] if m.kind in ("power_off", "air_step", "release")]
        assert int(said) == sum(not m.figure("empty") for m in marks)
    assert case_lines(briefed("a")) == []


def test_faster_is_capped_and_told_so(three: Briefing):
    """Worked: under 25 mph the plan holds 23; 1.1 of that is 25.3, so that faster holds the 25 posted, and the line
    says over how much of the line it is held to that."""
    faster = three.plans[-1].line
    at_25 = np.isclose(faster.speeds.limit, 25 * MPH)
    assert np.isclose(faster.speeds.hold[at_25].max(), 25 * MPH)
    share = (faster.speeds.hold >= faster.speeds.limit - 0.01).mean()
    assert f"(the fastest is held to that over {100 * share:.0f} % of the line)" in case_lines(three)[0]
