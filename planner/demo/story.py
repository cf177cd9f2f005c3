"""The whole story on the sample fleet, by the same calls that the commands make.

Each chapter is one function: it acts, writes its papers, and says in a `Chapter` what now lies where.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Final

from fleet.base.entries import utc_text
from fleet.base.files import csv_rows
from fleet.base.units import counted
from fleet.facts.gates import is_gate
from fleet.facts.holes import Side
from fleet.facts.kinds import Kind
from fleet.facts.standing import Place
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import set_policy
from fleet.rules.clearance import read_case
from fleet.rules.gate_desk import calibrated, qualify, record_release_test, state_model
from fleet.rules.looks import LookKind, parse_found, pieces_of, record_look
from fleet.tables.snapshot import read_fleet, read_policy
from imports.page import page
from planner.bench.orders.bench_record import Drilled, Measured, Screw
from planner.bench.orders.book import WorkOrder, read_orders
from planner.bench.orders.close import done, plugged, screws_to_glue, stop
from planner.bench.orders.issue import issue
from planner.demo import moments
from planner.demo.busy_day import busy_day, morning
from planner.demo.shared import HEAD_TECHNICIAN, MANAGER, SAMPLE, SECOND, TECHNICIAN, Chapter, Say, Story
from planner.exchange import intake
from planner.paper.issued_sheets import issued_pdf, sheets_file
from planner.paper.plan_folder import write_plan
from planner.plan.plan_file import plan_hash
from planner.plan.values import Plan, PlannedSet, Rung
from planner.planning.assign.plan import plan_fleet


def run_story(folder: Path, say: Say, *, sample: Path = SAMPLE) -> tuple[Chapter, ...]:
    """Run every chapter into an empty folder and return what each one left behind.

    ``sample`` holds ``fleet.xlsx``, ``policy.csv``, ``models.csv`` and ``counter_day.csv``.
    """
    ledger_file = folder / "mountbook.db"
    inventory = take_inventory(folder, ledger_file, say, sample)
    with Ledger.open(ledger_file) as ledger:
        plan, planned = make_plan(folder, ledger, say)
        story = Story(sample, folder, ledger, say, plan, [inventory, planned])
        story.chapters += [issue_orders(story), work_the_bench(story)]
        untested, prepared = prepare_the_season(story)
        story.chapters += [prepared, morning(story, untested, _release_test)]
        story.chapters += busy_day(story)
    return tuple(story.chapters)


def take_inventory(folder: Path, ledger_file: Path, say: Say, sample: Path) -> Chapter:
    """The workbook looked at, applied, and the shop's decisions entered with their origins."""
    say("reading the inventory")
    workbook = sample / "fleet.xlsx"
    moment = moments.INVENTORY
    proposal = intake.look_at(None, [workbook], leave_out=(), columns=(), today=moment.date())
    done = intake.apply(
        ledger_file,
        proposal,
        ledger=None,
        by=MANAGER,
        now=moment,
        shop=moments.SHOP,
        zone=moments.ZONE,
    )
    report = page(proposal, applied=done.applied, tried=True, files=[workbook.name])
    _write(folder / "1_inventory" / "import_report.txt", report)
    with Ledger.open(ledger_file) as ledger, ledger.desk(by=MANAGER, now=moments.POLICY) as desk:
        settings = csv_rows(sample / "policy.csv")
        for row in settings:
            set_policy(desk, row["name"], row["value"], origin=row["origin"])
        for row in csv_rows(sample / "models.csv"):  # which the door's gate of soles is read from
            state_model(desk, row["model"], standard=row["standard"], origin=row["origin"])
        fleet = read_fleet(desk.connection)
        qualify(desk, TECHNICIAN, what="release test", until=date(2027, 5, 31))
        calibrated(desk, TESTER, on=date(2025, 9, 1), until=date(2026, 8, 31), certificate="C-7, invented")
    return Chapter(
        title="The inventory",
        facts=(
            f"{len(fleet.pairs)} pairs with"
            f" {sum(len(s.holes) for p in fleet.pairs.values() for s in p.skis.values())} known holes,"
            f" {len(fleet.boots)} pairs of boots, {len(fleet.patterns)} hole patterns",
            f"decided and signed by {MANAGER}: "
            + ", ".join(f"{r['name']} {r['value']}" for r in settings if not is_gate(r["name"]))
            + f", {sum(is_gate(r['name']) for r in settings)} gates of the door",
        ),
        files=(
            ("mountbook.db", "the ledger"),
            ("1_inventory/import_report.txt", "what the import saw, doubted and took"),
        ),
    )


