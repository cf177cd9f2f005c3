"""The places where a pair or a pair of boots may be."""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class Place(StrEnum):
    """The place of a pair."""

    FLAT = "flat"
    READY = "ready"
    OUT = "out"
    BACK = "back"
    HOLD = "hold"
    IN_REPAIR = "in repair"
    SECOND_CHECK = "second check"
    QUARANTINE = "quarantine"
    MISSING = "missing"
    IN_TRANSIT = "in transit"
    RETIRED = "retired"
    SOLD = "sold"

    @property
    def plannable(self) -> bool:
        """Only what stands in the shop without a question may be planned."""
        return self in (Place.FLAT, Place.READY, Place.BACK)

    @property
    def words(self) -> str:
        """The place as a sentence says it: "K-031 is on hold"."""
        return _WORDS.get(self, self.value)


_WORDS: Final = {
    Place.HOLD: "on hold",
    Place.SECOND_CHECK: "waiting for its second check",
    Place.QUARANTINE: "in quarantine",
    Place.FLAT: "flat (no binding on)",
    Place.BACK: "back and not passed",
}
