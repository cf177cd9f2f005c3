from __future__ import annotations

from tests.counter.conftest import furnished
from tests.orders.conftest import benched, shop

__all__ = ["benched", "furnished", "shop"]
