"""What can go wrong on purpose.

ProfilerError
├── InputError (ValueError)           a file or argument is not what it claims
│   ├── MissingCRSError               coordinates without a reference system
│   ├── TerritoryError                a key or value of a territory file
│   ├── TrainError                    a key or value of a train file
│   └── RouteError                    the pieces do not make one line between two ends
├── CoverageError (LookupError)       the elevation data do not reach part of the route
└── OutputError (OSError)             a result cannot be written
"""

from __future__ import annotations

from typing import Any


class ProfilerError(Exception):
    """Root of everything raised on purpose: where, what is wrong, what to do.

    Parameters
    ----------
    source : object
        File, layer, row, key or post the message is about.
    problem : str
        What is wrong, without a full stop.
    remedy : str
        What to do about it, without a full stop.
    """

    def __init__(self, source: object, problem: str, remedy: str) -> None:
        self.source, self.problem, self.remedy = str(source), problem, remedy
        super().__init__(f"{self.source}: {problem}; {remedy}")

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.source, self.problem, self.remedy)


class InputError(ProfilerError, ValueError):
    """A file or an argument is not what it claims to be."""


class MissingCRSError(InputError):
    """Coordinates come without a reference system."""


class TerritoryError(InputError):
    """A key or a value of a territory file is wrong."""


class TrainError(InputError):
    """A key or a value of a train file is wrong."""


class RouteError(InputError):
    """The pieces of a centreline do not make one line between two ends."""


class CoverageError(ProfilerError, LookupError):
    """The elevation data do not reach part of the route."""


class OutputError(ProfilerError, OSError):
    """A result cannot be written."""
