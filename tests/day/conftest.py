from tests.counter.conftest import command, furnished, shop

__all__ = ["command", "furnished", "shop"]
