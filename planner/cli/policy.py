"""`policy list|set|check`: the shop's rules, each with its unit, origin and date."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

import typer

from planner.cli import session, terminal
from planner.cli.at_desk import at_desk
from planner.cli.session import By, Json
from planner.cli.terminal import TerminalColumn

_SHOWN = 12


def policy_list(json: Json = False) -> None:
    """Show every setting in force.

    Example: mountbook policy list
    """
    from fleet.tables.snapshot import read_policy

    with session.open_ledger() as ledger:
        settings = list(read_policy(ledger.connection))
    if json:
        session.emit_json(
            {
                "policy": [
                    {"name": s.name, "value": s.value, "unit": s.unit, "origin": s.origin, "since": s.since}
                    for s in settings
                ]
            }
        )
        return
    if terminal.attached():
        terminal.table(
            (
                TerminalColumn("policy"),
                TerminalColumn("value", words=True, right=True),
                TerminalColumn("unit"),
                TerminalColumn("since", spare=True),
                TerminalColumn("origin", words=True),
            ),
            [(s.name, s.value or "not set", s.unit, s.since, s.origin) for s in settings],
        )
        return
    width = max(len(s.name) for s in settings)
    for s in settings:
        session.say(f"{s.name:<{width}}  {s.value or 'not set':>9} {s.unit:<9} {s.since:<10}  {s.origin}")


def policy_set(
    name: Annotated[str, typer.Argument(metavar="NAME")],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="A number in the setting's own unit.")],
    origin: Annotated[
        str, typer.Option("--origin", metavar="TEXT", help="Where the figure comes from.")
    ] = "",
    yes: Annotated[
        bool, typer.Option("--yes", help="A gate of the door: go on without asking how many pairs it stops.")
    ] = False,
    by: By = None,
    json: Json = False,
) -> None:
    """Change a setting from today on; the old one stays in the ledger.

    A gate of the door shows first how many pairs it stops, and asks.

    Example: mountbook policy set cure_epoxy_hours 12 --origin "data sheet of the epoxy, batch 44"
    """
    from fleet.facts.gates import is_gate
    from fleet.ledger.people import set_policy
    from fleet.rules.below_rule import mounts_below_rule
    from fleet.rules.gate_desk import may_go_now
    from fleet.tables.snapshot import read_fleet

    with at_desk(by, None) as desk:
        could_go = may_go_now(desk) if is_gate(name) else frozenset()
        before = set(mounts_below_rule(read_fleet(desk.connection)))
        old, new = set_policy(desk, name, value, origin=origin)
        stopped = sorted(could_go - may_go_now(desk)) if is_gate(name) else []
        if is_gate(name) and new.value not in ("", "no"):
            _ask_first(name, stopped, of=len(could_go), yes=yes)
        flags = [f for f in mounts_below_rule(read_fleet(desk.connection)) if f not in before]
    if json:
        session.emit_json(
            {
                "name": name,
                "old": old.value,
                "new": new.value,
                "unit": new.unit,
                "stops_now": stopped,
                "below_the_rule_now": [_flag_json(flag) for flag in flags],
            }
        )
        return
    session.say(f"{name}: {old.value or 'not set'} -> {new.value or 'not set'} {new.unit} ({new.origin})")
    if flags:
        session.say(f"{len({f.tag for f in flags})} mounted pairs are below the rule now; a person decides:")
        _say_flags(flags)


def _ask_first(name: str, stopped: Sequence[str], *, of: int, yes: bool) -> None:
    """Say how many pairs the gate stops; go on where a person, or --yes, says so. Else nothing is set."""
    from fleet.base.errors import Refused
    from fleet.base.units import counted

    some = f": {', '.join(stopped[:_SHOWN])}{' ...' if len(stopped) > _SHOWN else ''}" if stopped else ""
    words = f"{name} stops {len(stopped)} of {counted(of, 'pair')} that may go out now{some}"
    session.note(words)
    if not yes and not (session.may_ask() and session.asked("set it? (yes or no)").lower() in ("y", "yes")):
        raise Refused(f"{words}; it was not set", cure="the same with --yes sets it")


def policy_check(json: Json = False) -> None:
    """List mounts that today's policy would not allow. They are flagged, not failed: a person decides.

    Gates of the door that the shop has not set are named too.

    Example: mountbook policy check
    """
    from fleet.facts.gates import gates_off
    from fleet.rules.below_rule import mounts_below_rule

    fleet = session.fleet()
    flags, off = mounts_below_rule(fleet), gates_off(fleet.policy)
    if json:
        session.emit_json({"below_the_rule": [_flag_json(flag) for flag in flags], "gates_off": list(off)})
        return
    _say_flags(flags)
    if not flags:
        session.say("every mount on record keeps today's policy")
    if off:
        session.note(f"gates of the door that are off, until the shop sets them: {', '.join(off)}")


def _flag_json(flag: Any) -> dict[str, str]:
    return {"pair": flag.tag, "policy": flag.policy, "message": flag.message}


def _say_flags(flags: Sequence[Any]) -> None:
    for flag in flags:
        session.say(f"  {flag.tag}  {flag.policy}: {flag.message}")
