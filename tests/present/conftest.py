"""What tests of pictures and pages share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.browser import Browser


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A running browser."""
    one = Browser(tmp_path_factory.mktemp("browser"))
    yield one
    one.close()
