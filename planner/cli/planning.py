"""`plan`: the best plan for the whole fleet, or for many seasons; `wanted`: the sets that it is for."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from fleet.base.entries import utc_text
from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.facts.kinds import shop_kinds
from fleet.facts.pairs import EARLIER_UNKNOWN
from planner.cli import session, terminal
from planner.cli.when_used import when_used
from planner.plan.fault_isolation import Fault

with when_used():
    from fleet.base import program
    from fleet.tables import snapshot
    from planner.bench.orders import issue
    from planner.paper import plan_folder, workbook_tables
    from planner.plan import part_prices, plan_file, plan_words, set_aside, values
    from planner.planning.assign import linear_program, plan as fleet_plan
    from planner.planning.explain import frontier
    from planner.planning.replan import again as planned_again, earlier, report
    from planner.planning.seasons import (
        per_boot,
        rentals as past_rentals,
        season_plan,
        season_report,
        seasons as past_seasons,
        want_entries,
    )


_ASKED_AT_ONCE: Final = 6
"""Models whose kind is asked for on the screen; the rest stand in the workbook."""


def plan(
    out: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="Where plan.json, plan.xlsx and the paper go.")
    ],
    ready_by: Annotated[
        str | None, typer.Option("--ready-by", metavar="DATE", help="The day the sets must be ready.")
    ] = None,
    minutes: Annotated[
        int | None,
        typer.Option(
            "--minutes", metavar="N", min=0, max=10**7, help="Bench minutes until then; else no limit."
        ),
    ] = None,
    parts_budget: Annotated[
        str | None,
        typer.Option(
            "--parts-budget", metavar="MONEY", help="For screws, glue and plugs, at the prices of the policy."
        ),
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", metavar="N", min=0, help="Stop looking then: the best found, and its gap."),
    ] = None,
    html: Annotated[
        bool, typer.Option("--html", help="Also plan.html: one page for the tablet at the bench, no network.")
    ] = False,
    after: Annotated[
        Path | None,
        typer.Option(
            "--after",
            metavar="FOLDER",
            help="The plan before: issued orders stay, others change only for a gain.",
        ),
    ] = None,
    most: Annotated[
        int | None,
        typer.Option("--most-changes", metavar="N", min=0, help="At most so many earlier sets change."),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            "--leave-out", metavar="TAG=WHY", help="A pair the technician refuses, and why; repeat."
        ),
    ] = None,
    seasons: Annotated[
        int | None,
        typer.Option(
            "--seasons", metavar="N", help="Plan for N seasons drawn about the sets wanted or --rentals."
        ),
    ] = None,
    rentals: Annotated[
        Path | None,
        typer.Option(
            "--rentals",
            metavar="FILE.csv",
            help="Past rentals (columns as in wanted --from); without --seasons those seasons alone.",
        ),
    ] = None,
    spare: Annotated[
        int | None,
        typer.Option("--spare", metavar="N", min=0, help="Leave the N dearest sets of the plan unserved."),
    ] = None,
    what_sets_cost: Annotated[
        bool, typer.Option("--what-sets-cost", help="Also: holes and minutes that the last sets cost.")
    ] = False,
    json: session.Json = False,
) -> None:
    """Plan which boot goes on which pair, and how. A proposal: the ledger stays as it is.

    With --after, sets on issued or finished orders stay; any other set of that plan changes only to serve
    more sets, or if every change saves more drilled holes than the price of a change that the shop set
    (mountbook policy list).

    With --seconds a plan is written even where nothing could be proved in time; it says how far from the
    best it may be, and --what-sets-cost gives as many lines as there is time for. Finding the ways, judging
    and writing are not cut short.

    With --seasons or --rentals, the plan is the one that serves many seasons best on average, not just the
    one that the sets wanted describe; it asks for sets of its own, which plan.json carries.

    With --what-sets-cost, a table says how many holes and minutes fewer sets take, each line proved or
    with its gap; --spare N then leaves the N sets unserved that cost most, whatever their priority, and
    plans the others.

    Example: mountbook plan --out plans/autumn --ready-by 2026-12-04 --minutes 2400

    Example: mountbook plan --out plans/second --after plans/autumn --leave-out "K-031=edge cracked"

    Example: mountbook plan --out plans/winters --seasons 20 --rentals rentals.csv
    """
    plan_folder.refuse_no_folder(out)
    # reading the ledger uses the time, too
    deadline = linear_program.NEVER if seconds is None else linear_program.Deadline(seconds)
    moment, day, out_of_it = session.now(), session.parse_day(ready_by, "--ready-by"), _left_out(leave_out)
    many = seasons is not None or rentals is not None
    _refuse_together(
        after=after is not None,
        most=most is not None,
        left_out=bool(out_of_it),
        seconds=seconds is not None,
        many=many,
        spare=spare is not None,
    )
    with terminal.progress("reading the ledger") as say:
        fleet, before, earlier = _fleet_after(after)
        common: dict[str, Any] = {
            "made_at": utc_text(moment),
            "ready_by": day and day.isoformat(),
            "minutes_limit": minutes,
            "parts_limit_cents": part_prices.budget_cents(parts_budget, fleet.policy),
            "progress": say,
        }

        def make(
            fleet: snapshot.Fleet,
        ) -> tuple[values.Plan, planned_again.PlannedAgain | None, season_plan.SeasonPlan | None]:
            if many:
                outlook = _plan_many(fleet, seasons, rentals, **common)
                return outlook.plan, None, outlook
            if spare is not None:
                return frontier.plan_sparing_sets(fleet, spare, **common), None, None
            if before is None and not out_of_it:
                return fleet_plan.plan_fleet(fleet, deadline=deadline, **common), None, None
            again = planned_again.plan_again(fleet, earlier, most_changes=most, left_out=out_of_it, **common)
            plan = again.plan if before is None else replace(again.plan, wants=before.wants)
            return plan, again, None

        (made, again, outlook), aside = set_aside.plan_without_faulty(
            fleet, make, served=lambda each: each[0].totals.served
        )
        if aside:
            made = fleet_plan.judged_plan(fleet, set_aside.with_set_aside(made, aside))
        points = tuple(frontier.frontier(fleet, made, deadline=deadline)) if what_sets_cost else None
        files, not_drawn = plan_folder.write_plan(
            out, fleet=fleet, plan=made, printed_at=moment, html=html, progress=say, points=points or ()
        )
    said = _answer(made, again, outlook, not_drawn, points)
    lines = _plan_lines(fleet, made, again, outlook, files, out, points)
    session.answer(said, lines, json=json, folded=True)
    session.end_with((aside, "SET ASIDE"), (not_drawn, "NOT DRAWN"))


def _refuse_together(
    *, after: bool, most: bool, left_out: bool, seconds: bool, many: bool, spare: bool
) -> None:
    """Raise BadInput where options were given that do not go together."""
    for wrong, sentence, cure in (
        (most and not after, "a change needs a plan before it", "name it with --after FOLDER"),
        (
            seconds and (after or left_out),
            "a limit of time is for planning afresh",
            "leave out --seconds, or --after and --leave-out",
        ),
        (
            many and (after or left_out or seconds),
            "a plan for many seasons begins afresh, and is proved",
            "leave out --after, --leave-out and --seconds; later, --after goes on from this plan",
        ),
        (
            spare and (many or after or left_out or seconds),
            "the dearest sets are those of a plan made afresh",
            "leave out --spare, or --after, --leave-out, --seconds, --seasons and --rentals",
        ),
    ):
        if wrong:
            raise BadInput(sentence, cure=cure)


def _fleet_after(
    folder: Path | None,
) -> tuple[snapshot.Fleet, values.Plan | None, tuple[earlier.EarlierSet, ...]]:
    """Return the fleet of now, as the plan of that folder asks for it; that plan, and its sets."""
    before = None if folder is None else plan_file.read_plan(folder)
    with session.open_ledger() as ledger, ledger.reading() as connection:
        fleet = snapshot.read_fleet(connection)
        if before is None:
            return fleet, None, ()
        return set_aside.as_asked(fleet, before), before, issue.earlier_from(connection, before)


def _answer(
    made: values.Plan,
    again: planned_again.PlannedAgain | None,
    outlook: season_plan.SeasonPlan | None,
    not_drawn: Sequence[Fault],
    points: Sequence[plan_words.FrontierPoint] | None,
) -> dict[str, Any]:
    said = {"program": program.program()} | plan_file.plan_to_json(made)
    if outlook is not None:
        said["seasons"] = season_report.outlook_json(outlook)
    elif again is not None:
        said["after"] = report.json_of(again)
    said["not_drawn"] = [fault.to_json() for fault in not_drawn]
    return said if points is None else said | {"what_sets_cost": [point.to_json() for point in points]}


def _left_out(texts: list[str] | None) -> dict[str, str]:
    """Return ``TAG=WHY`` options as a mapping. A pair is left out with a reason or not at all."""
    found = {}
    for text in texts or []:
        tag, _, why = (part.strip() for part in text.partition("="))
        if not tag or not why:
            raise BadInput(f"{text!r} gives no reason", cure='write it like "K-031=edge cracked"')
        found[tag] = why
    return found


def _plan_lines(
    fleet: snapshot.Fleet,
    plan: values.Plan,
    again: planned_again.PlannedAgain | None,
    outlook: season_plan.SeasonPlan | None,
    files: tuple[Path, ...],
    folder: Path,
    points: Sequence[plan_words.FrontierPoint] | None,
) -> Iterator[str | Callable[[], None]]:
    yield from () if points is None else plan_words.frontier_lines(points)
    t = plan.totals
    yield f"{t.served} of {t.wanted} sets served, {plan_words.result_of(plan)}"
    money = "" if t.parts_cents is None else f", {part_prices.money_text(t.parts_cents)} for parts"
    yield f"{counted(t.drilled, 'hole')} to drill, {counted(t.minutes, 'bench minute')}{money}"
    yield from (*plan_words.what_is_proved(plan), *plan_words.left_open(plan))
    if unserved := plan_words.left_unserved(fleet, plan):
        each = ", ".join(f"{wish} {count}" for wish, count in unserved.items())
        total = counted(sum(unserved.values()), "set")
        yield f"left out of the wants, as asked or because no plan serves them: {total} ({each})"
    yield from plan_words.room_lines(fleet, plan)
    if unknown := workbook_tables.earlier_unknown(fleet, plan):
        yield f"drilled though {EARLIER_UNKNOWN}: {', '.join(unknown)}"
    if terminal.attached():
        columns = (
            terminal.column("want"),
            terminal.column("short of", right=True),
            terminal.column("why", words=True),
            terminal.column("what would help", words=True),
        )
        cells = [(short.wish, short.missing, short.reason, short.remedy) for short in plan.unserved]
        yield partial(terminal.table, columns, cells)
    else:
        yield from (f"{u.wish} is short of {u.missing}: {u.reason}; {u.remedy}" for u in plan.unserved)
    yield from () if again is None else report.lines_of(again)
    yield from () if outlook is None else season_report.lines_of(outlook)
    yield from (partial(session.say, f"  {file}") for file in files)
    notes = []
    if not t.wanted and outlook is None:
        notes = [
            "no sets wanted are on record: enter one for every boot, then plan again",
            "  mountbook wanted --per-boot --enter",
        ]
    if plan.sets:
        notes += [
            "A proposal: read plan.xlsx first. To open its work orders:",
            f"  mountbook order issue {shlex.quote(str(folder))} --by NAME",
        ]
    fits, kinds = plan_words.fits_not_known(fleet, plan), plan_words.kinds_to_state(fleet, plan)
    notes += _some(f"of {counted(len(fits), 'set')} nobody knows whether the brake fits:", fits)
    without = f"models without a stated kind, for which the fits table decided: {len(kinds)}"
    notes += _some(f"{without}. To state it:", kinds)
    yield from (partial(session.note, line) for line in notes)


def _some(lead: str, lines: Sequence[str]) -> list[str]:
    shown = [lead, *(f"  {line}" for line in lines[:_ASKED_AT_ONCE])] if lines else []
    if len(lines) > _ASKED_AT_ONCE:
        shown.append(f"  {len(lines) - _ASKED_AT_ONCE} more stand in plan.xlsx, Sets, to know")
    return shown


def _plan_many(
    fleet: snapshot.Fleet, seasons: int | None, rentals: Path | None, **rest: Any
) -> season_plan.SeasonPlan:
    """Return the plan for the seasons; ``rest`` as `plan_for_seasons` takes it. Raises BadInput on faulty
    rows.
    """
    if rentals is None:
        return season_plan.plan_for_seasons(
            fleet, past_seasons.from_wants(fleet.wishes, fleet.policy, seasons or 0), **rest
        )
    found, faulty = past_rentals.read_rentals(session.read_text(rentals), tuple(shop_kinds(fleet.policy)))
    past_seasons.refuse_faulty(faulty, str(rentals))
    return season_plan.plan_for_seasons(
        fleet, past_seasons.from_rentals(found, fleet.policy, seasons), **rest
    )


def wanted(
    source: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FILE.csv", help="Columns: out, back, kind, length_cm, mondopoint, refused."
        ),
    ] = None,
    per_boot: Annotated[
        bool, typer.Option("--per-boot", help="Without rentals or a sheet: one set for every boot.")
    ] = False,
    table: Annotated[
        Path | None,
        typer.Option(
            "--table", metavar="FILE.csv", help="Lengths that go with soles and shells; else our defaults."
        ),
    ] = None,
    seasons: Annotated[
        int, typer.Option("--seasons", metavar="N", min=0, help="Sample so many seasons about the past ones.")
    ] = 0,
    priority: Annotated[
        int, typer.Option("--priority", metavar="N", min=1, help="Priority of the proposed wants.")
    ] = 1,
    enter: Annotated[bool, typer.Option("--enter", help="Record the proposed wants in the ledger.")] = False,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Propose sets wanted from past rentals: the peak of sets out at once, refusals counted in.

    A shop without rentals and without a sheet of sets wanted takes --per-boot: one set for every boot, its
    lengths by a table of sole type, kind and shell (its columns: planner/planning/seasons/per_boot.csv).

    Nothing is recorded without --enter, and nothing at all while a row of the file is at fault.

    Example: mountbook wanted --from rentals.csv --seasons 200

    Example: mountbook wanted --per-boot --table our_lengths.csv --enter
    """
    if per_boot == (source is not None) or (table is not None and not per_boot) or (per_boot and seasons):
        raise BadInput(
            "sets wanted come from rentals or from the boots",
            cure="give --from FILE.csv (with --seasons), or --per-boot (with --table)",
        )
    if source is None:
        _per_boot(table, priority=priority, enter=enter, by=by, json=json)
    else:
        _from_rentals(source, seasons=seasons, priority=priority, enter=enter, by=by, json=json)


