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
    yes: Annotated[bool, typer.Option("--yes", help="Take it without asking, for scripts.")] = False,
    by: By = None,
    json: Json = False,
) -> None:
    """Show what a setting would change, ask, and change it from today on; the old one stays in the ledger.

    Example: mountbook policy set cure_epoxy_hours 12 --origin "data sheet of the epoxy, batch 44" --yes
    """
    from fleet.facts.gates import is_gate
    from fleet.ledger.people import policy_change, set_policy
    from fleet.rules.gate_desk import may_go_now
    from fleet.tables.snapshot import read_fleet
    from planner.bench.orders.policy_effect import policy_effect

    with at_desk(by, None) as desk:
        old, new = policy_change(desk, name, value, origin=origin)
    with session.open_ledger() as ledger, ledger.reading() as connection:
        fleet = read_fleet(connection)
        told = policy_effect(connection, fleet, {name: value}, at=session.now(), zone=ledger.zone)
    stopped, effect = list[str](), told.summary()
    if is_gate(name):
        with at_desk(by, None, copy=True) as desk:
            could_go = may_go_now(desk)
            set_policy(desk, name, value, origin=origin)
            stopped = sorted(could_go - may_go_now(desk))
        effect = [_stops(stopped, of=len(could_go)), *(line for line in effect if "no pair" not in line)]
    change = f"{name} {old.value or 'not set'} -> {new.value or 'not set'} {new.unit}"
    if not json:
        for line in (*effect, *told.below()):
            session.say(line)
    if not yes:
        _ask(change, effect)
    with at_desk(by, None) as desk:
        set_policy(desk, name, value, origin=origin)
    session.answer(
        {
            "name": name,
            "old": old.value,
            "new": new.value,
            "unit": new.unit,
            "stops_now": stopped,
            "below_the_rule_now": [_flag_json(flag) for flag in told.flags],
            "pairs": list(told.pairs),
            "ways": dict(zip(("more", "fewer", "at_other_figures"), told.ways, strict=True)),
            "orders": list(told.orders),
        },
        f"{name}: {old.value or 'not set'} -> {new.value or 'not set'} {new.unit} ({new.origin})",
        json=json,
    )


def _ask(change: str, told: list[str]) -> None:
    """Raise Refused unless somebody at a terminal says yes."""
    from fleet.base.errors import Refused

    if session.may_ask():
        if session.asked(f"{change}: take it? [y/N] ").lower() in ("y", "yes"):
            return
        raise Refused(f"{change} was not taken")
    raise Refused(
        f"{change} was not taken: it {'; '.join(told)}", cure="look at it, then type the same with --yes"
    )


def _stops(stopped: Sequence[str], *, of: int) -> str:
    """Return how many pairs a gate would stop, in words."""
    from fleet.base.units import counted

    some = f": {', '.join(stopped[:_SHOWN])}{' ...' if len(stopped) > _SHOWN else ''}" if stopped else ""
    return f"stops {len(stopped)} of {counted(of, 'pair')} that may go out now{some}"


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
