"""For every test: the fixed clock of a test is not said aloud, and what tests start is compiled once."""

from __future__ import annotations

import os

os.environ.setdefault("MOUNTBOOK_NOW_QUIET", "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
