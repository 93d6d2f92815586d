"""Loops that must be compiled to be fast."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba


def compiled(function: Callable[..., Any]) -> Any:
    """The function compiled when first called, and kept on disk for the next time if there is a place."""
    try:
        return numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # no folder may be written to: compiled anew each time
        return numba.njit(nogil=True, error_model="numpy")(function)
