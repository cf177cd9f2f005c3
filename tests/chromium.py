"""A real browser for the tests: started once for a file of tests, a fresh profile for each test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest

CHROMIUM = os.environ.get("MOUNTBOOK_CHROMIUM") or shutil.which("chromium")
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """The browser. Skipped aloud where none is installed."""
    if CHROMIUM is None:
        pytest.skip("NO BROWSER: install Chromium to walk the pages")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=[*ARGUMENTS])
        yield browser
        browser.close()
