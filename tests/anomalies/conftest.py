"""The busy shop of tests/ledger, to be mistreated, with the syncs that every other folder does without."""

from __future__ import annotations

import pytest

from fleet.tables import connection
from tests.ledger.conftest import path, shop, template

__all__ = ["path", "shop", "template"]


@pytest.fixture(autouse=True)
def _synced(settings_of_a_ledger: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "_PRAGMAS", settings_of_a_ledger)
