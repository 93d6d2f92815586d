"""Cost of whole networks: lines of 50 km at 10 m over 10 m tiles, against what decoding and estimating alone cost.

The number of lines is GRADEWRIGHT_ROUTES (20 by default, 1,000 km; 2,000 are 100,000 km), that of processes
GRADEWRIGHT_WORKERS (2). Figures are printed (pytest -m slow -s); only ratios of one run are ever asserted.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.windows import Window

from profiler import ElevationTable, build_profile, landmarks_of, read_territory, write_profile_file
from profiler.build import open_ground, sample_ground
from profiler.drawn_line import draw_line
from profiler.elevation.pvis import clearest, find_pvis
from profiler.ground import GroundSource
from profiler.heights import in_one_datum
from profiler.rail import rail_of
from tests.benchmarks.network_country import LENGTH, make
from tests.benchmarks.test_sampling_speed import Counted

ROOT = Path(__file__).parents[2]
ROUTES = int(os.environ.get("GRADEWRIGHT_ROUTES", "20"))
WORKERS = int(os.environ.get("GRADEWRIGHT_WORKERS", "2"))
FEW = 20
"""Lines of the short run, and how many at most the floors are measured on."""
ONE_THREAD = {"OMP_NUM_THREADS": "1", "GDAL_NUM_THREADS": "1"}


@dataclass(frozen=True)
class Cost:
    """Of one run of the command: from start to end [s], of all its processes [CPU s], most memory held [byte]."""

    seconds: float
    processors: float
    parent: int
    workers: int


def high_water(number: int) -> int:
    """Most memory that a process has held, 0 when it is gone. [byte]"""
    try:
        text = Path(f"/proc/{number}/status").read_text()
    except OSError:
        return 0
    return next((int(line.split()[1]) * 1024 for line in text.splitlines() if line.startswith("VmHWM")), 0)


def children(number: int) -> list[int]:
    try:
        return [int(x) for x in Path(f"/proc/{number}/task/{number}/children").read_text().split()]
    except OSError:
        return []


def run(plan: Path, out: Path) -> Cost:
    """The command as a process of its own, measured by what the kernel counted."""
    begun = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "profiler", "network", str(plan), "--out", str(out), "--workers", str(WORKERS)],
        env={**os.environ, **ONE_THREAD, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL if os.environ.get("GRADEWRIGHT_QUIET") else None,
    )
    most, ended = [0, 0], threading.Event()

    def watch() -> None:
        while not ended.wait(0.3):
            most[0] = max(most[0], high_water(process.pid))
            most[1] = max([most[1], *map(high_water, children(process.pid))])

    watcher = threading.Thread(target=watch)
    watcher.start()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    seconds = time.perf_counter() - begun
    ended.set()
    watcher.join()
    assert process.returncode == 0
    return Cost(seconds, usage.ru_utime + usage.ru_stime, *most)


@dataclass
class Floors:
    """CPU time by piece of work, of some lines one after the other in this process. [s]"""

    decoding: float = 0.0
    alignment: float = 0.0
    rail: float = 0.0
    pvis: float = 0.0
    landmarks: float = 0.0
    writing: float = 0.0
    lines: int = 0

    @property
    def estimating(self) -> float:
        """Everything that estimates, from arrays to arrays."""
        return self.alignment + self.rail + self.pvis + self.landmarks


def floors(folder: Path, chosen: list[int]) -> Floors:
    """What each piece of the work costs by itself; the first line only warms up what is compiled."""
    found = Floors(lines=len(chosen))
    for number, route in enumerate([chosen[0], *chosen]):
        one = floor_of(folder, route)
        if number:
            for name, seconds in one.items():
                setattr(found, name, getattr(found, name) + seconds)
    return found


def floor_of(folder: Path, route: int) -> dict[str, float]:
    plain = read_territory(folder / "lines" / f"{route:05d}.toml")
    elevation = ElevationTable(rasters=["tiles/*.tif"], vertical_datum="EGM2008", vertical_unit="m")
    territory = plain.model_copy(update={"elevation": elevation, "raster_folder": folder})
    clock = time.process_time
    took: dict[str, float] = {}
    begun = clock()
    drawn = draw_line(territory)
    took["alignment"] = clock() - begun
    source = open_ground(territory)[0]
    counted = [Counted(tile) for tile in source.tiles]
    tiles = GroundSource(source.name, tuple(counted), source.vertical_datum)
    samples = sample_ground(territory, (tiles,), drawn, shoulders=True)
    samples, _ = in_one_datum(samples, drawn.stations.longitude, drawn.stations.latitude)
    took["decoding"] = decode([(tile.path, tile.windows) for tile in counted if tile.windows])
    profile = build_profile(territory)
    begun = clock()
    fit, _ = rail_of(profile.route, samples, np.zeros(profile.route.chainage.size, dtype=bool), (), territory)
    took["rail"] = clock() - begun
    begun = clock()
    find_pvis(profile.route.chainage, *clearest(fit.ground, fit.noise), fit)
    took["pvis"] = clock() - begun
    begun = clock()
    landmarks = landmarks_of(profile, territory)
    took["landmarks"] = clock() - begun
    begun = clock()
    write_profile_file(profile, landmarks, folder / "floor.gpkg")
    took["writing"] = clock() - begun
    return took


def decode(blocks: list[tuple[Path, list[tuple[int, int, int, int]]]]) -> float:
    """Time to open these files and read these blocks of them. [CPU s]"""
    begun = time.process_time()
    with rasterio.Env(GDAL_CACHEMAX=64 << 20):
        for path, windows in blocks:
            with rasterio.open(path) as dataset:
                for row, column, rows, columns in windows:
                    dataset.read(1, window=Window(column, row, columns, rows))
    return time.process_time() - begun


@pytest.mark.slow
def test_a_network(tmp_path: Path):
    """Law: cost and memory grow with the number of lines no more than in proportion, and memory of a process not at
    all; no more than 1.5 × what estimating alone costs."""
    long, few = tmp_path / "long", tmp_path / "few"
    plan = make(long, ROUTES)
    made = make(few, min(FEW, ROUTES))
    short = run(made, few / "out")
    whole = run(plan, long / "out")
    again = run(plan, long / "out")
    chosen = np.unique(np.linspace(0, ROUTES - 1, min(FEW, ROUTES)).astype(int)).tolist()
    floor = floors(long, chosen)
    for name, lines, cost in (("short", min(FEW, ROUTES), short), ("whole", ROUTES, whole), ("again", ROUTES, again)):
        length = lines * LENGTH / 1000
        print(
            f"\n{name:6s}{lines:6,d} lines {length:9,.0f} km {cost.seconds:9.1f} s {length / cost.seconds:8.2f} km/s "
            f"{cost.processors:9.1f} CPU s, {1000 * cost.processors / length:6.2f} per 1,000 km; "
            f"parent {cost.parent / 1e6:,.0f} MB, largest process {cost.workers / 1e6:,.0f} MB",
            end="",
        )
    per_line = {name: 1000 * getattr(floor, name) / floor.lines for name in vars(Floors()) if name != "lines"}
    print("\nms a line: " + ", ".join(f"{name} {ms:.0f}" for name, ms in per_line.items()))
    beyond = (whole.processors - again.processors) / ROUTES
    estimating, decoding = floor.estimating / floor.lines, floor.decoding / floor.lines
    print(
        f"a line costs {1000 * whole.processors / ROUTES:.0f} CPU ms; ratio to estimating {beyond / estimating:.2f}, "
    )
    print(f"to decoding {beyond / decoding:.1f}; cost a line, long over short ", end="")
    growth = (whole.processors / ROUTES) / (short.processors / min(FEW, ROUTES))
    size = sum(p.stat().st_size for p in (long / "out").rglob("*.*"))
    print(f"{growth:.2f}; results {size / 1e6 / ROUTES:.2f} MB a line")
    assert growth < 1.3
    assert beyond < 1.5 * estimating
    assert whole.workers < 1.3 * short.workers + 1e8
    assert whole.parent < 1e9
