"""Some cases of a test are run each time, all of them with the long set."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def first(quick: int, cases: Iterable[Any]) -> list[Any]:
    """Return the cases (each a value, or a tuple of them), those after the first ``quick`` marked `long`."""
    every = [case if isinstance(case, tuple) else (case,) for case in cases]
    later = (pytest.param(*case, marks=pytest.mark.long) for case in every[quick:])
    return [*(pytest.param(*case) for case in every[:quick]), *later]
