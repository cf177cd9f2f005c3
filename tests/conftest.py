"""For every test: the fixed clock of a test is not said aloud, and what tests start is compiled once."""

from __future__ import annotations

import gc
import os

os.environ.setdefault("MOUNTBOOK_NOW_QUIET", "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_collection_finish() -> None:
    """Keep thousands of collected tests out of every later search for garbage."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)
