"""Who is told what is being done."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Told what is being done and the share of it that is done."""


def quiet(_step: str, _share: float) -> None:
    """Progress that nobody watches."""
