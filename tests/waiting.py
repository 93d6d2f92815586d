"""Waiting for what another process or thread does."""

from __future__ import annotations

import time
from collections.abc import Callable

PATIENCE = 120.0
"""How long anything is waited for: far more than a busy machine takes. [s]"""


def until(such: Callable[[], object]) -> None:
    """Wait until something is so."""
    limit = time.monotonic() + PATIENCE
    while not such():
        assert time.monotonic() < limit, f"not so within {PATIENCE:g} s"
        time.sleep(0.01)
