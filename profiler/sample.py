"""Where the invented sample territory lies: package data when installed, a folder in a checkout."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path


def sample_territory() -> Path:
    """Path of the sample territory's file."""
    spec = find_spec("profiler.sample_routes")
    if spec is not None and spec.origin is not None:
        return Path(spec.origin).parent / "farrow.toml"
    return Path(__file__).parents[1] / "sample_routes" / "farrow.toml"
