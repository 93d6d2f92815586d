"""Kilometre and mile posts: from the pieces, from point features, or as stated."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from profiler.alignment.spans import PieceSpan
from profiler.errors import InputError
from profiler.route import Posts
from profiler.units import FOOT, MILE, POST_UNITS

_POST = re.compile(
    r"^\s*(km|mi|mp|pk|mile|post)?\.?\s*(-?\d+(?:[.,]\d+)?)\s*(?:\+\s*(\d+(?:[.,]\d+)?))?\s*$",
    re.IGNORECASE,
)

_SAYS_UNIT = re.compile(r"[+a-z]", re.IGNORECASE)

_UNIT_OF = {"km": "km", "pk": "km", "mi": "mi", "mp": "mi", "mile": "mi"}

_WRITTEN = {"pk": "PK", "mile": "mi", "mp": "MP", "post": ""}
"""Words before a post as they are shown, where they are not shown as read."""

SAME_POST_M = 30.0
"""Posts of two pieces that meet differ by less: one post; by more: an equation. [m]"""


def parse_post(text: str, unit: str, source: str = "post") -> float:
    """Post value in ``unit`` ("km", "mi") of "12.40", "km 133.1", "12+2112".

    After a plus sign stand metres in kilometres, feet in miles.

    Raises
    ------
    InputError
        If the text is no post, or names another unit.
    """
    match = _POST.match(text)
    if match is None:
        raise InputError(source, f"{text!r} is no post", "write it like 12.40, km 133.1 or 12+2112")
    if _UNIT_OF.get((match[1] or "").lower(), unit) != unit:
        raise InputError(source, f"{text!r} is no post in {unit}", "write the posts in the unit they are stated in")
    whole = float(match[2].replace(",", "."))
    if match[3] is None:
        return whole
    if match[2].startswith("-"):
        raise InputError(source, f"{text!r} can be read in two ways", "write a post below 0 like -0.25")
    rest = float(match[3].replace(",", "."))
    return whole + (rest / 1000 if unit == "km" else rest * FOOT / MILE)


def post_of_field(value: object, unit: str, unit_m: float, source: str) -> float | None:
    """Post in ``unit`` ("km", "mi") of what a field holds, None where it is empty.

    A bare figure counts in units of ``unit_m`` [m]; "133+100" and "km 133.1" say theirs themselves.

    Raises
    ------
    InputError
        If it is no post.
    """
    if value is None:
        return None
    factor = unit_m / POST_UNITS[unit]
    if isinstance(value, int | float):
        return float(value) * factor
    text = str(value)
    post = parse_post(text, unit, source)
    return post if _SAYS_UNIT.search(text) else post * factor


def written_style(*groups: Iterable[str]) -> tuple[str | None, bool]:
    """How posts are written, ``prefix`` and ``plus`` of `Posts`: as most do in the first group that tells.

    "12" alone goes with any style; what is no post tells nothing.
    """
    for texts in groups:
        votes: Counter[tuple[str, bool]] = Counter()
        for text in texts:
            match = _POST.match(text)
            if match and (match[1] or match[3] or not match[2].lstrip("-").isdigit()):
                word = (match[1] or "").lower()
                votes[_WRITTEN.get(word, word), match[3] is not None] += 1
        if votes:
            return votes.most_common(1)[0][0]
    return None, False


def field_texts(values: Iterable[object]) -> tuple[str, ...]:
    """What fields hold that says how posts are written: text with a plus or a unit, figures say nothing."""
    return tuple(value for value in values if isinstance(value, str) and _SAYS_UNIT.search(value))


def in_style(posts: Posts, *groups: Iterable[str]) -> Posts:
    """Posts that are shown as the given texts write them, see `written_style`."""
    prefix, plus = written_style(*groups)
    return dataclasses.replace(posts, prefix=prefix, plus=plus)


def chainage_only(unit: str) -> Posts:
    """Where no posts are known, chainage serves, counted from the start."""
    return Posts(np.array([0.0]), np.array([0.0]), unit, stated=False)


def posts_from_anchors(anchors: Sequence[tuple[float, float]], unit: str) -> Posts:
    """Posts from (chainage [m], value) pairs in any order."""
    chainage, value = (np.array(column, dtype=float) for column in zip(*sorted(anchors), strict=True))
    return Posts(chainage, value, unit)


def with_equations(posts: Posts, equations: Sequence[tuple[float, float, float]]) -> Posts:
    """Posts with equations (chainage [m], back, ahead) set in: the post jumps from back to ahead."""
    chainage, value = posts.chainage.tolist(), posts.value.tolist()
    for at, back, ahead in equations:
        place = int(np.searchsorted(chainage, at, side="right"))
        chainage[place:place] = [at, at]
        value[place:place] = [back, ahead]
    return dataclasses.replace(posts, chainage=np.array(chainage), value=np.array(value))


def posts_from_pieces(spans: Sequence[PieceSpan], start_field: str, end_field: str, unit_m: float, unit: str) -> Posts:
    """Posts from fields that hold the post at the first and last vertex of each piece.

    Raises
    ------
    InputError
        If no piece carries both, or one is no number.
    """
    anchors: list[tuple[float, float]] = []
    for span in spans:
        first, last = (
            post_of_field(span.piece.attributes.get(name), unit, unit_m, f"row {span.piece.row}, field {name}")
            for name in (start_field, end_field)
        )
        if first is None or last is None:
            continue
        for place, share in ((span.start, span.start_share), (span.end, span.end_share)):
            anchors.append((place, first + share * (last - first)))
    if not anchors:
        raise InputError(
            "centreline.posts_from",
            f"no piece carries both {start_field!r} and {end_field!r}",
            "name other fields",
        )
    return _merged(anchors, unit)


def _merged(anchors: list[tuple[float, float]], unit: str) -> Posts:
    """One entry where two pieces meet at the same post; two, an equation, where they do not."""
    metres = POST_UNITS[unit]
    kept: list[tuple[float, float]] = []
    for place, value in sorted(anchors, key=lambda a: a[0]):
        if kept and place - kept[-1][0] < SAME_POST_M and abs(value - kept[-1][1]) * metres < SAME_POST_M:
            continue
        if kept and place - kept[-1][0] < SAME_POST_M:
            place = kept[-1][0]
        kept.append((place, value))
    return Posts(np.array([a[0] for a in kept]), np.array([a[1] for a in kept]), unit)
