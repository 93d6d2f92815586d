"""The error tree: one sentence, caught by house name or by the builtin, whole after a journey."""

from __future__ import annotations

import copy
import pickle

import pytest

from profiler import errors

CLASSES = [
    errors.ProfilerError,
    errors.InputError,
    errors.MissingCRSError,
    errors.TerritoryError,
    errors.TrainError,
    errors.RouteError,
    errors.CoverageError,
    errors.OutputError,
]


@pytest.mark.parametrize("kind", CLASSES)
def test_one_sentence(kind: type[errors.ProfilerError]):
    """Law: where, what is wrong, what to do, in this order; the parts stay at hand."""
    error = kind("line.geojson, row 7", "has no coordinates", "remove the row")
    assert str(error) == "line.geojson, row 7: has no coordinates; remove the row"
    assert (error.source, error.problem, error.remedy) == (
        "line.geojson, row 7",
        "has no coordinates",
        "remove the row",
    )


@pytest.mark.parametrize("kind", CLASSES)
def test_back_from_another_process(kind: type[errors.ProfilerError]):
    """Law: a worker's error arrives as what it was."""
    error = kind("a", "b", "c")
    for twin in (pickle.loads(pickle.dumps(error)), copy.copy(error)):
        assert type(twin) is kind
        assert str(twin) == "a: b; c"
        assert (twin.source, twin.problem, twin.remedy) == ("a", "b", "c")


@pytest.mark.parametrize(
    ("kind", "builtin"),
    [
        (errors.InputError, ValueError),
        (errors.MissingCRSError, ValueError),
        (errors.TerritoryError, ValueError),
        (errors.RouteError, ValueError),
        (errors.CoverageError, LookupError),
        (errors.OutputError, OSError),
    ],
)
def test_caught_without_knowing_us(kind: type[errors.ProfilerError], builtin: type[Exception]):
    """Law: every class is the builtin a caller would catch, and a ProfilerError."""
    with pytest.raises(builtin) as caught:
        raise kind("a", "b", "c")
    assert isinstance(caught.value, errors.ProfilerError)


def test_source_may_be_anything():
    """Law: a path, a number or a key names the place as text."""
    assert errors.InputError(12, "b", "c").source == "12"


def test_tree_is_as_drawn():
    """Law: the picture at the head of the file names every class, and no other."""
    drawn = {word for word in errors.__doc__.replace("(", " ").split() if word.endswith("Error")}
    assert {kind.__name__ for kind in CLASSES} == drawn
