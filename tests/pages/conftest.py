from __future__ import annotations

import pytest

from tests.counter.conftest import furnished, shop
from tests.counter.shop import Shop
from tests.pages.browser import PagesBrowser

__all__ = ["furnished", "shop"]


@pytest.fixture
def browser(shop: Shop) -> PagesBrowser:
    """A browser on the shop's own machine, at the counter."""
    found = PagesBrowser.on(shop)
    found.get("/counter")
    return found
