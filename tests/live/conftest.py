"""One browser, and one server of the furnace, for all tests of the page in a process."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from demos import CASES

from pyrobal.live.server import Server

from ..report.browser import Page, browser
from .opened import served


@pytest.fixture(scope="session")
def first() -> Iterator[Page]:
    """The first tab; tests open others beside it."""
    with browser() as opened:
        yield opened


@pytest.fixture
def tab(first: Page) -> Iterator[Page]:
    """A tab that remembers nothing."""
    opened = first.another()
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def furnace() -> Iterator[Server]:
    """It keeps no state of a page but answers that anyone would be given."""
    running = served(CASES / "skerry_point.toml")
    yield running
    running.stop()
