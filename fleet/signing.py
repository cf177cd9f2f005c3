"""Whose signature counts. A name is a claim, not a proof; but it must be on the list and in date."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from datetime import date

from fleet.errors import Refused
from fleet.snapshot import read_staff
from fleet.staff import Role, Staff


def signer(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """The person of the staff list who signs, or Refused.

    ``days``: the day it is said to have happened and the day it is entered; the signature must count on
    each. Counter staff hand out and take back; they do not sign.
    """
    staff = read_staff(connection)
    person = staff.get(name)
    if person is None:
        raise Refused(
            f"{name!r} is not on the staff list and cannot {what}",
            cure=f"sign with --by NAME, one of: {', '.join(_checkers(staff.values())) or 'nobody yet'};"
            " list people with `mountbook staff add NAME --role technician --until DATE`",
        )
    if not person.may_check:
        raise Refused(f"{name} is counter staff and cannot {what}", cure="a technician signs")
    for day in sorted(days):
        if not person.may_sign(day):
            raise Refused(
                f"{name}'s signature ran out on {person.valid_until.isoformat()} and cannot {what}",
                cure="another listed person signs, or the manager lists a new date",
            )
    return person


def manager(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """As `signer`, but only a manager."""
    return _in_role(connection, name, Role.MANAGER, days=days, what=what)


def head_technician(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """As `signer`, but only a head technician."""
    return _in_role(connection, name, Role.HEAD_TECHNICIAN, days=days, what=what)


def _in_role(
    connection: sqlite3.Connection, name: str, role: Role, *, days: Collection[date], what: str
) -> Staff:
    person = signer(connection, name, days=days, what=what)
    if person.role is not role:
        listed = [p.name for p in read_staff(connection).values() if p.role is role]
        raise Refused(
            f"{name} is {person.role.value}; only a {role.value} can {what}",
            cure=f"sign with --by NAME, one of: {', '.join(listed)}"
            if listed
            else "list one with `mountbook staff add NAME --role"
            f" {role.value.replace(' ', '-')} --until DATE`",
        )
    return person


def not_the_worker(name: str, workers: Collection[str], *, tag: str) -> None:
    """Refuse the one who did the work: two signatures of one person are one signature."""
    if name.casefold() in {worker.casefold() for worker in workers}:
        raise Refused(
            f"{name} did the work on {tag} and cannot pass it too",
            cure="a second person of the staff list looks at it",
        )


def _checkers(staff: Collection[Staff]) -> list[str]:
    return [person.name for person in staff if person.may_check]
