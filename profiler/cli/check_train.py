"""gradewright check, of a train file"""

from __future__ import annotations

import tomllib
from pathlib import Path


def is_train_file(source: str) -> bool:
    """Whether a file has the tables of a train rather than those of a territory."""
    if Path(source).suffix.lower() != ".toml":
        return False
    try:
        data = tomllib.loads(Path(source).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False  # whoever reads it will say what is wrong
    return bool({"train", "block"} & data.keys())


def train_report(source: str) -> str:
    """What a train file says, and what is assumed.

    Raises
    ------
    InputError
        If the file cannot be used.
    """
    from profiler.read.trains import read_train
    from profiler.train_words import consist_lines

    train = read_train(source)
    return "\n".join([f"{source}: can be used", *consist_lines(train, train.units)])
