"""For every test: the fixed clock of a test is not said aloud, and what tests start is compiled once."""

from __future__ import annotations

import gc
import os

import pytest

from tests import once

os.environ.setdefault("MOUNTBOOK_NOW_QUIET", "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
gc.disable()  # until all tests are collected: what is read until then stays


@pytest.fixture(scope="session", autouse=True)
def _shared(tmp_path_factory: pytest.TempPathFactory) -> None:
    if "PYTEST_XDIST_WORKER" in os.environ:
        once.share_in(tmp_path_factory.getbasetemp().parent)


def pytest_collection_finish() -> None:
    """Keep thousands of collected tests out of every later search for garbage."""
    gc.collect()
    gc.freeze()
    gc.enable()
    gc.set_threshold(20_000, 20, 20)
