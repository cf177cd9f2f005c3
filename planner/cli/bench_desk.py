"""`bench plan` from its options to the files in the folder: reads the ledger, plans, judges, writes."""

import json
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from fleet.base.days import day_at, day_text, typed_day, weekdays
from fleet.base.entries import utc_text
from fleet.base.errors import BadInput, MountbookError, Refused, or_bad_input
from fleet.base.units import typed_count
from fleet.tables.snapshot import Fleet, read_fleet
from planner.bench.orders.book import WorkOrder, read_orders
from planner.bench.parts import (
    StockLine,
    against_stock,
    bindings_in_stock,
    needs,
    read_screws,
    read_stock,
    shopping_list,
    stock_name,
    unknown_stock,
)
from planner.bench.weeks import jobs as bench_jobs
from planner.bench.weeks.bench_file import BENCH_FILE, earlier_visits, read_bench_file, to_json
from planner.bench.weeks.calendar import open_days, utc_minute
from planner.bench.weeks.jobs import Order
from planner.bench.weeks.report import plan_lines
from planner.bench.weeks.values import Bench, BenchPlan, Job, Person
from planner.bench.weeks.weeks import plan_bench
from planner.exchange.export.whole_file import write_whole
from planner.plan.fault_isolation import Fault, one_by_one
from planner.plan.plan_file import read_plan
from planner.plan.values import Plan, PlannedSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """The options of `bench plan` as typed."""

    first: str
    last: str
    technicians: int = 2
    hours: str = "8"
    opens: str = "08:00"
    pause: str | None = None
    testers: int | None = None
    jigs: int = 1
    jig: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    closed_weekdays: str = "Sun"
    due: str | None = None
    begun: tuple[str, ...] = ()
    stock: Path | None = None
    screws: Path | None = None
    seconds: float = 30.0
    proposal: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """The answer of `bench plan`: the content of bench.json, and lines for people."""

    data: dict[str, Any]
    lines: tuple[str, ...]
    failed: tuple[Fault, ...] = ()


def plan_and_write(
    connection: sqlite3.Connection,
    wanted: Wanted,
    out: Path,
    *,
    now: datetime,
    progress: Callable[[str], None] | None = None,
) -> Made:
    """Plan and write bench.json, bench.xlsx and, beside a plan.json, a plan.xlsx with the bench in it."""
    fleet = read_fleet(connection)
    proposal = None if wanted.proposal is None else read_plan(wanted.proposal)
    bench = bench_of(fleet, wanted, now=now)
    orders, jobs, failed = _orders_and_jobs(connection, fleet, proposal, wanted)
    jobs = _begun(jobs, wanted.begun, now)
    before = earlier_visits(read_bench_file(out)) if (out / BENCH_FILE).exists() else ()
    plan = plan_bench(bench, jobs, seconds=wanted.seconds, before=before, progress=progress)
    lines = _parts(fleet, orders, plan, wanted)
    data = to_json(bench, jobs, plan, made_at=utc_text(now)) | {
        "ledger": str(fleet.head),
        "proposal": proposal is not None,
        "parts": [_part(line) for line in lines],
        "not_planned": [fault.to_json() for fault in failed],
    }
    _write(out, fleet, bench, jobs, plan, lines, data, proposal, now)
    said = tuple(_answer_lines(plan, day_at(now, fleet.zone), jobs, lines, wanted, out, proposal))
    return Made(data=data, lines=said, failed=failed)


def _orders_and_jobs(
    connection: sqlite3.Connection, fleet: Fleet, proposal: Plan | None, wanted: Wanted
) -> tuple[tuple[Order, ...], tuple[Job, ...], tuple[Fault, ...]]:
    """Return each order with its job, and the orders that end in a fault. What the rules refuse is no fault
    of one order: it is raised.
    """
    due_else = typed_day(wanted.due) if wanted.due else None

    def one(each: WorkOrder | PlannedSet) -> tuple[Order, Job]:
        if isinstance(each, WorkOrder):
            order = bench_jobs.open_order(connection, fleet, each)
        else:
            assert proposal is not None
            order = bench_jobs.proposed_order(fleet, each, proposal)
        needs(fleet, [order])
        [job] = bench_jobs.jobs_for([order], fleet.policy, due_else=due_else, testers=_testers(wanted))
        return order, job

    things: Sequence[WorkOrder | PlannedSet] = proposal.touched if proposal else read_orders(connection)
    made, failed = one_by_one(
        things,
        one,
        what="set" if proposal else "work order",
        name=lambda each: each.name if isinstance(each, WorkOrder) else each.pair,
    )
    for fault in failed:
        if isinstance(fault.error, MountbookError):
            raise fault.error
    return tuple(order for order, _ in made), tuple(job for _, job in made), failed


