"""The picture of the method in DEVELOPERS.md: `python -m tests.benchmarks.picture_of_method OUT.png`.

A stretch of a synthetic railway of `tests.truth`, seen by a 30 m surface model: the ground, the true
rail, the estimate with its 95 % band, and how likely the rail is not on the ground.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from profiler.present.palette import BAND, GROUND, GROUND_EDGE, HAIR, INK, MUTED
from tests.benchmarks.accuracy import Case, run_case
from tests.truth import Work

SEED, CASE, STYLE = 4, "dsm", "mountain"
START, END = 10_600.0, 18_600.0
"""A told tunnel ends here; then come a tunnel and a bridge that nobody told of. [m]"""

DOTS = (0, (1.0, 1.6))
_LOOK = {
    "font.family": "DejaVu Sans",
    "font.size": 8,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": MUTED,
}


def draw(case: Case, path: Path) -> None:
    """Draw the stretch of a case into a PNG file."""
    shown = (case.at >= START) & (case.at <= END)
    with matplotlib.style.context(["default", _LOOK]):
        figure = Figure(figsize=(9.0, 6.2), dpi=120, facecolor="white", layout="constrained")
        FigureCanvasAgg(figure)
        rail, grade, off = figure.subplots(3, 1, sharex=True, height_ratios=[3.2, 1.9, 0.9])
        _rail(rail, case, shown)
        _grade(grade, case, shown)
        _off(off, case, shown)
        for axes in (rail, grade, off):
            _plain(axes)
        off.set_xlim(0, (END - START) / 1000)
        off.set_xlabel("km along the line")
        figure.savefig(path, metadata={"Software": None})


def _rail(axes: Axes, case: Case, shown: np.ndarray) -> None:
    x, e = _km(case, shown), case.estimate
    z, reach = e.elevation[shown], 1.96 * e.elevation_se[shown]
    ground, true = case.ground[0][shown], case.elevation[shown]
    floor, top = true.min() - 45, true.max() + 75
    axes.fill_between(x, floor, ground, color=GROUND, lw=0)
    axes.plot(x, ground, color=GROUND_EDGE, lw=0.9)
    axes.fill_between(x, z - reach, z + reach, color=BAND, alpha=0.9, lw=0)
    axes.plot(x, z, color=INK, lw=1.5)
    axes.plot(x, true, color=INK, lw=1.4, ls=DOTS)
    axes.set_ylim(floor, top)
    axes.set_ylabel("elevation, m")
    for work in case.line.works:
        _named(axes, work, x, z)
    samples = [
        ({"color": GROUND_EDGE, "lw": 0.9}, "ground, 30 m surface model"),
        ({"color": INK, "lw": 1.5}, "estimated rail"),
        ({"color": BAND, "lw": 7}, "± 1.96 standard errors"),
        ({"color": INK, "lw": 1.4, "ls": DOTS}, "true rail or grade"),
    ]
    for style, words in samples:
        axes.plot([], [], label=words, **style)
    axes.legend(loc="lower left", frameon=False, fontsize=7.5)


def _named(axes: Axes, work: Work, x: np.ndarray, z: np.ndarray) -> None:
    a, b = (np.clip((v - START) / 1000, 0, (END - START) / 1000) for v in (work.start, work.end))
    if b > a:
        middle = (a + b) / 2
        words = f"{work.kind}, {'told' if work.tagged else 'untold'}"
        at = (middle, float(np.interp(middle, x, z)))
        drop = -24 if work.kind == "tunnel" else 26
        arrow = {"arrowstyle": "-", "color": INK, "lw": 0.6, "shrinkA": 1, "shrinkB": 5}
        axes.annotate(
            words, at, (0, drop), textcoords="offset points", ha="center", va="center", style="italic", arrowprops=arrow
        )


def _grade(axes: Axes, case: Case, shown: np.ndarray) -> None:
    x, e = _km(case, shown), case.estimate
    g, reach = 100 * e.grade[shown], 196 * e.grade_se[shown]
    axes.fill_between(x, g - reach, g + reach, color=BAND, alpha=0.9, lw=0)
    axes.plot(x, g, color=INK, lw=1.5)
    axes.plot(x, 100 * case.grade[shown], color=INK, lw=1.4, ls=DOTS)
    axes.set_ylabel("grade, %")


def _off(axes: Axes, case: Case, shown: np.ndarray) -> None:
    x, share = _km(case, shown), 100 * case.estimate.structure_probability[shown]
    axes.fill_between(x, 0, share, color=GROUND, lw=0, step="mid")
    axes.step(x, share, color=INK, lw=1.1, where="mid")
    axes.set_ylim(0, 108)
    axes.set_yticks([0, 50, 100])
    axes.set_ylabel("not on the\nground, %")


def _km(case: Case, shown: np.ndarray) -> np.ndarray:
    return np.asarray((case.at[shown] - START) / 1000)


def _plain(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(True, color=HAIR, lw=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(colors=INK, length=3, width=0.6)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    draw(run_case(CASE, SEED, STYLE), parser.parse_args().out)


if __name__ == "__main__":
    main()
