"""Cost of the whole command along lines of 100, 300 and 1,000 km, against decoding the ground once.

Figures are printed (pytest -m slow -s); only ratios of one run are ever asserted, never wall-clock times alone.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from rasterio.windows import Window

from profiler.elevation.sampling import sample
from profiler.ground import GroundSource
from profiler.read.rasters import open_ground
from tests.benchmarks.test_sampling_speed import Counted, winding_line, write_ground
from tests.country import write_lines

ROOT = Path(__file__).parents[2]
LENGTHS_KM = (100, 300, 1000)
ROUNDS = 3
HEAVY = (
    *("numpy", "scipy", "pandas", "geopandas", "rasterio", "pyogrio", "pyproj", "shapely"),
    *("matplotlib", "folium", "pydantic", "rich"),
)


@dataclass(frozen=True)
class Cost:
    """Least cost of some rounds of one command: time from start to end [s], most memory held [byte]."""

    seconds: float
    memory: int


def command(*args: str, rounds: int = ROUNDS, cwd: Path = ROOT) -> Cost:
    """Run Python with arguments as a process of its own, and measure it by what the kernel counted."""
    seconds, memory = [], []
    for _ in range(rounds):
        start = time.perf_counter()
        run = subprocess.Popen(
            [sys.executable, *args], cwd=cwd, stdout=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": str(ROOT)}
        )
        _, status, usage = os.wait4(run.pid, 0)
        seconds.append(time.perf_counter() - start)
        memory.append(usage.ru_maxrss * 1024)
        run.returncode = os.waitstatus_to_exitcode(status)
        assert run.returncode == 0
    return Cost(min(seconds), max(memory))


def railway_country(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Ground with slopes of up to 1.5 %, as a railway seeks it. [m]"""
    return 600 + 150 * np.sin(easting / 20_000) + 30 * np.sin(easting / 4000 + northing / 9000)


@pytest.fixture(scope="session")
def lines(tmp_path_factory: pytest.TempPathFactory) -> dict[int, Path]:
    """Folders with a line (a vertex every 30 m) and its 10 m ground, by length [km]."""
    folders = {}
    for length in LENGTHS_KM:
        folder = folders[length] = tmp_path_factory.mktemp(f"line-{length}-km")
        easting, northing = winding_line(100 * length, within=np.inf)
        write_ground(folder / "ground.tif", easting, northing, railway_country)
        way = pyproj.Transformer.from_crs(32633, 4326, always_xy=True)
        write_lines(folder / "line.geojson", np.column_stack(way.transform(easting[::3], northing[::3])))
    return folders


def floor_and_sampling(folder: Path, length: int) -> tuple[int, float, float]:
    """Number of touched blocks; least time to decode each of them once; least time to sample the line. [s]"""
    way = pyproj.Transformer.from_crs(32633, 4326, always_xy=True)
    stations = way.transform(*winding_line(100 * length, within=np.inf))
    ground = Counted(open_ground(folder / "ground.tif"))
    floors, costs = [], []
    for _ in range(ROUNDS):
        ground.windows.clear()
        start = time.perf_counter()
        sample([GroundSource("ground", (ground,))], *stations)
        costs.append(time.perf_counter() - start)
        ground.close()
        with rasterio.Env(GDAL_CACHEMAX=64 << 20), rasterio.open(folder / "ground.tif") as dataset:
            start = time.perf_counter()
            for row, column, rows, columns in ground.windows:
                dataset.read(1, window=Window(column, row, columns, rows))
            floors.append(time.perf_counter() - start)
    return len(ground.windows), min(floors), min(costs)


@pytest.mark.slow
def test_whole_command(lines: dict[int, Path]):
    """Law: linear cost, bounded memory, and no more than 6 × what decoding the ground costs
    and 15 s.

    Fixed start-up (loading libraries) is what a line of 100 km and one of 300 km have in common.
    """
    args = ("-m", "profiler", "profile", "line.geojson", "--dem", "ground.tif", "--tables-only")
    print("\n    km   blocks  floor s  sampling s   ratio   command s   over floor   s per 100 km   memory MB")
    cost, floor = {}, {}
    for length, folder in lines.items():
        blocks, floor[length], sampling = floor_and_sampling(folder, length)
        cost[length] = command(*args, cwd=folder)
        print(
            f"{length:6,d}{blocks:9,d}{floor[length]:9.2f}{sampling:12.2f}{sampling / floor[length]:8.2f}"
            f"{cost[length].seconds:12.2f}{cost[length].seconds / floor[length]:13.1f}"
            f"{100 * cost[length].seconds / length:15.2f}{cost[length].memory / 1e6:12.0f}"
        )
    print(f"aim at 1,000 km: {6 * floor[1000] + 15:.2f} s")
    start = cost[100].seconds - (cost[300].seconds - cost[100].seconds) / 2
    each = {length: (cost[length].seconds - start) / length for length in LENGTHS_KM}
    print(f"start-up {start:.2f} s; then {', '.join(f'{100 * e:.2f}' for e in each.values())} s per 100 km")
    assert cost[1000].memory < 1e9
    assert cost[1000].seconds < 6 * floor[1000] + 15
    assert each[1000] < 1.5 * each[100]


@pytest.mark.slow
def test_help_is_near_the_bare_interpreter():
    """Law: the command line itself loads nothing that its help does not need."""
    bare, told = command("-c", "pass", rounds=7).seconds, command("-m", "profiler", "--help", rounds=7).seconds
    print(f"\nbare interpreter {bare:.3f} s, --help {told:.3f} s")
    assert told < 3 * bare + 0.1


@pytest.mark.parametrize("args", [["--help"], ["profile", "--help"], ["network", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(args: list[str]):
    """Law: no library that takes long to load is loaded for a text."""
    script = (
        "import sys\nfrom profiler.cli.main import main\n"
        f"main({args!r}, standalone_mode=False)\nprint('loaded', *sorted(sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT)
    loaded = run.stdout.split("loaded ")[-1].split()
    assert "profiler.cli.main" in loaded
    assert {name for name in loaded if name.split(".")[0] in HEAVY} == set()
