"""Compiled loops."""

from __future__ import annotations

import numba
import pytest

from profiler.compiling import compiled


def test_nowhere_to_keep_what_is_compiled(monkeypatch: pytest.MonkeyPatch):
    """Law: where no folder may be written to, which numba refuses in a RuntimeError, loops are still compiled."""
    real = numba.njit

    def without_cache(**options):
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return real(**options)

    monkeypatch.setattr(numba, "njit", without_cache)

    def twice(x):
        return 2 * x

    assert compiled(twice)(21) == 42