TESTER: Final = "bench tester 1"
_TESTED: Final = (Kind.ALPINE, Kind.JUNIOR)


def _release_test(desk: Desk, tag: str) -> None:
    """Enter the release tests of one pair, piece by piece."""
    for side in Side:
        for piece in ("toe", "heel"):
            record_release_test(
                desk,
                tag,
                side=side,
                piece=piece,
                device=TESTER,
                result="within the maker's sheet, as the tester read it",
                outcome="passed",
            )


def _release_tests(story: Story) -> tuple[int, str]:
    """Test the alpine and junior pairs of the plan without open work or a stop, but the last: return how
    many, and which was left out.
    """
    cases = (read_case(story.ledger.connection, planned.pair) for planned in story.plan.sets)
    *tested, left_out = sorted(
        case.standing.tag
        for case in cases
        if not case.open_order and not case.standing.hold_entry and case.kind in _TESTED
    )
    with story.desk(TECHNICIAN, moments.RELEASE_TESTS) as desk:
        for tag in tested:
            _release_test(desk, tag)
    return len(tested), left_out


_SHORT: Final = 3
"""Wants left short that the story tells one by one."""


def make_plan(folder: Path, ledger: Ledger, say: Say) -> tuple[Plan, Chapter]:
    """The best plan for the sets wanted, judged, as a proposal on disk."""
    fleet = read_fleet(ledger.connection)
    plan = plan_fleet(
        fleet,
        made_at=utc_text(moments.PLAN),
        ready_by=moments.READY_BY,
        minutes_limit=None,
        progress=say,
    )
    write_plan(folder / "2_plan", fleet=fleet, plan=plan, printed_at=moments.PLAN, progress=say)
    totals = plan.totals
    rungs = ", ".join(
        f"{count} {rung.value}" for rung in Rung if (count := sum(s.way.rung is rung for s in plan.sets))
    )
    return plan, Chapter(
        title="The plan",
        facts=(
            f"{totals.served} of {totals.wanted} sets served, {plan.status}",
            rungs,
            f"{totals.drilled} holes to drill, {totals.minutes / 60:.1f} bench hours",
            *(f"{u.wish} is short of {u.missing}: {u.reason}; {u.remedy}" for u in plan.unserved[:_SHORT]),
            *[f"and {counted(len(plan.unserved) - _SHORT, 'more want')}, in plan.xlsx"]
            * (len(plan.unserved) > _SHORT),
        ),
        files=(
            ("2_plan/plan.xlsx", "sets, orders, holes, parts, what is unserved and why"),
            ("2_plan/plan.json", "the same for programs"),
            ("2_plan/work_orders.pdf", "the work orders as a PROPOSAL"),
            ("2_plan/season_prep.pdf", "the season prep checklist"),
        ),
    )


def issue_orders(story: Story) -> Chapter:
    """The plan judged again and turned into numbered work orders."""
    story.say("issuing the work orders")
    with story.desk(HEAD_TECHNICIAN, moments.ISSUE) as desk:
        issued = issue(desk, story.plan, plan_hash=plan_hash(story.plan))
        files = sheets_file(story.folder / "2_plan", issued_pdf(desk, issued, paper="A4")[0])
    files.publish()
    return Chapter(
        title="The work orders",
        facts=(f"{len(issued.orders)} issued; {issued.as_they_are} sets need no bench",),
        files=(("2_plan/work_orders_issued.pdf", "one page a pair, with the picture"),),
    )


REMOUNTS_DONE: Final = 5
"""Orders of each kind of remount that the first bench weeks get to; all adjustments are done."""


