"""What tables of a briefing share: rows of every case, cells of places of the head end, forces, counts, yes and no."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from profiler.briefing.plan import Briefing
from profiler.units import FloatArray
from profiler.write.cells import Columns, Texts, fixed, post_cells

KN = 1000.0


def by_case(briefing: Briefing, table: Callable[[Briefing], Columns]) -> Columns:
    """A table of every case of the plan, one under another; which case is the first column."""
    parts = [(plan.case, table(briefing.as_case(plan.case))) for plan in briefing.plans]
    lengths = [len(next(iter(part.values()))) for _, part in parts]
    named = zip(parts, lengths, strict=True)
    whole: dict[str, Sequence[str]] = {"case": [case for (case, _), n in named for _ in range(n)]}
    for name in dict.fromkeys(name for _, part in parts for name in part):
        columns = [part.get(name, [""] * n) for (_, part), n in zip(parts, lengths, strict=True)]
        cells = [cell for column in columns for cell in column]
        whole[name] = Texts(cells) if isinstance(columns[0], Texts) else cells
    return whole


def at_head(briefing: Briefing, way: FloatArray | Sequence[float | None], name: str = "head_m") -> dict[str, list[str]]:
    """Chainage and post of distances travelled [m]; None leaves both cells empty."""
    chainage = briefing.terrain.chainage(np.array(way, dtype=float))
    posts = post_cells(briefing.profile.route.posts, np.nan_to_num(chainage))
    return {
        name: fixed(chainage, 1),
        "post": [post if np.isfinite(x) else "" for post, x in zip(posts, chainage, strict=True)],
    }


def yes(values: Sequence[Any] | FloatArray) -> list[str]:
    """Truth in words."""
    return ["yes" if value else "no" for value in values]


def whole(values: Sequence[Any] | FloatArray) -> list[str]:
    """Whole numbers; None leaves its cell empty."""
    return ["" if value is None else str(int(value)) for value in values]


def kilonewtons(forces: FloatArray | Sequence[float | None]) -> list[str]:
    """Forces [N] in kilonewtons."""
    return fixed(np.array(forces, dtype=float) / KN, 1)
