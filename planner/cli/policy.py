"""`policy list|set|check`: the shop's rules, each with its unit, origin and date."""

from __future__ import annotations

from typing import Annotated

import typer

from planner.cli import session, terminal
from planner.cli.at_desk import at_desk
from planner.cli.session import By, Json, Yes
from planner.cli.shown_first import flag_json, shown_first
from planner.cli.terminal import TerminalColumn


def policy_list(json: Json = False) -> None:
    """Show every setting in force.

    Example: mountbook policy list
    """
    from fleet.tables.snapshot import read_policy

    with session.open_ledger() as ledger:
        settings = list(read_policy(ledger.connection))
    terminal.answer(
        {
            "policy": [
                {"name": s.name, "value": s.value, "unit": s.unit, "origin": s.origin, "since": s.since}
                for s in settings
            ]
        },
        (
            TerminalColumn("policy"),
            TerminalColumn("value", words=True, right=True),
            TerminalColumn("unit"),
            TerminalColumn("since", spare=True),
            TerminalColumn("origin", words=True),
        ),
        [
            (s.name, s.value or "not set", "" if s.unit == "text" else s.unit, s.since, s.origin)
            for s in settings
        ],
        json=json,
    )


def policy_set(
    name: Annotated[str, typer.Argument(metavar="NAME", help="As `mountbook policy list` shows it.")],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="A number in the setting's own unit.")],
    origin: Annotated[
        str, typer.Option("--origin", metavar="TEXT", help="Where the figure comes from.")
    ] = "",
    yes: Yes = False,
    by: By = None,
    json: Json = False,
) -> None:
    """Show what a setting would change, ask, and change it from today on; the old one stays in the ledger.

    Example: mountbook policy set cure_epoxy_hours 12 --origin "data sheet of the epoxy, batch 44" --yes
    """
    from fleet.facts.gates import is_gate
    from fleet.ledger.people import policy_change, set_policy

    with at_desk(by, None) as desk:
        old, new = policy_change(desk, name, value, origin=origin)
    _, effect = shown_first(
        f"{name} {old.said} -> {new.said}",
        lambda desk: set_policy(desk, name, value, origin=origin),
        by=by,
        yes=yes,
        json=json,
        gate=is_gate(name),
    )
    session.answer(
        {"name": name, "old": old.value, "new": new.value, "unit": new.unit, **effect},
        f"{name}: {old.said} -> {new.said} ({new.origin})",
        json=json,
    )


def policy_check(json: Json = False) -> None:
    """List mounts that today's policy would not allow. Nothing is changed: the head technician decides.

    Gates of the door that the shop has not set are named too.

    Example: mountbook policy check
    """
    from fleet.facts.gates import gates_off
    from fleet.rules.below_rule import mounts_below_rule

    fleet = session.fleet()
    flags, off = mounts_below_rule(fleet), gates_off(fleet.policy)
    session.answer(
        {"below_the_rule": [flag_json(flag) for flag in flags], "gates_off": list(off)},
        [f"  {flag.tag}  {flag.policy}: {flag.message}" for flag in flags]
        or ["every mount on record keeps today's policy"],
        json=json,
        after=f"gates of the door that are off, until the shop sets them: {', '.join(off)}" if off else "",
    )