def _per_boot(table: Path | None, *, priority: int, enter: bool, by: str | None, json: bool) -> None:
    fleet = session.fleet()
    kinds, boots = tuple(shop_kinds(fleet.policy)), fleet.boots
    windows = per_boot.default_windows()
    if table is not None:
        windows = per_boot.read_windows(session.read_text(table), name=table.name, kinds=kinds)
    found = per_boot.wants_per_boot(boots.values(), windows, priority=priority)
    if enter:
        with session.at_desk(by, None) as desk:
            known = want_entries.read_wishes(desk.connection)
            per_boot.refuse_beside_others(known)
            for event in want_entries.entries_of(
                [wish for wish, _ in found.wants], known, name=per_boot.NAME
            ):
                desk.enter(event)
    session.answer(
        want_entries.per_boot_json(found, entered=enter),
        per_boot.lines_of(found),
        json=json,
        after=_recorded(enter),
    )


def _recorded(entered: bool) -> str:
    return "recorded" if entered else "a proposal: nothing is recorded"


def _from_rentals(
    source: Path, *, seasons: int, priority: int, enter: bool, by: str | None, json: bool
) -> None:
    policy = session.read(snapshot.read_policy)
    rentals, faults = past_rentals.read_rentals(session.read_text(source), tuple(shop_kinds(policy)))
    for fault in faults:
        session.note(f"{source}, row {fault.row}, {fault.column}: {fault.raw!r}: {fault.fix}")
    found = past_seasons.propose(rentals, policy, sampled=seasons, priority=priority)
    entered = enter and not faults
    if entered:
        with session.at_desk(by, None) as desk:
            wishes = [line.wish for line in found.lines]
            for event in want_entries.entries_of(
                wishes, want_entries.read_wishes(desk.connection), name=past_seasons.NAME
            ):
                desk.enter(event)
    said = want_entries.proposal_json(found, faults, entered=entered)
    session.answer(said, past_seasons.lines_of(found), json=json, after=_recorded(entered), good=not faults)
