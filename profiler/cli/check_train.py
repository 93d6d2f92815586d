"""gradewright check, of a train file"""

from __future__ import annotations

from pathlib import Path


def is_train_file(source: str) -> bool:
    """Whether a file has the tables of a train rather than those of a territory."""
    from profiler.read.checking import toml_kind

    return Path(source).suffix.lower() == ".toml" and toml_kind(Path(source)) == "train"


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
