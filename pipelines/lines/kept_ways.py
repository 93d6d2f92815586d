"""Which ways of an extract are wanted, by their tags, and what is told of the rest (pure)."""

from __future__ import annotations

import difflib
import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from pipelines.lines.line_tags import counted, plain
from pipelines.lines.tracks import length_of
from profiler import Centreline, InputError, Piece

Keep = Mapping[str, Sequence[str]]
"""Tags and the values wanted; "" stands for no value."""

_NAMED = 5


def value_of(piece: Piece, tag: str) -> str:
    """A tag as text, "" without it."""
    return str(piece.attributes.get(tag, ""))


def kept_ways(centreline: Centreline, keep: Keep) -> tuple[tuple[Piece, ...], tuple[str, ...]]:
    """Pieces with the tags wanted, and what is said of the others.

    Raises
    ------
    InputError
        If nothing is a railway, or nothing is kept.
    """
    source, pieces = centreline.source, centreline.pieces
    if not any("railway" in piece.attributes for piece in pieces):
        raise InputError(
            source, "no line in it has a railway tag", "give an extract of OpenStreetMap, .osm or .osm.pbf"
        )
    lacking = [_lacking(piece, keep) for piece in pieces]
    kept = tuple(piece for piece, tag in zip(pieces, lacking, strict=True) if not tag)
    untagged: dict[str, list[Piece]] = defaultdict(list)
    for piece, tag in zip(pieces, lacking, strict=True):
        if tag and not value_of(piece, tag):
            untagged[tag].append(piece)
    remedies = [
        f"{counted(len(without), 'way')}, {length_of(without) / 1000:,.1f} km, without {tag}: "
        f"{tag} = {json.dumps([*keep[tag], ''], ensure_ascii=False)} in keep takes them too"
        for tag, without in sorted(untagged.items())
    ]
    if not kept:
        wanted = " and ".join(f"{tag}={' or '.join(values)}" for tag, values in keep.items())
        remedy = _other_tags(pieces, keep, remedies)
        raise InputError(source, f"none of its {len(pieces)} railway tracks is {wanted}", remedy)
    left = Counter(centreline.left_out)
    left.update(
        f"{'other' if value_of(piece, tag) else 'no'} {tag}" for piece, tag in zip(pieces, lacking, strict=True) if tag
    )
    said = ", ".join(f"{n} × {reason}" for reason, n in sorted(left.items()) if n)
    return kept, (*([f"ways not read: {said}"] if said else []), *remedies)


def _lacking(piece: Piece, keep: Keep) -> str:
    """The first tag for which a piece is not wanted, empty if it is."""
    return next((tag for tag, values in keep.items() if value_of(piece, tag) not in values), "")


def _other_tags(pieces: Sequence[Piece], keep: Keep, remedies: Sequence[str]) -> str:
    """What to keep instead: a tag that somebody mistyped, else values that are there or none."""
    known = sorted({tag for piece in pieces for tag in piece.attributes})
    for tag in keep:
        if tag not in known and (near := difflib.get_close_matches(tag, known, 1)):
            return f"no track has a tag {plain(tag)}; did you mean {near[0]}?"
    there = Counter(f"{tag}={value}" for tag in keep for piece in pieces if (value := plain(value_of(piece, tag))))
    values = [value for value, _ in sorted(there.items(), key=lambda item: (-item[1], item[0]))[:_NAMED]]
    return "; ".join([*([f"keep other tags: {', '.join(values)}"] if values else []), *remedies])
