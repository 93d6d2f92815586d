"""Numbers and words of a page as one compressed block of text that no markup can be in."""

from __future__ import annotations

import base64
import json
import zlib
from typing import Any

import numpy as np
import numpy.typing as npt

from profiler.units import FloatArray

_TYPES = ("i1", "i2", "i4")
_ALIGNED = 4

Packed = dict[str, Any]
"""Where an array stands among the bytes (``at``), its ``type``, how many whole steps (``n``), and the ``step``."""


class Packer:
    """Gathers arrays as whole numbers of steps, each in the fewest bytes; the least number of a type stands for NaN."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def add(self, values: npt.ArrayLike, step: float) -> Packed:
        """Keep an array, flattened, to the nearest ``step``."""
        flat = np.asarray(values, dtype=float).ravel()
        known = np.isfinite(flat)
        whole = np.zeros(flat.size, dtype=np.int64)
        whole[known] = np.rint(flat[known] / step)
        most = int(np.abs(whole).max()) if flat.size else 0
        kind = next(t for t in _TYPES if most <= np.iinfo(t).max)
        whole[~known] = np.iinfo(kind).min
        self._bytes += bytes(-len(self._bytes) % _ALIGNED)
        at = len(self._bytes)
        self._bytes += whole.astype(f"<{kind}").tobytes()
        return {"at": at, "n": flat.size, "type": kind, "step": step}

    def add_fine(self, values: FloatArray, levels: int) -> Packed:
        """Keep an array so that its greatest value is so many steps."""
        most = float(np.nanmax(np.abs(values), initial=0.0))
        return self.add(values, max(most, 1e-9) / levels)

    def text(self, data: dict[str, Any]) -> str:
        """Everything in base64: deflated (zlib), the length of the JSON (4 bytes, little-endian), JSON, bytes."""
        plain = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode("utf-8")
        plain += b" " * (-len(plain) % _ALIGNED)
        whole = len(plain).to_bytes(4, "little") + plain + bytes(self._bytes)
        return base64.b64encode(zlib.compress(whole, 9)).decode("ascii")
