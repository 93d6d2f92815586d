"""Cells that tables of a briefing share: places of the head end, forces, counts, yes and no."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from profiler.briefing.plan import Briefing
from profiler.units import FloatArray
from profiler.write.cells import fixed, post_cells

KN = 1000.0


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
