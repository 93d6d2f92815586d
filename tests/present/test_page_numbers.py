"""What is packed into the page with the train that moves, its size, and what it holds without script."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest

from profiler.present.page import page_of, write_page
from profiler.present.page_pack import Packer
from profiler.present.page_train import forces_at, heads
from profiler.units import FOOT, KIP, MILE, MPH
from tests.pages import array_of, briefings, numbers_of, unpacked

MOST_BYTES_PER_M = 3e6 / 100_000
"""3 MB for 100 km and three trains."""


@pytest.fixture(scope="module")
def page() -> str:
    return page_of(briefings())


def test_what_is_packed_is_what_was_put_in():
    """Law: every array comes back to half a step, unknown values as such, in the fewest bytes that hold it."""
    packer = Packer()
    rng = np.random.default_rng(1)
    some = [(rng.normal(size=50) * scale, step) for scale, step in ((10, 0.5), (1e3, 0.1), (1e6, 1.0))]
    some[1][0][7] = np.nan
    packed = [packer.add(values, step) for values, step in some]
    assert [p["type"] for p in packed] == ["i1", "i2", "i4"]
    data, buffer = unpacked(packer.text({"name": "</script>é", "arrays": packed}))
    assert data["name"] == "</script>é"
    for (values, step), kept in zip(some, data["arrays"], strict=True):
        back = array_of(kept, buffer)
        assert (np.isnan(back) == np.isnan(values)).all()
        assert np.nanmax(np.abs(back - values)) <= step / 2 * (1 + 1e-9)


def test_every_value_is_that_of_the_briefing(page: str):
    """Law: forces, run and grade under the train in the page are those of the briefing, to their steps."""
    data, buffer = numbers_of(page)
    briefing = briefings()["ore"][1]
    head = heads(briefing)
    trip = data["trains"][0]["trips"]["against"]
    under = array_of(trip["grade"], buffer)
    assert under == pytest.approx(np.interp(head, briefing.running.pull.head, briefing.running.under.grade), abs=1e-6)
    for case in ("plan", "slower", "faster"):
        one, kept = briefing.as_case(case), trip["cases"][case]
        assert [m["number"] for m in kept["marks"] if m["number"]] == sorted(
            m["number"] for m in kept["marks"] if m["number"]
        )
        force, known = forces_at(one.forces, head)
        packed = array_of(kept["force"], buffer).reshape(force.shape)
        assert np.abs(packed - force)[known].max() <= np.abs(force[known]).max() / 254 * 1.001
        assert array_of(kept["draft"], buffer)[known] == pytest.approx(np.maximum(force, 0).max(axis=1)[known], abs=51)
        time = array_of(kept["time"], buffer)
        assert (np.diff(time[np.isfinite(time)]) >= 0).all()
        assert np.nanmax(time) == pytest.approx(one.journey.time[-1], abs=60)
    slower, plan = (array_of(trip["cases"][c]["speed"], buffer) for c in ("slower", "plan"))
    assert np.nanmean(slower) < np.nanmean(plan)


def test_size(page: str, capsys: pytest.CaptureFixture[str]):
    """Law of the look: no more than 3 MB for 100 km and three trains, in all cases and both directions."""
    line = briefings()["ore"][0].terrain.length
    with capsys.disabled():
        print(f"\npage of {line / 1e3:.0f} km, four trips: {len(page.encode()) / 1e3:.0f} kB")
    assert len(page.encode()) < MOST_BYTES_PER_M * line


def test_without_script(page: str):
    """Law: without script there is the line as a picture, every mark in a table, and the caution; only the page's own
    script may run, and nothing may be fetched."""
    static = re.search(r"<noscript>(.*?)</noscript>", page, re.DOTALL)[1]
    assert "<svg" in static
    assert "qualified people come first" in static
    for briefing in (one for some in briefings().values() for one in some):
        assert static.count(f"<caption>{briefing.train.name}") >= 1
    assert static.count("<tr><td>") == sum(len(one.marks) for some in briefings().values() for one in some)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1].replace("&#39;", "'")
    assert "default-src 'none'" in policy
    assert "script-src 'sha256-" in policy
    assert "unsafe-inline" not in policy.partition("script-src")[2]


def test_a_line_on_no_map_has_no_plan(tmp_path: Path):
    """Law: a line of tables lies on no map; the rest of the page is there. The same briefings give the same bytes."""
    briefing = briefings()["other"][0]
    route = briefing.profile.route
    nowhere = np.full(route.chainage.size, np.nan)
    off = dict.fromkeys(("longitude", "latitude", "heading", "lateral_se"), nowhere)
    profile = dataclasses.replace(briefing.profile, route=dataclasses.replace(route, **off))
    some = {"x": [dataclasses.replace(briefing, profile=profile)]}
    for name in ("a.html", "b.html"):
        write_page(some, tmp_path / name)
    text = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert text == (tmp_path / "b.html").read_text(encoding="utf-8")
    data, _ = numbers_of(text)
    assert data["plan"] is None
    assert "no-plan" in re.search(r"<main[^>]*>", text)[0]


def test_units_agree():
    """Law: the script's own factors are those of `profiler.units`."""
    script = (Path(__file__).parents[2] / "profiler/present/page_read.js").read_text(encoding="utf-8")
    found = dict(re.findall(r"(\w+): ([\d.]+)", re.search(r"const SI = \{(.*?)\}", script)[1]))
    assert {k: float(v) for k, v in found.items() if k in ("mi", "foot", "kip", "mph")} == {
        "mi": MILE, "foot": FOOT, "kip": KIP, "mph": MPH,
    }  # fmt: skip
