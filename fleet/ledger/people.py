"""The staff list and the shop's policy, as entries."""

import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date

from fleet.base.entries import checked_name, name_key
from fleet.base.errors import AnotherSigns, BadInput, Refused, filled, or_bad_input, typed_word
from fleet.base.kept_names import is_mark
from fleet.events.event import LEFT_OUT
from fleet.events.settings import PolicySet, StaffListed
from fleet.facts.columns import facts_in
from fleet.facts.gates import check_gate
from fleet.facts.kinds import check_kinds
from fleet.facts.policy import Setting, check_plausible, is_cure, is_safety, typed_value
from fleet.facts.staff import HEADS, Role, Staff, listed, may_list_in_need, who_may_list
from fleet.ledger.desk import Desk, decider, head
from fleet.tables.snapshot import read_policy, read_staff


def list_person(desk: Desk, name: str, *, role: str, until: date, second: str = "") -> Staff:
    """Enter a person of that name, or a new role or date from now on. Signed by somebody who may.

    ``second``: the other of two who list a manager or a head technician where none is in date; every audit
    asks about it until another person confirms it.
    """
    with or_bad_input("that is no name to list:", cure='write it like "Vera Lind"'):
        clean = checked_name(name)
    if is_mark(clean):
        raise BadInput(f"{clean!r} stands for a name that was taken out", cure="list the person by name")
    wanted = Role(typed_word(role, Role, f"{role!r} is not a role"))
    person = Staff(name=clean, role=wanted, valid_until=until)
    if old := listed(read_staff(desk.connection), clean):
        person = replace(old, name=clean, role=person.role, valid_until=until)
    need = _in_need(desk, person, second)
    if need is None:
        check_listing(desk.connection, [person], by=desk.by, days=desk.signing_days)
    desk.enter(StaffListed(**facts_in(Staff, person), second=LEFT_OUT if need is None else need))
    return person


def _in_need(desk: Desk, person: Staff, second: str) -> str | None:
    """Return the second signer of a listing in need, "" where one is listed alone; None where there is none.

    Raises Refused where two must sign and do not.
    """
    staff = read_staff(desk.connection)
    able = may_list_in_need(staff, days=desk.signing_days) if staff else None
    if able is None:
        return None
    signers = {each.name: each for each in able}
    one, other = listed(signers, desk.by), listed(signers, second) if second else None
    alone = len(staff) == 1 and one is not None
    if person.role in HEADS and (alone or (one is not None and other is not None and one is not other)):
        return other.name if other else ""
    raise Refused(
        "no manager and no head technician is in date: two listed people list one of these first",
        cure="mountbook staff add NAME --role manager --until DATE --by NAME --second NAME, two of:"
        f" {', '.join(signers)}",
    )


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
        raise AnotherSigns(
            "nobody lists herself or himself higher or for longer"
            if raises
            else f"{by!r} cannot list people: a manager does, or with none in date a head technician",
            cure=f"sign with --by NAME, one of: {', '.join(each.name for each in able)}"
            if able
            else "a manager is listed first: mountbook staff add NAME --role manager --until DATE --by NAME"
            " --second NAME",
            names=tuple(each.name for each in able),
        )


def set_policy(desk: Desk, name: str, value: str, *, origin: str) -> tuple[Setting, Setting]:
    """Change one setting from today on; the old one stays in the ledger. Returns (old, new)."""
    old, new = policy_change(desk, name, value, origin=origin)
    desk.enter(PolicySet(name=name, value=new.value, unit=new.unit, origin=new.origin, since=new.since))
    return old, new


def policy_change(desk: Desk, name: str, value: str, *, origin: str) -> tuple[Setting, Setting]:
    """Return (old, new) of a setting as this person may change it. Nothing is entered.

    Signed by a head technician or a manager, a safety rule as `decider` says; within the plausible range. A
    cure time of an adhesive the shop uses may be new; any other name must be known.
    """
    origin = filled(
        origin,
        f"policy {name} needs an origin",
        cure='add --origin "where the figure comes from" (a data sheet, a manual, the head technician)',
    )
    policy = read_policy(desk.connection)
    is_new_cure = is_cure(name) and name not in policy.settings
    old = (
        Setting(name=name, value="", unit="hours", origin="not set") if is_new_cure else policy.setting(name)
    )
    if old.unit == "adhesive" and value:
        value = typed_word(
            value,
            policy.adhesives,
            f"{value!r} is no glue of this shop",
            cure=f"one of: {', '.join(policy.adhesives)}; a new one needs its cure first:"
            " mountbook policy set cure_NAME_hours HOURS",
        )
    typed_value(old.unit, value)
    check_plausible(name, old.unit, value)
    check_gate(name, value)
    check_kinds(name, value, policy)
    if is_safety(name):
        decider(
            read_staff(desk.connection), desk.by, days=desk.signing_days, what=f"set {name}, a safety rule,"
        )
    else:
        head(desk.connection, desk.by, days=desk.signing_days, what="set a rule")
    new = Setting(name=name, value=value, unit=old.unit, origin=origin, since=desk.day.isoformat())
    return old, new
