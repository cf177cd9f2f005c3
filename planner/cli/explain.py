"""`argue`, `plan-compare` and `suppose`: why a plan is as it is, and what another one would cost."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from planner.cli import session
from planner.cli.session import Json

if TYPE_CHECKING:
    pass

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder that `mountbook plan` wrote.")]


def argue(
    what: Annotated[str, typer.Argument(metavar="WHAT", help="A pair or boot of the plan, or a want.")],
    folder: Folder,
    json: Json = False,
) -> None:
    """Say why a pair got this boot and this way, or what would serve a want that is short.

    The best plans without the choice, and with something bought, are found by solving again.

    Example: mountbook argue K-031 plans/autumn

    Example: mountbook argue W-07 plans/autumn
    """
    from planner.plan.plan_file import read_plan
    from planner.plan.set_aside import as_planned
    from planner.planning.explain.alternatives import argue as argued
    from planner.planning.explain.alternatives import find_set
    from planner.planning.explain.case import build_case
    from planner.planning.explain.life_cost import life_cost
    from planner.planning.explain.remedies import remedies
    from planner.planning.explain.report import (
        argument_json,
        argument_lines,
        life_line,
        remedies_json,
        remedy_lines,
    )

    plan = read_plan(folder)
    short = next((u for u in plan.unserved if u.wish == what), None)
    if short is None:
        find_set(plan.sets, what)
    case = build_case(as_planned(session.fleet(), plan), plan, say=session.note)
    if short is not None:
        found = remedies(case, what, say=session.note)
        _answer(json, remedies_json(short, found), list(remedy_lines(short, found)))
        return
    argument = argued(case, what)
    life = life_cost(case.fleet, argument.planned)
    lines = [*argument_lines(argument), *([] if life is None else [life_line(life)])]
    left = None if life is None else {"pattern": life.pattern, "before": life.before, "after": life.after}
    _answer(json, argument_json(argument) | {"further_mounts": left}, lines)


def plan_compare(first: Folder, second: Folder, json: Json = False) -> None:
    """Put two plans beside each other: what changed, and what it costs.

    Example: mountbook plan-compare plans/autumn plans/second
    """
    from planner.plan.plan_file import read_plan
    from planner.planning.explain.compare import compare_plans, difference_json, difference_lines

    found = compare_plans(read_plan(first), read_plan(second))
    _answer(json, difference_json(found), list(difference_lines(found)))


def suppose(
    folder: Folder,
    spacing: Annotated[
        str | None, typer.Option("--spacing", metavar="MM", help="Another spacing of holes.")
    ] = None,
    window: Annotated[
        str | None, typer.Option("--window", metavar="MM", help="Another limit of the boot centre.")
    ] = None,
    bindings: Annotated[
        list[str] | None,
        typer.Option("--bindings", metavar="N x PATTERN MM", help="Bindings bought, with a brake; repeat."),
    ] = None,
    boots: Annotated[
        list[str] | None,
        typer.Option("--boots", metavar="N x TAG", help="Boots bought, just like that one; repeat."),
    ] = None,
    leave_out: Annotated[
        list[str] | None, typer.Option("--leave-out", metavar="TAG", help="A pair not to plan; repeat.")
    ] = None,
    json: Json = False,
) -> None:
    """Plan again as if something were different, and compare with a plan. Nothing is written.

    Example: mountbook suppose plans/autumn --spacing 12

    Example: mountbook suppose plans/autumn --bindings "6 x T4/H4 100"
    """
    from planner.plan.plan_file import read_plan
    from planner.plan.set_aside import as_planned
    from planner.planning.assign.plan import plan_fleet
    from planner.planning.explain.compare import compare_plans, difference_json, difference_lines
    from planner.planning.explain.suppose import Supposed, boots_from, bought_from, supposed_fleet

    values = {"spacing_mm": spacing, "offset_limit_mm": window}
    what = Supposed(
        values={name: value for name, value in values.items() if value is not None},
        bindings=[bought_from(text) for text in bindings or []],
        boots_like=dict(boots_from(text) for text in boots or []),
        left_out=leave_out or [],
    )
    plan = read_plan(folder)
    fleet = supposed_fleet(as_planned(session.fleet(), plan), what)
    other = plan_fleet(
        fleet,
        made_at="",
        ready_by=plan.ready_by,
        minutes_limit=plan.minutes_limit,
        parts_limit_cents=plan.parts_limit_cents,
        progress=session.note,
    )
    found = compare_plans(plan, other)
    _answer(json, difference_json(found), list(difference_lines(found)))


def _answer(json: bool, said: dict[str, Any], lines: list[str]) -> None:
    if json:
        session.emit_json(said)
        return
    for line in lines:
        session.say_folded(line)
