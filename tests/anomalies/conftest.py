"""The busy shop of tests/ledger, to be mistreated."""

from __future__ import annotations

from tests.ledger.conftest import path, shop, template

__all__ = ["path", "shop", "template"]
