"""The staff list: who may sign. A name is a claim, not a proof, and the sheets say so."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from enum import StrEnum
from typing import Annotated, Final

from fleet.base.entries import name_key
from fleet.base.errors import Refused
from fleet.base.kept_names import is_mark
from fleet.facts.columns import PERSON, Field, Holds, LedgerColumn, LedgerFacts


class Role(StrEnum):
    """The role of a person, which says what the person may sign."""

    TECHNICIAN = "technician"
    HEAD_TECHNICIAN = "head technician"
    MANAGER = "manager"
    COUNTER = "counter"


HEADS: Final = (Role.HEAD_TECHNICIAN, Role.MANAGER)
"""The roles that decide for the shop: its rules, its fits and patterns, corrections, a restore."""
CHECKERS: Final = (Role.TECHNICIAN, *HEADS)
"""The roles that look at a pair, pass it and clear it; counter staff hand out and take back."""
_RANK: Final = (Role.COUNTER, Role.TECHNICIAN, *HEADS)


class StaffFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of a person, one row a fact (`fleet.facts.columns`).

    `mountbook correct` takes none of them: a person is listed anew, by somebody who may.
    """

    name: Annotated[
        str,
        LedgerColumn(
            Field("the name", Holds.TEXT),
            "as the person signs",
            title="name",
            example="Mara Oberlin",
            required=True,
            correctable=False,
        ),
        PERSON,
    ]
    role: Annotated[
        Role,
        LedgerColumn(
            Field("the role", Holds.WORD),
            "what the person may sign",
            example="technician",
            required=True,
            correctable=False,
        ),
    ]
    valid_until: Annotated[
        date,
        LedgerColumn(
            Field("the last day the signature counts", Holds.DAY),
            "last day the signature counts",
            example="2027-04-30",
            required=True,
            correctable=False,
        ),
    ]


class Staff(StaffFacts, frozen=True, kw_only=True):
    """One person of the staff list. ``valid_until`` is the last day the signature counts."""

    def may_sign(self, on: date) -> bool:
        """Return whether the signature counts on that day of the shop's calendar."""
        return on <= self.valid_until

    @property
    def may_check(self) -> bool:
        """Return whether this person may pass or clear a pair (counter staff hand out and take back)."""
        return self.role in CHECKERS

    def raises(self, other: Staff) -> bool:
        """Return whether this line of the list gives more than the other: a higher role, or a later day."""
        higher = _RANK.index(self.role) > _RANK.index(other.role)
        return higher or self.valid_until > other.valid_until


def listed(staff: Mapping[str, Staff], name: str) -> Staff | None:
    """The person of the list whom that name means, however it is typed; None if nobody."""
    key = name_key(name)
    return next((person for person in staff.values() if name_key(person.name) == key), None)


def full_name(staff: Mapping[str, Staff], typed: str, *, today: date | None = None) -> str:
    """The name of the one person of the list whom a whole or a short name means (some of its words, in their
    order); as typed where that is nobody. Raises Refused with the choices where it is several, of those in
    date ``today``.
    """
    person, words = listed(staff, typed), name_key(typed)
    if person is not None or not words:
        return person.name if person else typed
    short = [
        each
        for each in staff.values()
        if f" {words} " in f" {name_key(each.name)} " and not is_mark(each.name)
    ]
    if len(short) > 1:
        choices = [each.name for each in short if today is None or each.may_sign(today)]
        raise Refused(
            f"{typed.strip()!r} is short for several people of the staff list",
            cure=f"write the name in full, one of: {', '.join(choices)}",
        )
    return short[0].name if short else typed


def who_may_list(staff: Mapping[str, Staff], person: Staff, *, days: Collection[date]) -> tuple[Staff, ...]:
    """Those of the list whose signature lets it say so of that person; nobody raises herself or himself.

    The managers in date; with none, the head technicians in date; with none of these either nobody alone
    (`may_list_in_need`). The only one there is may be kept in the same role for longer by a head technician,
    and alone by herself or himself.
    """
    in_date = [each for each in staff.values() if each.role in HEADS and all(map(each.may_sign, days))]
    lists = [each for each in in_date if each.role is Role.MANAGER] or in_date
    old = listed(staff, person.name)
    may = [each for each in lists if each is not old or not person.raises(old)]
    if may or old is None or old not in lists or person.role is not old.role:
        return tuple(may)
    return tuple(each for each in in_date if each is not old) or (old,)


def may_list_in_need(staff: Mapping[str, Staff], *, days: Collection[date]) -> tuple[Staff, ...] | None:
    """Those of whom two list one manager or head technician, where none is in date; None where one is.

    Whoever is in date, if two are; else anybody listed. One who is listed alone signs alone.
    """
    now = [each for each in staff.values() if all(map(each.may_sign, days))]
    if any(each.role in HEADS for each in now):
        return None
    return tuple(now if len(now) > 1 else staff.values())
