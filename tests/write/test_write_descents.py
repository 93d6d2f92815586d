"""The tables of descents in a briefing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiler.units import KMH
from profiler.write.briefing import write_briefing_tables
from tests.briefed import briefed

TRAINS = ("a", "b", "f")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], Path]:
    """Folders by train and direction."""
    folders = {}
    for name in TRAINS:
        for direction in ("with", "against"):
            folders[name, direction] = tmp_path_factory.mktemp(f"{name}-{direction}")
            write_briefing_tables(briefed(name, direction), folders[name, direction])
    return folders


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", keep_default_na=True)


def test_the_run_goes_to_the_end(written: dict[tuple[str, str], Path]):
    """Law: rows are at most 5.5 s apart within a run, in order of travel, never over the limit where nothing stalls;
    a run ends at the line's end; work of the effort along the way is the journey's."""
    for (name, direction), folder in written.items():
        rows, sign = table(folder, "run"), 1 if direction == "with" else -1
        trip = briefed(name, direction).journey
        assert rows.run.iloc[-1] == len(trip.runs)
        assert rows.head_m.iloc[0] == (0 if direction == "with" else 50_000)
        for _, one in rows.groupby("run"):
            assert np.diff(one.time_s).max() <= 5.6
            assert (np.diff(sign * one.head_m) >= 0).all()
        if not trip.stalls:
            assert rows.head_m.iloc[-1] == (50_000 if direction == "with" else 0)
        work = sum(np.trapezoid(one.effort_kn, sign * one.head_m) for _, one in rows.groupby("run"))
        assert work == pytest.approx(trip.work / 1000, rel=0.03)
        assert rows.dynamic_share.between(0, 0.8501).all()


def test_acts_of_the_plan_stand_in_the_run(written: dict[tuple[str, str], Path]):
    """Law: where the run has an act, a mark of that kind is recommended, to the metre; air follows at once."""
    for folder in written.values():
        rows, marks = table(folder, "run"), table(folder, "marks")
        for kind in ("power_off", "air_step", "release"):
            acted = rows[rows.act.fillna("").str.split().map(lambda acts, kind=kind: kind in acts)]
            places = marks[marks.kind == kind].recommended_m.to_numpy()
            for head in acted.head_m:
                assert np.abs(places - head).min() < 1.0
            if kind == "air_step":
                assert (acted.reduction_kpa > 0).all()


def test_the_holding_table_agrees_with_its_verdicts(written: dict[tuple[str, str], Path]):
    """Law: holds means 0 to 85 % of the dynamic brake and wheels that stand it; more air asks less of it and makes
    wheels hotter; air alone has one row a descent."""
    for folder in written.values():
        rows, plans = table(folder, "descents"), table(folder, "descent_plans")
        both = rows[rows.brakes == "dynamic and air"]
        assert (rows.brakes == "air alone").sum() == len(plans) == rows.descent.nunique()
        held = both[both.verdict == "holds"]
        assert (held.dynamic_share <= 0.8505).all()
        assert (held.wheel_kw <= held.wheel_limit_kw + 0.06).all()
        assert (held[held.reduction_kpa > 0].dynamic_share >= -0.0005).all()
        assert (both[both.verdict == "does not hold"].dynamic_share > 0.999).all()
        for _, one in both.groupby(["descent", "speed_kmh"]):
            assert (np.diff(one.dynamic_share) <= 0).all()
            assert (np.diff(one.wheel_kw) >= 0).all()
            assert (one.weak_dynamic_share >= one.dynamic_share).all()


def test_plans_agree_with_the_tables_beside_them(written: dict[tuple[str, str], Path]):
    """Law: the highest speed that holds is a row of the holding table where something holds; power goes off at the
    mark; speeds allowed are no lower than those that hold."""
    for (name, direction), folder in written.items():
        plans, rows, marks = (table(folder, x) for x in ("descent_plans", "descents", "marks"))
        assert len(plans) == len(briefed(name, direction).line.descents)
        for plan in plans.itertuples():
            of = rows[(rows.descent == plan.descent) & (rows.brakes == "dynamic and air")]
            assert "holds" in set(of[of.speed_kmh == plan.top_kmh].verdict)
            assert plan.top_kmh <= plan.allowed_kmh
            assert plan.bound in {"posted", "force", "heat", "air"}
        places = marks[marks.kind == "power_off"].recommended_m.tolist()
        assert plans.power_off_m.dropna().tolist() == places


def test_the_timeline_is_the_customary_one(written: dict[tuple[str, str], Path]):
    """Published: about 10 s between power and dynamic brake (S80). Law: a notch each 2 s; the cut falls notch by notch
    beyond the crest; quarters follow each other."""
    for folder in written.values():
        for _, one in table(folder, "crest_timeline").groupby("descent"):
            notches = one[one.act == "notch"]
            assert (np.diff(notches.value) == -1).all()
            assert (np.diff(notches.time_s) == 2).all()
            begins = one[one.act == "dynamic_brake"].time_s
            if len(begins) and len(notches) and notches.value.iloc[-1] == 0:
                assert begins.iloc[0] - notches.time_s.iloc[-1] == 10
            cut = one[one.act == "cut"]
            assert (np.diff(cut.value) < 0).all()
            assert (cut.past_crest_m >= 0).all()
            assert (np.diff(one[one.act == "past_crest"].past_crest_m) > 0).all()


def test_speeds_are_in_kmh(written: dict[tuple[str, str], Path]):
    """Law: the table's highest speed is the run's."""
    rows = table(written["a", "with"], "run")
    assert rows.speed_kmh.max() == pytest.approx(briefed("a").journey.speed.max() / KMH, abs=0.3)
