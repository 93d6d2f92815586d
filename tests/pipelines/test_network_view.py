"""The view that a network's command writes beside its one file."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from pipelines.network_command import network
from profiler import sample_territory
from tests.pages import numbers_of

PLAN = """
[network]
name = "Southern lines"
invented = true
units = "metric"
territories = ["farrow.toml", "missing.toml"]

[settings]
grade_classes_pct = [0.1, 1, 2, 3]
"""


def test_the_view_has_what_the_plan_says(tmp_path: Path):
    """Law: name, units and classes of the plan, its lines, its failures, and links to what stands beside it."""
    for file in sample_territory().parent.glob("farrow*"):
        (tmp_path / file.name).symlink_to(file)
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    out = tmp_path / "out"
    result = CliRunner().invoke(network, [str(tmp_path / "plan.toml"), "--out", str(out), "--workers", "1"])
    assert result.exit_code == 1, result.output
    page = (out / "network.html").read_text(encoding="utf-8")
    assert "<title>Southern lines: lines by grade</title>" in page
    assert "missing.toml: there is no such file" in page
    data, _ = numbers_of(page)
    assert [line["key"] for line in data["lines"]] == ["farrow"]
    assert data["units"] == "metric"
    assert data["classes"]["us"] == ["level", "0.1–1", "1–2", "2–3", "3+"]
    assert data["lines"][0]["links"] == []  # no pictures were asked for

    def links() -> list[str]:
        assert CliRunner().invoke(network, [str(tmp_path / "plan.toml"), "--out", str(out)]).exit_code == 1
        data, _ = numbers_of((out / "network.html").read_text(encoding="utf-8"))
        return [address for _, address in data["lines"][0]["links"]]

    beside = out / "farrow-profile"
    beside.mkdir()
    (beside / "map.html").touch()
    assert links() == []  # nor is it known that these belong to what stands there now
    record = json.loads((out / "lines/farrow.json").read_text(encoding="utf-8"))
    (out / "lines/farrow.json").write_text(json.dumps(record | {"beside": ["farrow-profile"]}), encoding="utf-8")
    assert links() == ["farrow-profile/map.html"]
    assert (out / links()[0]).is_file()
