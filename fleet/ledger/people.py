"""The staff list and the shop's policy, as entries."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Sequence
from datetime import date

from fleet.base.entries import checked_name, name_key
from fleet.base.errors import BadInput, Refused
from fleet.events.settings import PolicySet, StaffListed
from fleet.facts.gates import check_gate
from fleet.facts.policy import Setting, check_plausible, is_cure, typed_value
from fleet.facts.staff import HEADS, Role, Staff, listed, who_may_list
from fleet.ledger.desk import Desk
from fleet.ledger.signing import head
from fleet.tables.snapshot import read_policy, read_staff


def list_person(desk: Desk, name: str, *, role: str, until: date) -> Staff:
    """Enter a person of that name, or a new role or date from now on. Signed by somebody who may."""
    try:
        clean = checked_name(name)
    except ValueError as fault:
        raise BadInput(f"that is no name to list: {fault}", cure='write it like "Vera Lind"') from fault
    wanted = " ".join(role.replace("-", " ").replace("_", " ").lower().split())
    if wanted not in list(Role):
        raise BadInput(f"{role!r} is not a role", cure=f"one of: {', '.join(Role)}")
    person = Staff(name=clean, role=Role(wanted), valid_until=until)
    check_listing(desk.connection, [person], by=desk.by, days=desk.signing_days)
    desk.enter(StaffListed(name=person.name, role=person.role, valid_until=person.valid_until))
    return person


def check_listing(
    connection: sqlite3.Connection, people: Sequence[Staff], *, by: str, days: Collection[date]
) -> None:
    """Refuse these lines of the staff list unless ``by`` may sign them (`who_may_list`).

    While nobody is listed anybody may, or no shop could begin; then one of them must be one who can go on.
    """
    staff = read_staff(connection)
    if not staff:
        if not any(each.role in HEADS and all(each.may_sign(day) for day in days) for each in people):
            raise Refused(
                "the first person listed is one who lists the others: a manager or a head technician, in"
                " date",
                cure="begin with `mountbook staff add NAME --role manager --until DATE`",
            )
        return
    for person in people:
        able = who_may_list(staff, person, days=days)
        if listed({each.name: each for each in able}, by) is not None:
            continue
        old = listed(staff, by)
        raises = old is not None and name_key(by) == name_key(person.name) and person.raises(old)
        raise Refused(
            "nobody lists herself or himself higher or for longer"
            if raises
            else f"{by!r} cannot list people: a manager does, or with none in date a head technician",
            cure=f"sign with --by NAME, one of: {', '.join(each.name for each in able)}"
            if able
            else "list another person as manager first, who then lists you",
        )


def set_policy(desk: Desk, name: str, value: str, *, origin: str) -> tuple[Setting, Setting]:
    """Change one setting from today on; the old one stays in the ledger. Returns (old, new).

    Signed by a head technician or a manager, and within the plausible range. A cure time of an adhesive
    the shop uses may be new; any other name must be known.
    """
    if not origin.strip():
        raise BadInput(
            f"policy {name} needs an origin",
            cure='add --origin "where the figure comes from" (a data sheet, a manual, the head technician)',
        )
    policy = read_policy(desk.connection)
    is_new_cure = is_cure(name) and name not in policy.settings
    old = (
        Setting(name=name, value="", unit="hours", origin="not set") if is_new_cure else policy.setting(name)
    )
    typed_value(old.unit, value)
    check_plausible(name, old.unit, value)
    check_gate(name, value)
    head(desk.connection, desk.by, days=desk.signing_days, what="set a rule")
    new = Setting(name=name, value=value, unit=old.unit, origin=origin.strip(), since=desk.day.isoformat())
    desk.enter(PolicySet(name=name, value=value, unit=new.unit, origin=new.origin, since=new.since))
    return old, new
