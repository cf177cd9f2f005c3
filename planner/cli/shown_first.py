"""Changes of the shop's rules, fits and models: what they would change is shown, then asked, then taken."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from fleet.base.errors import Refused
from fleet.base.units import counted
from planner.cli import session
from planner.cli.at_desk import at_desk

if TYPE_CHECKING:
    from fleet.ledger.desk import Desk

_T = TypeVar("_T")
_SHOWN = 12


def shown_first(
    words: str,
    act: Callable[[Desk], _T],
    *,
    by: str | None,
    yes: bool,
    json: bool,
    gate: bool = False,
) -> tuple[_T, dict[str, Any]]:
    """Try ``act`` at a copy, show what it changes, ask, and do it; return what came of it and the effect as
    JSON. Raises Refused where nobody says yes.

    ``words``: the change; ``yes``: it is taken without asking; ``gate``: it is of the door's gates, so the
    pairs that it stops are said even where it stops none.
    """
    from fleet.rules.gate_desk import may_go_now
    from fleet.tables.snapshot import read_fleet
    from planner.bench.orders.change_effect import change_effect

    with at_desk(by, None, copy=True) as desk:
        before, could_go = read_fleet(desk.connection), may_go_now(desk)
        act(desk)
        stopped = sorted(could_go - may_go_now(desk))
        after = read_fleet(desk.connection)
        told = change_effect(desk.connection, before, after, at=desk.now, zone=desk.zone)
    effect = told.summary()
    if gate or stopped:
        effect = [_stops(stopped, of=len(could_go)), *(line for line in effect if "no pair" not in line)]
    if not json:
        for line in (*effect, *told.below()):
            session.say(line)
    if not yes:
        _ask(words, effect, said=not json)
    with at_desk(by, None) as desk:
        done = act(desk)
    return done, {
        "stops_now": stopped,
        "below_the_rule_now": [flag_json(flag) for flag in told.flags],
        "pairs": list(told.pairs),
        "ways": dict(zip(("more", "fewer", "at_other_figures"), told.ways, strict=True)),
        "orders": list(told.orders),
    }


def _ask(words: str, effect: Sequence[str], *, said: bool) -> None:
    if session.may_ask():
        if session.asked(f"{words}: take it? [y/N] ").lower() in ("y", "yes"):
            return
        raise Refused(f"{words} was not taken")
    again = "" if said else f": it {'; '.join(effect)}"
    raise Refused(f"{words} was not taken{again}", cure="look at it, then type the same with --yes")


def flag_json(flag: Any) -> dict[str, str]:
    """Return a mount below the rule as JSON."""
    return {"pair": flag.tag, "policy": flag.policy, "message": flag.message}


def _stops(stopped: Sequence[str], *, of: int) -> str:
    """Return how many pairs a change would stop, in words."""
    some = f": {', '.join(stopped[:_SHOWN])}{' ...' if len(stopped) > _SHOWN else ''}" if stopped else ""
    return f"stops {len(stopped)} of {counted(of, 'pair')} that may go out now{some}"
