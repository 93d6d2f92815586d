"""A server of this machine for tests of fetching."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.pipelines.range_server import Server, serving


@pytest.fixture
def server() -> Iterator[Server]:
    """A server with nothing on it yet."""
    with serving() as one:
        yield one
