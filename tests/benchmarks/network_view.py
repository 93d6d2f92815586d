"""Size, time and memory of the view of a large invented network.

`python -m tests.benchmarks.network_view [LINES] [KM]`
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from profiler.landmark import GradeRun, Landmark
from profiler.network_line import NetworkLine
from profiler.present.network import draw_network
from profiler.route import Posts
from tests.browser import PROGRAM, Browser

_FIRST = ("Amber", "Birch", "Cinder", "Dunlin", "Elder", "Fescue", "Garnet", "Heron", "Iris", "Juniper", "Kestrel")
_LAST = ("Ford", "Gap", "Quay", "Cross", "Bank", "Mere", "Head", "Junction", "Sound", "Rise", "Moor")


def invented_network(lines: int, km: float, seed: int = 3) -> Iterator[NetworkLine]:
    """Lines that wander over the southern Atlantic, with curves of 200 m radius and more, a change of grade every
    600 m on average, and ten stations each."""
    rng = np.random.default_rng(seed)
    step = 10.0
    n = round(km * 1000 / step) + 1
    s = np.arange(n) * step
    for i in range(lines):
        bends = np.repeat(rng.normal(0, 1 / 900, n // 30 + 1) * (rng.random(n // 30 + 1) < 0.5), 30)[:n]
        heading = rng.uniform(0, 2 * np.pi) + np.cumsum(np.clip(bends, -1 / 200, 1 / 200)) * step
        latitude = rng.uniform(-50, -20) + np.cumsum(np.cos(heading)) * step / 111_000
        longitude = rng.uniform(-40, 0) + np.cumsum(np.sin(heading)) * step / 111_000 / np.cos(np.radians(latitude))
        edges = np.r_[0.0, np.sort(rng.choice(s[1:-1], round(km / 0.6), replace=False)), s[-1]]
        grades = rng.laplace(0, 0.006, edges.size - 1)
        places = tuple(f"{rng.choice(_FIRST)} {rng.choice(_LAST)}" for _ in range(10))
        elevation = np.interp(s, edges, 300 + np.r_[0, np.cumsum(np.diff(edges) * grades)])
        yield NetworkLine(
            key=f"line-{i:05d}",
            name=f"{places[0]} to {places[-1]}",
            ends=(places[0], places[-1]),
            units="metric",
            posts=Posts(np.array([0.0]), np.array([float(rng.integers(0, 900))])),
            chainage=s,
            longitude=longitude,
            latitude=latitude,
            elevation=elevation,
            landmarks=tuple(_landmarks(rng, s, elevation)),
            grade_runs=tuple(
                GradeRun(a, b, g, 3e-4, g * (b - a)) for a, b, g in zip(edges[:-1], edges[1:], grades, strict=True)
            ),
            places=places,
            vertical_datum="EGM2008",
            invented=True,
            attribution="Invented elevation",
            assumptions=(f"elevation data are missing at {rng.integers(1, 99)} stations and bridged",),
            links=(("Map of this line", f"line-{i:05d}-profile/map.html"),),
        )


def _landmarks(rng: np.random.Generator, s: np.ndarray, elevation: np.ndarray) -> Iterator[Landmark]:
    for direction in ("with", "against"):
        value, at = rng.uniform(0.3, 3.0), rng.uniform(1000, s[-1] - 1000)
        sure = {"low": value - 0.1, "high": value + 0.1, "unit": "%"}
        stretch = {"start": at - 1000, "end": at + 1000, "at": at, "value": value}
        yield Landmark(kind="ruling_grade", direction=direction, train_length=2000.0, **stretch, **sure)
        yield Landmark(kind="sustained_grade", direction=direction, **stretch, **sure)
    top = float(s[np.argmax(elevation)])
    yield Landmark(kind="crest", direction="both", start=top, end=top, at=top, value=50.0, unit="m")
    yield Landmark(
        kind="sharpest_curve", direction="both", start=500, end=900, at=700, value=rng.uniform(2, 8), unit="degree"
    )


READY = "for (let i = 0; i < 900 && !globalThis.gradewright; i++) await new Promise((d) => setTimeout(d, 20));"
DRAWING = """
const { map, draw } = gradewright.network, times = [];
for (const zoom of [map.getZoom(), 6, 8, 10, 12]) {
  map.setZoom(zoom, { animate: false });
  const from = performance.now();
  draw();
  document.getElementById("drawing").getContext("2d").getImageData(0, 0, 1, 1); // waits for the strokes
  times.push(`zoom ${zoom}: ${Math.round(performance.now() - from)} ms`);
}
return times.join(", ");
"""


def main(lines: int = 2000, km: float = 50.0) -> None:
    """Write the view aside, open it, and tell."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "network.html"
        start = time.perf_counter()
        for _ in invented_network(lines, km):
            pass
        made = time.perf_counter() - start
        start = time.perf_counter()
        draw_network(invented_network(lines, km), path, name="Invented network", invented=True)
        took = time.perf_counter() - start - made
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{lines:,} lines, {lines * km:,.0f} km: {path.stat().st_size / 1e6:.1f} MB in {took:.1f} s, {most:.0f} MB"
        )
        if PROGRAM is None:
            return
        browser = Browser(Path(folder) / "browser")
        start = time.perf_counter()
        tab = browser.tab(path.as_uri())
        tab.do(READY)
        drawn = tab.do("return Math.round(performance.now())")
        tab.picture()
        print(f"drawn {drawn} ms after it was asked for; on a screen after {time.perf_counter() - start:.1f} s")
        print(tab.do(DRAWING))
        browser.close()


if __name__ == "__main__":
    main(*(kind(text) for kind, text in zip((int, float), sys.argv[1:], strict=False)))
