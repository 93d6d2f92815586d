"""Pages of trains on the invented line, and what is packed into a page read back."""

from __future__ import annotations

import base64
import json
import re
import zlib
from functools import cache
from typing import Any

import numpy as np

from profiler.briefing.plan import Briefing, plan_handling
from profiler.present.page_pack import Packed
from profiler.units import FloatArray
from tests.invented import invented_landmarks, invented_profile
from tests.trains import TRIAL


@cache
def _briefed(name: str, direction: str, cases: tuple[str, ...] = ("plan",)) -> Briefing:
    return plan_handling(invented_profile(), invented_landmarks(), TRIAL[name], direction, cases)


@cache
def briefings() -> dict[str, list[Briefing]]:
    """A train both ways in all cases, and another one way as planned."""
    every = ("plan", "slower", "faster")
    return {"ore": [_briefed("b", "with", every), _briefed("b", "against", every)], "other": [_briefed("f", "with")]}


def numbers_of(page: str) -> tuple[dict[str, Any], bytes]:
    """The data and the bytes that a page has in it."""
    return unpacked(re.search(r'id="numbers">([^<]*)<', page)[1])


def unpacked(text: str) -> tuple[dict[str, Any], bytes]:
    """The data and the bytes of `Packer.text`."""
    whole = zlib.decompress(base64.b64decode(text))
    length = int.from_bytes(whole[:4], "little")
    return json.loads(whole[4 : 4 + length]), whole[4 + length :]


def array_of(packed: Packed, buffer: bytes) -> FloatArray:
    """An array of `Packer.add` to its step."""
    whole = np.frombuffer(buffer, f"<{packed['type']}", packed["n"], packed["at"])
    return np.where(whole == np.iinfo(packed["type"]).min, np.nan, whole * packed["step"])
