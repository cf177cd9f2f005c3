"""The staff list: who may sign. A name is a claim, not a proof, and the sheets say so."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

from fleet.base.entries import Body, name_key


class Role(StrEnum):
    """The role of a person, which says what the person may sign."""

    TECHNICIAN = "technician"
    HEAD_TECHNICIAN = "head technician"
    MANAGER = "manager"
    COUNTER = "counter"


HEADS: Final = (Role.HEAD_TECHNICIAN, Role.MANAGER)
"""The roles that decide for the shop: its rules, its fits and patterns, corrections, a restore."""
_RANK: Final = (Role.COUNTER, Role.TECHNICIAN, *HEADS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Staff:
    """One person of the staff list. ``valid_until`` is the last day the signature counts."""

    name: str
    role: Role
    valid_until: date

    def may_sign(self, on: date) -> bool:
        """Return whether the signature counts on that day of the shop's calendar."""
        return on <= self.valid_until

    @property
    def may_check(self) -> bool:
        """Return whether this person may pass or clear a pair (counter staff hand out and take back)."""
        return self.role is not Role.COUNTER

    def raises(self, other: Staff) -> bool:
        """Return whether this line of the list gives more than the other: a higher role, or a later day."""
        higher = _RANK.index(self.role) > _RANK.index(other.role)
        return higher or self.valid_until > other.valid_until


def person_of(body: Body) -> Staff:
    """From the body of ``staff listed``."""
    return Staff(
        name=body["name"], role=Role(body["role"]), valid_until=date.fromisoformat(body["valid_until"])
    )


def listed(staff: Mapping[str, Staff], name: str) -> Staff | None:
    """The person of the list whom that name means, however it is typed; None if nobody."""
    key = name_key(name)
    return next((person for person in staff.values() if name_key(person.name) == key), None)


def who_may_list(staff: Mapping[str, Staff], person: Staff, *, days: Collection[date]) -> tuple[Staff, ...]:
    """Those of the list whose signature lets it say so of that person; nobody raises herself or himself.

    The managers in date; with none, the head technicians in date; with none of these either, the managers
    and head technicians that were, or a shop whose dates all ran out could never go on. The only one there
    is may be kept in the same role for longer by a head technician, and alone by herself or himself.
    """
    heads = [each for each in staff.values() if each.role in HEADS]
    in_date = [each for each in heads if all(each.may_sign(day) for day in days)]
    lists = [each for each in in_date if each.role is Role.MANAGER] or in_date or heads
    old = listed(staff, person.name)
    may = [each for each in lists if each is not old or not person.raises(old)]
    if may or old is None or person.role is not old.role:
        return tuple(may)
    return tuple(each for each in in_date if each is not old) or (old,)
