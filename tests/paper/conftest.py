"""Fixtures over the invented shop."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest

from tests.paper.invented_shop import CASES, PRINTED_AT, Case


@pytest.fixture
def case() -> Callable[[str], Case]:
    """A named example: its fleet and its planned set."""
    return lambda name: CASES[name]()


@pytest.fixture
def printed_at() -> datetime:
    """The moment of printing, 17:50 in Vienna."""
    return PRINTED_AT
