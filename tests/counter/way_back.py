"""A shop, a copy of its ledger, and the way back."""

from __future__ import annotations

from pathlib import Path
from typing import Generic, TypeVar

from fleet.audit.backup import Backup, Restored, backup, restore
from fleet.base.entries import Head
from fleet.ledger.ledger import Ledger
from tests.counter.shop import WIM, Shop

S = TypeVar("S", bound=Shop)


class Counter(Generic[S]):
    """The copy is made at once; `back` restores it."""

    def __init__(self, shop: S, folder: Path) -> None:
        self.shop, self.folder, self.path = shop, folder, shop.ledger.path
        self.copy: Backup = backup(self.path, folder / "copies", now=shop.tick(), keep=3)

    def back(self, by: str = WIM, *, printed: Head | None = None) -> Restored:
        """Restore that copy, and go on with the ledger that is there now."""
        self.shop.ledger.connection.close()
        done = restore(self.copy.path, self.path, by=by, now=self.shop.tick(), printed=printed)
        self.shop.ledger = Ledger.open(self.path)
        return done
