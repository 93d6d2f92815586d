"""What people call the curves of a line, and how each lies to its neighbours."""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from profiler.route import CurveElement, Posts

LETTERS = "ABCDFGHJKLMNPQRSTUVWXYZ"
"""Letters of curve numbers. E is left out because spreadsheets and pandas take "62E1" for a number, I and O
because people take them for 1 and 0."""

REVERSE_TANGENT = 30.0
"""Curves of opposite hands with a shorter tangent between them are reverse curves: about 100 ft; common
practice, no source. [m]"""

BROKEN_BACK_TANGENT = 100.0
"""Curves of one hand with a shorter tangent between them are broken-back: common practice, no source. [m]"""

JOINED = 0.5
"""Arcs that meet within this, and have no spirals there, leave no tangent between them. [m]"""

_ROUNDING = 1e-6
"""A middle this little below a whole post is at it. [post unit]"""


def numbered(curves: Sequence[CurveElement], posts: Posts) -> tuple[CurveElement, ...]:
    """The same curves with ``number`` and ``kind`` set from how they lie.

    Arcs of one hand that share a transition, or meet without any, are one compound curve. A curve is
    named by the whole post below its middle and a letter, counted within that whole post as posts
    rise; arcs of a compound curve get ".1", ".2" in the same order. So the numbers do not depend on the
    way the line was drawn, and a part that is cut out of a laid route keeps them.

    ``kind`` is "compound" before all; else "reverse" where a neighbour turns the other way within
    `REVERSE_TANGENT`; else "broken_back" where one turns the same way within `BROKEN_BACK_TANGENT`;
    else "simple".

    Parameters
    ----------
    curves : sequence of CurveElement
        In order of chainage; what they carry as ``number`` and ``kind`` is not looked at.
    posts : Posts
        Of the same line.
    """
    groups = _groups(curves)
    names = _names(groups, posts)
    found: list[CurveElement] = []
    for group, name, kind in zip(groups, names, _kinds(groups), strict=True):
        arcs = len(group)
        for i, curve in enumerate(group):
            arc = i + 1 if posts.rising else arcs - i
            number = f"{name}.{arc}" if arcs > 1 else name
            found.append(dataclasses.replace(curve, number=number, kind=kind))
    return tuple(found)


def _groups(curves: Sequence[CurveElement]) -> list[list[CurveElement]]:
    """Curves, each with all its arcs."""
    groups = [[curve] for curve in curves[:1]]
    for before, after in pairwise(curves):
        if _is_compound(before, after):
            groups[-1].append(after)
        else:
            groups.append([after])
    return groups


def _is_compound(before: CurveElement, after: CurveElement) -> bool:
    """Whether curvature does not come back to zero between two neighbours of one hand."""
    if before.hand != after.hand:
        return False
    tangent = after.start - before.end
    if max(before.spiral_out, after.spiral_in) <= JOINED:
        return tangent <= JOINED
    return tangent < -JOINED


def _names(groups: Sequence[Sequence[CurveElement]], posts: Posts) -> list[str]:
    """ "62C" of every curve."""
    counted: Counter[int] = Counter()
    names = []
    for group in groups if posts.rising else reversed(groups):
        middle = (group[0].start + group[-1].end) / 2
        whole = math.floor(float(posts.at(middle)) + _ROUNDING)
        names.append(f"{whole}{_letters(counted[whole])}")
        counted[whole] += 1
    return names if posts.rising else names[::-1]


def _letters(position: int) -> str:
    """A, B, … Z, then AA, AB, … of positions from 0."""
    rest, last = divmod(position, len(LETTERS))
    return (_letters(rest - 1) if rest else "") + LETTERS[last]


def _kinds(groups: Sequence[Sequence[CurveElement]]) -> list[str]:
    """The kind of every curve by its own arcs and its neighbours."""
    between = [_meeting(before[-1], after[0]) for before, after in pairwise(groups)]
    kinds = []
    for i, group in enumerate(groups):
        sides = between[max(i - 1, 0) : i + 1]
        if len(group) > 1:
            kinds.append("compound")
        else:
            kinds.append(next((kind for kind in ("reverse", "broken_back") if kind in sides), "simple"))
    return kinds


def _meeting(before: CurveElement, after: CurveElement) -> str:
    """What the tangent between two curves makes of them."""
    tangent = after.start - before.end
    if before.hand != after.hand:
        return "reverse" if tangent < REVERSE_TANGENT else ""
    return "broken_back" if tangent < BROKEN_BACK_TANGENT else ""
