"""A browser for the tests that look at a page as somebody sees it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.cli.conftest import cli
from tests.report.browser import PROGRAM, Browser

__all__ = ["cli"]


@pytest.fixture(scope="session")
def shared_browser() -> Iterator[Browser]:
    if PROGRAM is None:
        pytest.skip("no headless Chromium is installed")
    browser = Browser()
    yield browser
    browser.close()


@pytest.fixture
def browser(shared_browser: Browser) -> Browser:
    return shared_browser
