"""What a column means, in the terms of formats that can say it."""

from __future__ import annotations

from typing import NamedTuple


class Meaning(NamedTuple):
    """A column in words: its ``type`` in the terms of Table Schema, and its ``unit``."""

    description: str
    type: str = "number"
    unit: str = ""


def text(description: str) -> Meaning:
    """A column of words."""
    return Meaning(description, "string")
