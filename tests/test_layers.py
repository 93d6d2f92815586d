"""A module imports only from lower levels, or from its own folder: one dict, one walk over the imports."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LEVELS = {
    "errors": 0,
    "units": 0,
    "compiling": 0,
    "files": 0,
    "cited": 0,
    "sample": 0,
    "progress": 0,
    "centreline": 1,
    "curve_resistance": 1,
    "grade_classes": 1,
    "ground": 1,
    "longitude": 1,
    "route": 1,
    "track_chart": 1,
    "vertical_curve": 1,
    "vehicle": 1,
    "plan_elements": 2,
    "reference": 2,
    "profile": 2,
    "landmark": 2,
    "mark": 2,
    "territory": 2,
    "wording": 2,
    "train": 2,
    "catalogue": 2,
    "read": 3,
    "alignment": 3,
    "elevation": 3,
    "curve_words": 3,
    "network_line": 3,
    "grid_chain": 1,
    "grid_alignment": 3,
    "practice_words": 3,
    "exchange": 4,
    "heights": 4,
    "rail": 4,
    "drawn_line": 4,
    "landmarks": 4,
    "mechanics": 4,
    "charted_profile": 5,
    "comparison": 5,
    "handling": 5,
    "train_words": 5,
    "briefing": 6,
    "build": 6,
    "present": 7,
    "write": 7,
    "results": 8,
    "cli": 9,
    "__init__": 10,
    "__main__": 10,
}
OWN_FOLDER = {
    *("read", "alignment", "elevation", "landmarks", "comparison", "present", "write", "cli"),
    *("catalogue", "mechanics", "handling", "briefing"),
}
FOR_ALL = {"errors", "units"}
"""They import nothing of ours, and everything may import them."""
FILES = sorted(p for p in (ROOT / "profiler").rglob("*.py") if "sample_routes" not in p.parts)


def imported(path: Path) -> list[str]:
    """Dotted names of every import in a file, wherever it stands."""
    names = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names += [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
    return names


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_downwards(path: Path):
    """Law of the house: levels as in DEVELOPERS.md."""
    place = path.relative_to(ROOT / "profiler").with_suffix("").parts[0]
    assert place in LEVELS, f"give {place} a level"
    for name in imported(path):
        parts = name.split(".")
        assert parts[0] != "pipelines", f"{path.name} imports {name}: profiler never imports pipelines"
        if parts[0] != "profiler":
            continue
        target = parts[1] if len(parts) > 1 and parts[1] in LEVELS else "__init__"
        if target in FOR_ALL or (target == place and place in OWN_FOLDER):
            continue
        assert LEVELS[target] < LEVELS[place], f"{path.name} (level {LEVELS[place]}) imports {name}"


def test_pipelines_use_the_public_list_only():
    """Law of the house: `pipelines` stands on `profiler`'s public list, and on nothing behind it."""
    for path in sorted((ROOT / "pipelines").rglob("*.py")):
        for name in imported(path):
            if name.startswith("profiler."):
                assert name.count(".") == 1, f"{path.name} imports {name}"


PIPELINES = {"fetching": 0, "lines": 0, "elevation": 1, "area": 1, "networks": 2, "fetched_territory": 2, "network": 3}
"""Levels of its files and folders; what is not named stands above them all."""


def test_pipelines_import_downwards():
    """Law of the house: in `pipelines` too a module imports from lower levels, or from its own folder."""
    for path in sorted((ROOT / "pipelines").rglob("*.py")):
        place = path.relative_to(ROOT / "pipelines").with_suffix("").parts[0]
        for name in imported(path):
            target = name.split(".")[1] if name.startswith("pipelines.") else place
            if target != place:
                assert PIPELINES[target] < PIPELINES.get(place, 9), f"{path.name} imports {name}"


def test_no_heavy_import_at_import_time():
    """Law of the house: the command line imports heavy libraries inside the command that needs them."""
    heavy = {
        "numpy",
        "pandas",
        "geopandas",
        "rasterio",
        "matplotlib",
        "folium",
        "scipy",
        "pydantic",
        "shapely",
    }
    for name in ("cli/main.py",):
        tree = ast.parse((ROOT / "profiler" / name).read_text(encoding="utf-8"))
        top = [n for n in tree.body if isinstance(n, ast.Import | ast.ImportFrom)]
        names = {a.name.split(".")[0] for n in top if isinstance(n, ast.Import) for a in n.names}
        names |= {(n.module or "").split(".")[0] for n in top if isinstance(n, ast.ImportFrom)}
        assert not names & heavy


def test_every_folder_is_packaged():
    """Law: what is not named in pyproject.toml is missing from an installed copy."""
    named = set(tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["packages"])
    ours = (*(ROOT / "profiler").rglob("__init__.py"), *(ROOT / "pipelines").rglob("__init__.py"))
    assert named == {".".join(p.parent.relative_to(ROOT).parts) for p in ours} | {"profiler.sample_routes"}
