"""Labels never overlap: measured boxes placed in rank order, each at its first free candidate.

Pure geometry in one flat unit, whatever the picture uses (points on charts). What finds no place is
dropped and listed; its sign stays where it is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace

PAD = 2.4
"""Least distance between two labels."""


@dataclass(frozen=True)
class Box:
    """An upright rectangle; ``top`` is over ``bottom``."""

    left: float
    bottom: float
    right: float
    top: float

    def meets(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.left < other.right and other.left < self.right and self.bottom < other.top and other.bottom < self.top
        )

    def within(self, other: Box) -> bool:
        """Whether this box lies wholly inside another."""
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.bottom >= other.bottom
            and self.top <= other.top
        )

    def grown(self, by: float) -> Box:
        """The box with a margin on all sides."""
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)

    def lifted(self, by: float) -> Box:
        """The box so much higher."""
        return Box(self.left, self.bottom + by, self.right, self.top + by)


@dataclass(frozen=True)
class Candidate:
    """One way to set a label: its words, where they are anchored, and the room they take.

    ``x``, ``y`` are the anchor on the baseline, ``align`` the side of the words it is on ("left",
    "center", "right"). ``stem`` is the room of a line from the words to their place. ``over`` names
    owners whose boxes the words may cover: a number lies inside its own block. ``style`` is the
    picture's own business.
    """

    style: str
    text: str
    x: float
    y: float
    align: str
    box: Box
    stem: Box | None = None
    over: frozenset[str] = frozenset()

    def lifted(self, by: float) -> Candidate:
        """The same so much higher."""
        return replace(self, y=self.y + by, box=self.box.lifted(by), stem=self.stem and self.stem.lifted(by))


@dataclass(frozen=True)
class Label:
    """A thing to be named: ``name`` for the list of dropped ones, low ``rank`` placed first.

    Stems may pass the boxes of owners in ``stem_over``.
    """

    name: str
    rank: float
    candidates: tuple[Candidate, ...]
    stem_over: frozenset[str] = frozenset()


class Room:
    """What is taken of a picture, found again by strips of x so that cost stays linear."""

    def __init__(self, bounds: Box, strip: float = 48.0) -> None:
        self.bounds = bounds
        self._strip = strip
        self._taken: defaultdict[int, list[tuple[Box, str]]] = defaultdict(list)

    def _strips(self, box: Box) -> Iterator[int]:
        yield from range(int(box.left // self._strip), int(box.right // self._strip) + 1)

    def take(self, box: Box, owner: str = "") -> None:
        """Mark a box as taken, for an owner whose labels may lie over it."""
        for strip in self._strips(box):
            self._taken[strip].append((box, owner))

    def is_free(self, box: Box, over: Collection[str] = ()) -> bool:
        """Whether a box lies inside the bounds and meets nothing but what belongs to ``over``."""
        if not box.within(self.bounds):
            return False
        return not any(
            box.meets(taken) for strip in self._strips(box) for taken, owner in self._taken[strip] if owner not in over
        )


def place(
    labels: Iterable[Label], room: Room, pad: float = PAD
) -> tuple[list[tuple[Label, Candidate]], tuple[str, ...]]:
    """Set labels into a room, in order of rank; equal ranks keep their order.

    Returns
    -------
    placed : list of (Label, Candidate)
        Each label that found room, with the candidate it took. ``room`` now holds their boxes.
    dropped : tuple of str
        Names of those that did not, in order of rank.
    """
    placed, dropped = [], []
    for label in sorted(labels, key=lambda item: item.rank):
        for candidate in label.candidates:
            if _fits(candidate, label, room, pad):
                room.take(candidate.box)
                if candidate.stem is not None:
                    room.take(candidate.stem)
                placed.append((label, candidate))
                break
        else:
            dropped.append(label.name)
    return placed, tuple(dropped)


def _fits(candidate: Candidate, label: Label, room: Room, pad: float) -> bool:
    if not candidate.box.within(room.bounds):
        return False
    # The margin may reach over the edge of the picture, the words may not.
    edge = room.bounds
    padded = candidate.box.grown(pad)
    padded = Box(
        max(padded.left, edge.left),
        max(padded.bottom, edge.bottom),
        min(padded.right, edge.right),
        min(padded.top, edge.top),
    )
    if not room.is_free(padded, candidate.over):
        return False
    return candidate.stem is None or room.is_free(candidate.stem, label.stem_over)
