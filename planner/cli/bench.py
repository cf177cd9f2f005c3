"""`mountbook bench`: plan the bench weeks, show them, follow them."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from planner.cli import session, terminal
from planner.cli.when_used import when_used

with when_used():
    from planner.bench.weeks import bench_file, progress, report
    from planner.cli import bench_desk

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Where `bench plan` wrote bench.json.")]


def bench_plan(
    first: Annotated[str, typer.Option("--from", metavar="DATE", help="First day of the bench weeks.")],
    last: Annotated[str, typer.Option("--to", metavar="DATE", help="Last day.")],
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where bench.json and the sheets go.")],
    proposal: Annotated[
        Path | None,
        typer.Option(
            "--proposal", metavar="FOLDER", help="Plan the sets of a plan.json instead of open orders."
        ),
    ] = None,
    technicians: Annotated[
        int, typer.Option("--technicians", metavar="N", min=1, help="People at the bench.")
    ] = 2,
    hours: Annotated[
        str,
        typer.Option("--hours", metavar="TEXT", help="Bench hours a day: 8 for all, or one for each: 8,8,3."),
    ] = "8",
    opens: Annotated[str, typer.Option("--opens", metavar="TIME", help="When the bench opens.")] = "08:00",
    pause: Annotated[
        str | None, typer.Option("--pause", metavar="FROM-TO", help="A pause for all, like 12:00-12:30.")
    ] = None,
    testers: Annotated[
        int | None,
        typer.Option(
            "--testers",
            metavar="N",
            min=1,
            help="How many of them (from the first) may make release tests; else all.",
        ),
    ] = None,
    jigs: Annotated[int, typer.Option("--jigs", metavar="N", min=1, help="Jigs of each pattern.")] = 1,
    jig: Annotated[
        list[str] | None, typer.Option("--jig", metavar="PATTERN=N", help="Another number for one pattern.")
    ] = None,
    closed: Annotated[
        list[str] | None, typer.Option("--closed", metavar="DATE", help="A closing day; may be given again.")
    ] = None,
    closed_weekdays: Annotated[
        str, typer.Option("--closed-weekdays", metavar="TEXT", help="Weekdays off: Sun, or Sat,Sun, or none.")
    ] = "Sun",
    due: Annotated[
        str | None,
        typer.Option("--due", metavar="DATE", help="Due day of orders that have none of their own."),
    ] = None,
    begun: Annotated[
        list[str] | None,
        typer.Option(
            "--begun", metavar="ORDER=N", help="Its first N visits are done; a cure counts from now."
        ),
    ] = None,
    stock: Annotated[
        Path | None, typer.Option("--stock", metavar="FILE", help="csv of part,quantity: what runs short.")
    ] = None,
    screws: Annotated[
        Path | None, typer.Option("--screws", metavar="FILE", help="csv of pattern,piece,number,part.")
    ] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="N", min=1, help="How long to look at most.")
    ] = 30.0,
    json: session.Json = False,
) -> None:
    """Plan the bench weeks from the open work orders, or from a proposal. The ledger stays as it is.

    A bench.json that lies in the folder already is planned again with little change.

    Example: mountbook bench plan --from 2026-11-02 --to 2026-12-05 --technicians 2 --hours 8 --out bench
    """
    wanted = bench_desk.Wanted(
        first=first, last=last, technicians=technicians, hours=hours, opens=opens, pause=pause,
        testers=testers, jigs=jigs, jig=tuple(jig or ()), closed=tuple(closed or ()),
        closed_weekdays=closed_weekdays, due=due, begun=tuple(begun or ()),
        stock=stock, screws=screws, seconds=seconds, proposal=proposal,
    )  # fmt: skip
    moment = session.now()
    with (
        terminal.progress("planning the bench") as say,
        session.open_ledger() as ledger,
        ledger.reading() as connection,
    ):
        made = bench_desk.plan_and_write(connection, wanted, out, now=moment, progress=say)
    session.answer(made.data, made.lines, json=json)
    session.end_with((made.failed, "NOT PLANNED"))


def bench_show(
    folder: Folder,
    day: Annotated[str | None, typer.Option("--day", metavar="DATE", help="Only this day; else all.")] = None,
    json: session.Json = False,
) -> None:
    """Show the bench, day by day, in the order of work.

    Example: mountbook bench show bench --day 2026-11-03
    """
    data = report.only_day(bench_file.read_bench_file(folder), day)
    session.answer(data, report.day_lines(data), json=json)


def bench_progress(folder: Folder, json: session.Json = False) -> None:
    """Tell which orders are done, behind, late or moved. Exit code 1 if any is behind or late.

    Example: mountbook bench progress bench
    """
    data = bench_file.read_bench_file(folder)
    found = progress.progress_of(data, session.read(bench_desk.order_states), now=session.now())
    session.answer(
        asdict(found), report.progress_lines(found), json=json, good=not (found.behind or found.late)
    )
