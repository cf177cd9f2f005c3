"""Many names as one argument of a query, so that one reading of a table serves them all."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Final

AMONG: Final = "IN (SELECT value FROM json_each(?))"
"""The condition in SQL that a column has one of these names; `among` makes its argument."""


def among(names: Iterable[str]) -> tuple[str]:
    """Return the argument of one `AMONG`. A name with a NUL stands in no ledger, and would be read only up to
    there.
    """
    return (json.dumps([name for name in names if "\0" not in name]),)
