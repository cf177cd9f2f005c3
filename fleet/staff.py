"""Who may sign. A name is a claim, not a proof, and the sheets say so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from fleet.entries import name_key


class Role(StrEnum):
    """What a person of the staff list may sign."""

    TECHNICIAN = "technician"
    HEAD_TECHNICIAN = "head technician"
    MANAGER = "manager"
    COUNTER = "counter"


@dataclass(frozen=True, slots=True, kw_only=True)
class Staff:
    """One person of the staff list. ``valid_until`` is the last day the signature counts."""

    name: str
    role: Role
    valid_until: date

    def may_sign(self, on: date) -> bool:
        """Whether the signature counts on that day of the shop's calendar."""
        return on <= self.valid_until

    @property
    def may_check(self) -> bool:
        """Whether this person may pass or clear a pair (counter staff hand out and take back)."""
        return self.role is not Role.COUNTER


def listed(staff: Mapping[str, Staff], name: str) -> Staff | None:
    """The person of the list whom that name means, however it is typed; None if nobody."""
    key = name_key(name)
    return next((person for person in staff.values() if name_key(person.name) == key), None)