def bench_of(fleet: Fleet, wanted: Wanted, *, now: datetime) -> Bench:
    """Return the bench as asked, without what is past today. Raises BadInput or Refused with a cure."""
    hours = _hours(wanted)
    if len(hours) < 2:
        raise Refused(
            "one technician cannot give the second check on their own work",
            cure="name a second person, if only for an hour a day: --technicians 2 --hours 8,1",
        )
    first, last = typed_day(wanted.first), typed_day(wanted.last)
    today = day_at(now, fleet.zone)
    if first <= last < today:
        raise BadInput(
            f"{day_text(first)} to {day_text(last)} are gone by: today is {day_text(today)}",
            cure=f"begin today or later: --from {today}",
        )
    days = open_days(
        first=first,
        last=last,
        zone=fleet.zone,
        hours=hours,
        opens=_time(wanted.opens),
        pause=_pause(wanted.pause),
        weekdays_closed=_weekdays(wanted.closed_weekdays),
        closed=tuple(typed_day(text) for text in wanted.closed),
        not_before=now if first <= today else None,
    )
    able = _testers(wanted)
    return Bench(
        people=tuple(
            Person(name=f"technician {n + 1}", may_test=able is None or n in able) for n in range(len(hours))
        ),
        days=days,
        zone=fleet.zone,
        jigs=_numbers(wanted.jig, "--jig", "T4/H4=2"),
        jigs_else=wanted.jigs,
        setup_minutes=int(fleet.policy.number("minutes_jig_setup")),
    )


def order_states(connection: sqlite3.Connection) -> dict[str, str]:
    """Return the state of each order's newest revision."""
    return dict(connection.execute("SELECT number, state FROM work_order ORDER BY issued_entry").fetchall())


def _begun(jobs: Sequence[Job], begun: Sequence[str], now: datetime) -> tuple[Job, ...]:
    """Return the jobs without visits that are done. A cure whose beginning is not known counts from now."""
    done = _numbers(begun, "--begun", "WO-2611-0004=1")
    known = {job.number for job in jobs}
    for number in done:
        if number not in known:
            raise BadInput(f"{number} is no open order of these weeks", cure="see `mountbook order list`")
    out = []
    for job in jobs:
        count = done.get(job.number, 0)
        if count >= len(job.visits):
            raise BadInput(
                f"{job.number} has {len(job.visits)} visits, and all would be done",
                cure="enter it as done: mountbook order done",
            )
        if count:
            rest = (replace(job.visits[count], other_person=False), *job.visits[count + 1 :])
            cured = utc_minute(now) + job.visits[count - 1].cure_minutes
            job = replace(job, visits=rest, ready=cured)
        out.append(job)
    return tuple(out)


def _parts(fleet: Fleet, orders: Sequence[Order], plan: BenchPlan, wanted: Wanted) -> tuple[StockLine, ...]:
    first: dict[str, int] = {}
    for visit in plan.visits:
        first.setdefault(visit.job, visit.start)
    in_order = sorted(orders, key=lambda order: (first.get(order.number, 10**12), order.number))
    screws = read_screws(wanted.screws) if wanted.screws else None
    listed = read_stock(wanted.stock) if wanted.stock else {}
    return against_stock(
        needs(fleet, in_order, screws=screws),
        bindings_in_stock(fleet) | listed,
        reserve_percent=fleet.policy.number("parts_reserve_percent"),
    )


def _part(line: StockLine) -> dict[str, Any]:
    return {
        "part": stock_name(line.need.part),
        "unit": line.need.part.unit,
        "needed": line.need.quantity,
        "reserve": line.reserve,
        "in_stock": line.in_stock,
        "buy": line.buy,
        "first_order_without": line.first_hit,
    }


