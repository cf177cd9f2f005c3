"""policy list|set: the shop's rules, each with its unit, origin and date."""

from __future__ import annotations

from typing import Annotated

import typer

from planner.cli import session
from planner.cli.at_desk import at_desk
from planner.cli.session import By, Json


def register(app: typer.Typer) -> None:
    """Add the shop's policy."""
    policy = typer.Typer(help="The shop's rules: value, unit, origin, since when.", no_args_is_help=True)
    policy.command("list")(policy_list)
    policy.command("set")(policy_set)
    app.add_typer(policy, name="policy")


def policy_list(json: Json = False) -> None:
    """Show every setting in force.

    Example: mountbook policy list
    """
    from fleet.snapshot import read_policy

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
    width = max(len(s.name) for s in settings)
    for s in settings:
        session.say(f"{s.name:<{width}}  {s.value or 'not set':>9} {s.unit:<9} {s.since:<10}  {s.origin}")


def policy_set(
    name: Annotated[str, typer.Argument(metavar="NAME")],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="A number in the setting's own unit.")],
    origin: Annotated[
        str, typer.Option("--origin", metavar="TEXT", help="Where the figure comes from.")
    ] = "",
    by: By = None,
    json: Json = False,
) -> None:
    """Change a setting from today on; the old one stays in the ledger.

    Example: mountbook policy set cure_epoxy_hours 12 --origin "data sheet of the epoxy, batch 44"
    """
    from fleet.people import set_policy

    with at_desk(by, None) as desk:
        old, new = set_policy(desk, name, value, origin=origin)
    if json:
        session.emit_json({"name": name, "old": old.value, "new": new.value, "unit": new.unit})
        return
    session.say(f"{name}: {old.value or 'not set'} -> {new.value or 'not set'} {new.unit} ({new.origin})")
