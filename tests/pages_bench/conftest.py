from __future__ import annotations

import pytest

from tests.orders.bench_shop import BenchShop
from tests.orders.conftest import benched, shop
from tests.pages.browser import PagesBrowser

__all__ = ["benched", "shop"]


@pytest.fixture
def browser(shop: BenchShop) -> PagesBrowser:
    """A browser on the bench's machine. K-1 is drilled for 305; its order is for a boot of 317 mm."""
    shop.issue()
    return PagesBrowser.on(shop)
