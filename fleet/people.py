"""The staff list and the shop's policy, as entries."""

from __future__ import annotations

from datetime import date

from fleet.desk import Desk
from fleet.errors import BadInput
from fleet.policy import Setting, typed_value
from fleet.snapshot import read_policy
from fleet.staff import Role, Staff


def list_person(desk: Desk, name: str, *, role: str, until: date) -> Staff:
    """List a person of that name, or change role or date from now on."""
    clean = " ".join(name.split())
    if not clean:
        raise BadInput("a person needs a name", cure='write it like "Vera Lind"')
    wanted = " ".join(role.replace("-", " ").replace("_", " ").lower().split())
    if wanted not in list(Role):
        raise BadInput(f"{role!r} is not a role", cure=f"one of: {', '.join(Role)}")
    person = Staff(name=clean, role=Role(wanted), valid_until=until)
    desk.enter(
        "staff listed",
        {"name": person.name, "role": person.role.value, "valid_until": person.valid_until.isoformat()},
    )
    return person


def set_policy(desk: Desk, name: str, value: str, *, origin: str) -> tuple[Setting, Setting]:
    """Change one setting from today on; the old one stays in the ledger. Returns (old, new).

    A cure time of an adhesive the shop uses may be new; any other name must be known.
    """
    if not origin.strip():
        raise BadInput(
            f"policy {name} needs an origin",
            cure='add --origin "where the figure comes from" (a data sheet, a manual, the head technician)',
        )
    policy = read_policy(desk.connection)
    is_new_cure = name.startswith("cure_") and name.endswith("_hours") and name not in policy.settings
    old = (
        Setting(name=name, value="", unit="hours", origin="not set") if is_new_cure else policy.setting(name)
    )
    typed_value(old.unit, value)
    new = Setting(name=name, value=value, unit=old.unit, origin=origin.strip(), since=desk.day.isoformat())
    desk.enter(
        "policy set",
        {"name": name, "value": value, "unit": new.unit, "origin": new.origin, "since": new.since},
    )
    return old, new
