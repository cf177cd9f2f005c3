"""The rules for a signature. A name is a claim, not a proof; but it must be on the list and in date."""

import sqlite3
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Final

from fleet.base.days import day_text
from fleet.base.entries import name_key
from fleet.base.errors import AnotherSigns, Refused
from fleet.facts.staff import CHECKERS, HEADS, Role, Staff, listed
from fleet.tables.snapshot import read_staff


def signer(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return the person of the staff list who signs. Raises Refused.

    ``days``: the day it is said to have happened and the day it is entered; the signature must count on
    each. Counter staff hand out, take back and set bindings; they do not sign.
    """
    staff = read_staff(connection)
    able = in_date(staff, CHECKERS, days=days)
    person = _on_the_list(staff, name, able, what=what)
    if not person.may_check:
        raise AnotherSigns(
            f"{name} is counter staff and cannot {what}", cure="a technician signs", names=tuple(able)
        )
    return _in_date(person, days, what=what)


def any_listed(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer who may be any person of the staff list, counter staff included."""
    staff = read_staff(connection)
    able = in_date(staff, tuple(Role), days=days)
    return _in_date(_on_the_list(staff, name, able, what=what), days, what=what)


def manager(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer who must be a manager."""
    return _in_role(read_staff(connection), name, (Role.MANAGER,), days=days, what=what)


def head_technician(
    connection: sqlite3.Connection,
    name: str,
    *,
    days: Collection[date],
    what: str,
    never: Collection[str] = (),
) -> Staff:
    """Return a signer who must be a head technician; a manager where every one in date is one who ``never``
    may.
    """
    staff = read_staff(connection)
    heads = in_date(staff, (Role.HEAD_TECHNICIAN,), days=days)
    role = Role.MANAGER if heads and all(is_one_of(each, never) for each in heads) else Role.HEAD_TECHNICIAN
    return _in_role(staff, name, (role,), days=days, what=what)


def in_date(staff: Mapping[str, Staff], roles: Collection[Role], *, days: Collection[date]) -> list[str]:
    """Return the people of these roles whose signature counts on each of the days: whom a cure may name."""
    return [
        person.name
        for person in staff.values()
        if person.role in roles and all(person.may_sign(day) for day in days)
    ]


def head(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer who must be a head technician or a manager, for matters of the whole shop."""
    return check_head(read_staff(connection), name, days=days, what=what)


def decider(staff: Mapping[str, Staff], name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer for staff, safety rules, restore and rebuild: a manager; with none in date a head
    technician. With neither, two listed people list one first.
    """
    roles = _deciding(staff, days=days)
    if staff and not roles:
        raise Refused(
            f"no manager and no head technician is in date, so nobody can {what}",
            cure="two listed people list one: mountbook staff add NAME --role manager --until DATE --by NAME"
            " --second NAME",
        )
    return _in_role(staff, name, roles or (Role.MANAGER,), days=days, what=what)


def deciders(staff: Mapping[str, Staff], *, days: Collection[date]) -> list[str]:
    """Return the names that `decider` takes: the managers in date, with none the head technicians."""
    return in_date(staff, _deciding(staff, days=days), days=days)


def _deciding(staff: Mapping[str, Staff], *, days: Collection[date]) -> tuple[Role, ...]:
    return next(((role,) for role in reversed(HEADS) if in_date(staff, (role,), days=days)), ())


def check_head(staff: Mapping[str, Staff], name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer as `head` does, by a staff list at hand."""
    return _in_role(staff, name, HEADS, days=days, what=what)


def _on_the_list(staff: Mapping[str, Staff], name: str, others: Collection[str], *, what: str) -> Staff:
    person = listed(staff, name)
    if person is None:
        raise AnotherSigns(
            f"{name!r} is not on the staff list and cannot {what}",
            cure=f"sign with --by NAME, one of: {', '.join(others) or 'nobody yet'};"
            " list people with `mountbook staff add NAME --role technician --until DATE`",
            names=tuple(others),
        )
    return person


def _in_date(person: Staff, days: Collection[date], *, what: str) -> Staff:
    for day in sorted(days):
        if not person.may_sign(day):
            raise Refused(
                f"{person.name}'s signature ran out on {day_text(person.valid_until)} and cannot {what}",
                cure="another listed person signs, or the manager lists a new date",
            )
    return person


def _in_role(
    staff: Mapping[str, Staff], name: str, roles: Sequence[Role], *, days: Collection[date], what: str
) -> Staff:
    names = tuple(in_date(staff, roles, days=days))
    able = ", ".join(names)
    role_word = roles[-1].value.replace(" ", "-")
    cure = (
        f"sign with --by NAME, one of: {able}"
        if able
        else f"list one with `mountbook staff add NAME --role {role_word} --until DATE`"
    )
    person = listed(staff, name)
    if person is None:
        raise AnotherSigns(f"{name!r} is not on the staff list and cannot {what}", cure=cure, names=names)
    if person.role not in roles:
        role = f"a {person.role.value}" if person.may_check else "counter staff"
        words = " or ".join(f"a {each.value}" for each in roles)
        raise AnotherSigns(f"{name} is {role}; only {words} can {what}", cure=cure, names=names)
    return _in_date(person, days, what=what)


_LOOKS: Final = "a second person of the staff list looks at it"
_NOT_THEY: Final = {
    "worker": ("{name} did the work on {tag} and cannot pass it too", _LOOKS),
    "clearer": ("{name} cleared the hold of {tag} and cannot pass it too", _LOOKS),
    "finder": (
        "{name} found the moved screw of {tag} and cannot clear it too",
        "mountbook repair done {tag} --did TEXT --by NAME, or another person of the staff list clears it and"
        " says why",
    ),
    "causer": (
        "{name} caused what stopped {tag}: another head technician ends that",
        "where no other is listed in date, the manager does",
    ),
}
"""People who may not sign next, and the words for each: two signatures of one person are one signature."""


def not_one_of(who: str, name: str, others: Collection[str], *, tag: str) -> None:
    """Refuse a signature by one of those; ``who`` they are is a word of the table above."""
    if is_one_of(name, others):
        sentence, cure = _NOT_THEY[who]
        raise Refused(sentence.format(name=name, tag=tag), cure=cure.format(tag=tag))


def is_one_of(name: str, others: Collection[str]) -> bool:
    """Return whether one of the names is that person's, however each is spelt."""
    return name_key(name) in map(name_key, others)
