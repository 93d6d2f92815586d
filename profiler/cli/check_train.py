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


def train_report(source: str, dem: tuple[str, ...] = ()) -> str:
    """What a train file says, and what is assumed.

    Raises
    ------
    InputError
        If the file cannot be used, or rasters are given for it.
    """
    from profiler.errors import InputError
    from profiler.read.trains import read_train
    from profiler.train_words import consist_lines

    if dem:
        raise InputError(source, "a train has no elevation, but --dem is given", "leave it out")
    train = read_train(source)
    return "\n".join([f"{source}: can be used", *consist_lines(train, train.units)])
