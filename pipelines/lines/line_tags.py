"""What tags of OpenStreetMap say along a line: speeds, posts, names (pure).

Meaning of the tags as in the OpenStreetMap wiki, pages Key:maxspeed, Key:railway:position and Key:usage.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

KMH = {"km/h": 1.0, "mph": 1.609344}
MILE, KILOMETRE = 1609.344, 1000.0

SHORTEST_LIMIT = 10.0
"""A limit over less than this is of the piece beside it. [m]"""

ROUNDING = 100.0
"""Two posts of one line may be off by so much, both shown to a tenth of a kilometre. [m]"""

STRETCH = 0.05
"""By this part of the way between them two posts of one line may differ from their figures."""

_LOOK_BACK = 60
_SPEED = re.compile(r"^\s*(\d{1,3}(?:\.\d+)?)\s*(km/h|kmh|kph|mph)?\s*$")
_FIGURE = re.compile(r"\s*\d")
_POST = re.compile(
    r"^\s*(?:(mi|km|pk)\s*:?)?\s*(-?\d+(?:[.,]\d+)?)(?:\+(\d+(?:[.,]\d+)?))?\s*(km|mi)?\s*$", re.IGNORECASE
)
_LONGEST_NAME, _LONGEST_SLUG = 120, 80
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)$")


@dataclass(frozen=True)
class Speed:
    """A speed as tagged: its ``figure`` in ``unit`` ("km/h" or "mph")."""

    figure: float
    unit: str

    @property
    def kmh(self) -> float:
        """[km/h]"""
        return self.figure * KMH[self.unit]


def speed_of(value: object) -> Speed | None:
    """A speed of `maxspeed`, in km/h unless it says mph; None where it is none ("none", "signals", a list)."""
    match = _SPEED.match(str(value))
    if match is None or not 0 < float(match[1]) <= 500:
        return None
    return Speed(float(match[1]), "mph" if match[2] == "mph" else "km/h")


def limit_of(attributes: Mapping[str, object]) -> tuple[Speed | None, tuple[str, ...], bool]:
    """The limit of a piece, values passed over, and whether its directions differ (the lower one is taken)."""
    both = attributes.get("maxspeed")
    values = [attributes.get(f"maxspeed:{way}", both) for way in ("forward", "backward")]
    told = [str(value) for value in dict.fromkeys([both, *values]) if value is not None and speed_of(value) is None]
    told += [
        f"{tag}={value}" for tag, value in sorted(attributes.items()) if _of_some(tag) and _FIGURE.match(str(value))
    ]
    speeds = [speed for value in values if value is not None and (speed := speed_of(value)) is not None]
    if not speeds:
        return None, tuple(told), False
    lowest = min(speeds, key=lambda speed: speed.kmh)
    return lowest, tuple(told), len({speed.kmh for speed in speeds}) > 1


def _of_some(tag: str) -> bool:
    """Whether a tag is a limit of some trains or at some times only."""
    return tag.startswith("maxspeed:") and tag not in ("maxspeed:forward", "maxspeed:backward")


def limits_along(ends: Sequence[float], speeds: Sequence[Speed | None]) -> list[tuple[float, float, Speed]]:
    """Stretches of one limit from the limits of pieces that end at ``ends`` [m], the first beginning at 0."""
    runs: list[tuple[float, float, Speed | None]] = []
    start = 0.0
    for end, speed in zip(ends, speeds, strict=True):
        if runs and (runs[-1][2] == speed or end - start < SHORTEST_LIMIT):
            runs[-1] = (runs[-1][0], end, runs[-1][2])
        elif runs and runs[-1][1] - runs[-1][0] < SHORTEST_LIMIT:
            runs[-1] = (runs[-1][0], end, speed)
        else:
            runs.append((start, end, speed))
        start = end
    return [(a, b, speed) for a, b, speed in runs if speed is not None and b - a >= SHORTEST_LIMIT]


def turned(attributes: Mapping[str, object]) -> dict[str, object]:
    """Tags of a way run against its drawing: what is tagged forward is backward."""
    swap = {"forward": "backward", "backward": "forward"}
    return {":".join(swap.get(part, part) for part in key.split(":")): value for key, value in attributes.items()}


@dataclass(frozen=True)
class Post:
    """A post as tagged: its ``value`` in ``unit`` ("km" or "mi")."""

    value: float
    unit: str

    @property
    def metres(self) -> float:
        """[m]"""
        return self.value * (MILE if self.unit == "mi" else KILOMETRE)


def post_of(attributes: Mapping[str, object]) -> Post | None:
    """The post of a node, `railway:position:exact` first; kilometres unless it says mi; None where it is none."""
    for tag in ("railway:position:exact", "railway:position"):
        match = _POST.match(str(attributes.get(tag, "")))
        if match is None:
            continue
        said = {unit.lower() for unit in (match[1], match[4]) if unit}
        unit = "mi" if "mi" in said else "km"
        if len(said - {"pk"}) > 1 or (match[3] and (unit == "mi" or match[2].startswith("-"))):
            continue
        value = float(match[2].replace(",", "."))
        return Post(value + float((match[3] or "0").replace(",", ".")) / KILOMETRE, unit)
    return None


def agreeing_posts(along: Sequence[float], metres: Sequence[float]) -> list[int]:
    """Which of some posts agree with each other: the most that rise, or fall, as the line goes on.

    ``along`` (k,) are their places, rising, ``metres`` (k,) what they say [m]. Fewer than two say nothing.
    """
    s, v = np.asarray(along, dtype=float), np.asarray(metres, dtype=float)
    best: list[int] = []
    for sign in (1.0, -1.0):
        count, before = np.ones(s.size, dtype=int), np.full(s.size, -1)
        for i in range(1, s.size):
            back = slice(max(i - _LOOK_BACK, 0), i)
            way, step = s[i] - s[back], sign * (v[i] - v[back])
            fit = (way > 1.0) & (step > 1.0) & (np.abs(step - way) <= ROUNDING + STRETCH * way)
            if fit.any():
                j = int(np.argmax(np.where(fit, count[back], 0))) + back.start
                count[i], before[i] = count[j] + 1, j
        chain = [int(np.argmax(count))] if s.size else []
        while chain and before[chain[-1]] >= 0:
            chain.append(int(before[chain[-1]]))
        best = max(best, chain[::-1], key=len)
    return best if len(best) > 1 else []


def plain(text: object) -> str:
    """A name on one line in composed letters (NFC), without control and direction marks, of bounded length."""
    spaced = (" " if c.isspace() else c for c in unicodedata.normalize("NFC", str(text)))
    shown = "".join(c for c in spaced if unicodedata.category(c) not in ("Cc", "Cf", "Cs"))
    return " ".join(shown.split())[:_LONGEST_NAME].strip()


def counted(number: int, noun: str) -> str:
    """ "1 line", "2 lines"."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def slug_of(name: str, otherwise: str) -> str:
    """A file name of a to z, 0 to 9 and hyphens, safe on any system; ``otherwise`` where nothing is left."""
    letters = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", letters)[:_LONGEST_SLUG].strip("-")
    if not slug:
        slug = re.sub(r"[^a-z0-9]+", "-", otherwise.lower()).strip("-") or "line"
    return f"line-{slug}" if _RESERVED.match(slug) else slug


def unique(names: Sequence[str], between: str) -> list[str]:
    """The same names, the second of two equal ones numbered."""
    taken: set[str] = set()
    found = []
    for name in names:
        number, one = 1, name
        while one.lower() in taken:
            number += 1
            one = f"{name}{between}{number}"
        taken.add(one.lower())
        found.append(one)
    return found


def commonest(values: Sequence[str], lengths: Sequence[float]) -> str:
    """Of some values the one over the greatest length, empty where none is stated."""
    total: Counter[str] = Counter()
    for value, length in zip(values, lengths, strict=True):
        if value:
            total[value] += length  # type: ignore[assignment]
    return min(total, key=lambda value: (-round(total[value], 3), value)) if total else ""
