from __future__ import annotations

from tests.counter.conftest import furnished, shop

__all__ = ["furnished", "shop"]