def work_the_bench(story: Story) -> Chapter:
    """Adjustments and a few remounts of every rung done, one with measured holes, one stopped."""
    story.say("working at the bench")
    orders = read_orders(story.ledger.connection)
    taken: dict[str, list[WorkOrder]] = {}
    for order in orders:
        taken.setdefault(order.way, []).append(order)
    all_new = taken[Rung.ALL_NEW.value]
    measured, stopped = all_new[0], all_new[-1]
    bench = [
        order
        for way, group in taken.items()
        for order in (group if way == Rung.ADJUST.value else group[:REMOUNTS_DONE])
        if order is not stopped
    ]
    minutes, lines = 0, []
    visits: list[tuple[datetime, bool, WorkOrder]] = []
    for order in sorted(bench, key=lambda each: each.number):
        minutes += order.minutes
        if order.planned.way.plugged:  # its first visit was a day before: the filler has cured
            visits.append((moments.first_visit(minutes), True, order))
        visits.append((moments.bench_moment(minutes), False, order))
    for moment, plugs, order in sorted(visits, key=lambda visit: visit[0]):
        seen = measured_holes(order.planned, Side.A) if order is measured else {}
        with story.desk(TECHNICIAN, moment) as desk:
            if plugs:
                plugged(desk, order.name)
                continue
            closed = done(desk, order.name, measured=seen, glue=glue_used(story, order))
        lines.append(
            f"{order.name}  {order.tag}  {order.way:<12}  {len(closed.drilled)} drilled,"
            f" {len(closed.plugged)} plugged; now {closed.place.words}"
            + ("  (ski A measured after drilling)" if seen else "")
        )
    with story.desk(TECHNICIAN, moments.bench_moment(minutes + 20)) as desk:
        first = next(iter(measured_holes(stopped.planned, Side.A)))
        drilled = {Side.A: Drilled.HOLES, Side.B: Drilled.NOTHING}
        why = "the first hole of ski A showed a wet core"
        stop(desk, stopped.name, why=why, drilled=drilled, made=[first])
    lines.append(f"{stopped.name}  {stopped.tag}  {stopped.way:<12}  stopped: wet core")
    _write(story.folder / "3_bench" / "bench_log.txt", "\n".join(lines))
    open_now = len(read_orders(story.ledger.connection))
    return Chapter(
        title="The bench",
        facts=(
            f"{len(bench)} orders done by {TECHNICIAN} in {minutes / 60:.1f} planned hours,"
            f" 1 stopped ({stopped.tag}), {open_now} still open",
        ),
        files=(("3_bench/bench_log.txt", "order by order"),),
    )


def glue_used(story: Story, order: WorkOrder) -> str | None:
    """Return what stands in the sheet's box: the glue on the bench, nothing where no screw is driven."""
    connection = story.ledger.connection
    return read_policy(connection).word("mount_adhesive") if screws_to_glue(connection, order.name) else None


def measured_holes(planned: PlannedSet, side: Side) -> dict[Screw, Measured]:
    """Return what a ruler laid on the drilled holes of one ski said: 0.2 mm off along, 0.1 mm across
    (invented).
    """
    return {
        screw: Measured(x_um=hole.x_um + 200, y_um=hole.y_um - 100)
        for screw, hole in planned.way.screws.items()
        if screw[0] is side and hole.do == "drill"
    }


def prepare_the_season(story: Story) -> tuple[str, Chapter]:
    """The season prep sign-off: every planned pair without open work gets its first pass, or a hold. The
    pair that no release test was made of comes with it.
    """
    tested, untested = _release_tests(story)
    story.say("signing the season prep")
    passed, held = 0, []
    connection = story.ledger.connection
    sets = sorted(story.plan.sets, key=lambda planned: planned.pair)
    loose = next(planned.pair for planned in sets if planned.way.rung is Rung.AS_IS)
    with story.desk(SECOND, moments.SEASON_PREP) as desk:
        for planned in sets:
            case = read_case(connection, planned.pair)
            if case.open_order or case.standing.place not in (Place.BACK, Place.SECOND_CHECK):
                continue
            single = ("B heel=turned-under-an-eighth",) if planned.pair == loose else ()
            found = parse_found("not-moved", single, pieces=pieces_of(case), tag=planned.pair)
            looked = record_look(desk, planned.pair, found, kind=LookKind.SEASON_PREP)
            passed += looked.place is Place.READY
            held += [] if looked.place is Place.READY else [looked]
    return untested, Chapter(
        title="The season prep",
        facts=(
            f"{tested} alpine and junior pairs release-tested by {TECHNICIAN} with {TESTER}",
            f"{passed} pairs passed by {SECOND}, who did none of the work",
            *(f"{look.tag} is on hold: {look.words}" for look in held),
        ),
    )


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text.rstrip("\n") + "\n", encoding="utf-8")
