"""What tables and their columns mean: one entry a name, for every format that can say it.

A name means the same in every table; where a table differs, ``OWN`` has the entry.
"""

from __future__ import annotations

from profiler.write import briefing_columns, profile_columns
from profiler.write.meaning import Meaning

UNITS = {"_m": "m", "_pct": "%", "_deg": "degree", "_kmh": "km/h", "_kn": "kN", "_t": "t", "_s": "s"}
"""Endings of names and the unit they stand for."""

TABLES = profile_columns.TABLES | briefing_columns.TABLES
COLUMNS = profile_columns.COLUMNS | briefing_columns.COLUMNS
OWN = profile_columns.OWN | briefing_columns.OWN


def meaning(table: str, column: str) -> Meaning:
    """What a column means, its unit by the end of its name where no other is given.

    Raises
    ------
    KeyError
        If nobody has written it down.
    """
    found = OWN.get((table, column)) or COLUMNS[column]
    ending = next((unit for end, unit in UNITS.items() if column.endswith(end)), "")
    return found._replace(unit=found.unit or ending)
