"""The public list: what it promises is there, documented, and costs nothing to import."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import re
import subprocess
import sys
import textwrap
from itertools import pairwise

import pytest

import profiler

NOUNS = sorted(name for name in profiler.__all__ if dataclasses.is_dataclass(getattr(profiler, name)))
FUNCTIONS = sorted(name for name in profiler.__all__ if inspect.isfunction(getattr(profiler, name)))


def own_words(noun: type) -> str:
    """The docstring of a class, and the strings that stand under its fields."""
    (tree,) = ast.parse(textwrap.dedent(inspect.getsource(noun))).body
    assert isinstance(tree, ast.ClassDef)
    under = (
        node.value.value for node in tree.body if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    )
    named = (
        field.target.id
        for field, after in pairwise(tree.body)
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name) and isinstance(after, ast.Expr)
    )
    return " ".join(map(str, (*under, *named)))


@pytest.mark.parametrize("name", profiler.__all__)
def test_every_name_is_there_and_says_what_it_is(name: str):
    """Law: nothing on the list is missing, or documented by its bases only."""
    words = getattr(profiler, name).__doc__
    assert words
    assert not words.startswith(f"{name}(")  # what a dataclass without docstring gets


@pytest.mark.parametrize("name", NOUNS)
def test_every_field_is_named(name: str):
    """Law: a public noun tells of each of its fields, in its docstring or under it."""
    noun = getattr(profiler, name)
    words = own_words(noun)
    silent = [f.name for f in dataclasses.fields(noun) if not re.search(rf"\b{f.name}\b", words)]
    assert not silent


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_parameter_is_named_and_errors_are_told(name: str):
    """Law: a public function tells of each of its parameters, and if it raises on purpose what."""
    function = getattr(profiler, name)
    words = function.__doc__
    silent = [p for p in inspect.signature(function).parameters if not re.search(rf"\b{p}\b", words)]
    assert not silent
    assert "raise " not in inspect.getsource(function).replace(words, "") or "Raises" in words


def test_importing_costs_nothing():
    """Law: names are loaded when they are asked for: no numpy, no GDAL for `import profiler`."""
    code = "import sys, profiler; print(sorted({m.split('.')[0] for m in sys.modules} & {'numpy', 'pyogrio', 'numba'}))"
    said = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert said.stdout.strip() == "[]"
