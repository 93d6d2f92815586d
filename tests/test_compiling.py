"""Compiled loops."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

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


@pytest.mark.slow
@pytest.mark.parametrize("folders", [("mechanics", "handling"), ("elevation", "alignment")])
def test_no_loop_reads_past_its_tables(folders: tuple[str, ...], tmp_path: Path):
    """Law: with every index checked the tests of all loops pass; unchecked, what lies past a table is read and used."""
    checked = {**os.environ, "NUMBA_BOUNDSCHECK": "1", "NUMBA_CACHE_DIR": str(tmp_path)}
    tests = [str(Path(__file__).parent / folder) for folder in folders]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", *tests], env=checked, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-3000:]
