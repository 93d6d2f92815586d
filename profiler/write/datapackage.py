"""CSV tables with datapackage.json beside them: a Data Package whose every column is described.

Frictionless Data: Tabular Data Package and Table Schema, version 1.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path

from profiler.files import sha256
from profiler.profile import Profile
from profiler.write.cells import Columns, write_columns
from profiler.write.columns import TABLES, meaning
from profiler.write.statement import description, facts, title

_APOSTROPHE = "A text that begins with =, +, - or @ has an apostrophe before it."


def write_package(profile: Profile, tables: Mapping[str, Columns], folder: Path) -> None:
    """Write tables by name, each a .csv, and datapackage.json into ``folder``.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    resources = []
    for name, columns in tables.items():
        path = folder / f"{name}.csv"
        write_columns(path, columns)
        resources.append(_resource(name, columns, path))
    package = {
        **facts(profile),
        "profile": "tabular-data-package",
        "name": re.sub("[^a-z0-9]+", "-", profile.route.name.lower()).strip("-") or "profile",
        "title": title(profile),
        "description": description(profile, _APOSTROPHE),
        "resources": resources,
    }
    text = json.dumps(package, indent=1, ensure_ascii=False)
    (folder / "datapackage.json").write_text(text + "\n", encoding="utf-8", errors="replace", newline="\n")


def _resource(name: str, columns: Columns, path: Path) -> dict[str, object]:
    return {
        "profile": "tabular-data-resource",
        "name": name,
        "path": path.name,
        "description": TABLES[name],
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": path.stat().st_size,
        "hash": f"sha256:{sha256(path)}",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "quoteChar": '"', "doubleQuote": True, "header": True},
        "schema": {"fields": [_field(name, column) for column in columns], "missingValues": [""]},
    }


def _field(table: str, column: str) -> dict[str, object]:
    """A column in the terms of Table Schema, which has no word for units: ``unit`` is ours."""
    it = meaning(table, column)
    field: dict[str, object] = {"name": column, "type": it.type, "description": it.description}
    if it.type == "boolean":
        field |= {"trueValues": ["yes"], "falseValues": ["no"]}
    return field | ({"unit": it.unit} if it.unit else {})