def _write(
    out: Path,
    fleet: Fleet,
    bench: Bench,
    jobs: Sequence[Job],
    plan: BenchPlan,
    lines: Sequence[StockLine],
    data: dict[str, Any],
    proposal: Plan | None,
    now: datetime,
) -> None:
    from planner.paper.workbook_out import (
        calendar_table,
        every_part,
        hours_table,
        plan_workbook,
        shopping,
        tables_workbook,
    )

    tables = (calendar_table(bench, jobs, plan), hours_table(bench, plan), every_part(lines), shopping(lines))
    files = {
        "bench.xlsx": tables_workbook(
            tables,
            fleet=fleet,
            title="Bench weeks, a proposal" if proposal else "Bench weeks",
            banner=(
                "PROPOSAL, not issued: nothing may be drilled from this list."
                if proposal
                else "Times are a plan: the work order's newest revision says what is done to the ski."
            ),
            made=now,
        ),
        BENCH_FILE: (json.dumps(data, ensure_ascii=False, indent=2) + "\n").encode(),
    }
    if proposal is not None and (out / "plan.json").exists():
        files["plan.xlsx"] = plan_workbook(fleet, proposal, printed_at=now.astimezone(UTC), more=tables)
    with or_bad_input(f"{out} cannot be written:", cure="choose another folder", of=OSError):
        out.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        write_whole(out / name, content)


def _answer_lines(
    plan: BenchPlan,
    today: date,
    jobs: Sequence[Job],
    lines: Sequence[StockLine],
    wanted: Wanted,
    out: Path,
    proposal: Plan | None,
) -> Iterable[str]:
    if proposal is not None:
        yield "PROPOSAL: these sets are not issued"
    first = typed_day(wanted.first)
    if first < today:
        yield f"{first} to {today - timedelta(days=1)} are gone by: nothing is planned on them"
    yield from plan_lines(plan, len(jobs), [job.number for job in jobs if job.due and job.due < today])
    if wanted.stock is not None:
        for line in lines:
            if line.short and line.in_stock is not None:
                yield (
                    f"short of {stock_name(line.need.part)}: {line.need.quantity} needed, "
                    f"{line.in_stock} there" + (f", first hit {line.first_hit}" if line.first_hit else "")
                )
        unnamed = sum(line.in_stock is None for line in lines)
        if unnamed:
            yield f"{unnamed} parts are not in the stock list; they stand on the shopping list whole"
        for name in unknown_stock([line.need for line in lines], read_stock(wanted.stock)):
            yield f"nothing in these orders asks for {name!r}"
    if shopping_list(lines):
        yield f"shopping list: {len(shopping_list(lines))} lines in {out / 'bench.xlsx'}"
    yield f"written to {out}"


def _hours(wanted: Wanted) -> tuple[float, ...]:
    with or_bad_input(f"{wanted.hours!r} are no hours", cure="write 8, or one for each: 8,8,3"):
        each = [float(text) for text in wanted.hours.split(",")]
    if len(each) == 1:
        each *= wanted.technicians
    if len(each) != wanted.technicians or any(not 0 < hour <= 24 for hour in each):
        raise BadInput(
            f"{wanted.technicians} technicians and the hours {wanted.hours} do not agree",
            cure="one number for all, or one for each, above 0 and up to 24",
        )
    return tuple(each)


def _testers(wanted: Wanted) -> frozenset[int] | None:
    some = wanted.testers is not None and wanted.testers < wanted.technicians
    return frozenset(range(wanted.testers or 0)) if some else None


def _time(text: str) -> time:
    with or_bad_input(f"{text!r} is not a time of day", cure="write it like 08:00"):
        return time.fromisoformat(text.strip())


def _pause(text: str | None) -> tuple[time, time] | None:
    if text is None:
        return None
    begins, dash, ends = text.partition("-")
    if not dash or _time(begins) >= _time(ends):
        raise BadInput(f"{text!r} is no pause", cure="write it like 12:00-12:30")
    return _time(begins), _time(ends)


def _weekdays(text: str) -> tuple[str, ...]:
    days = tuple(part.strip().capitalize() for part in text.split(",") if part.strip().lower() != "none")
    wrong = [day for day in days if day not in weekdays()]
    if wrong:
        raise BadInput(f"{wrong[0]!r} is no weekday", cure=f"use {', '.join(weekdays())}, or none")
    return days


def _numbers(pairs: Iterable[str], option: str, example: str) -> dict[str, int]:
    out = {}
    for text in pairs:
        name, _, number = text.rpartition("=")
        try:
            count = typed_count(number)
        except ValueError:
            count = 0
        if not name or not count:
            raise BadInput(
                f"{text!r} does not say a name and a number", cure=f"write it like {option} {example}"
            )
        out[name] = count
    return out
