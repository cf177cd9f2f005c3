"""A plan on disk: plan.json, plan.xlsx and the paper, moved in at once. Never the ledger.

What cannot be drawn of one pair is left out and named in plan.json; it costs no other pair its sheet.

The plan of a chain on disk: each shop's plan in a folder of its name, the vans' pick lists, chain.json. A
pick list says what is loaded in one shop and taken in at the other by a van's run, each with a box.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from pathlib import Path
from shutil import rmtree
from typing import Final

from fleet.base.days import day_text, stored_day_text
from fleet.base.entries import utc_text
from fleet.base.errors import BadInput, or_bad_input
from fleet.base.files import sync_file, unfinished_beside
from fleet.facts.holes import Side
from fleet.facts.pairs import planned_brake_text
from fleet.facts.tags import tag_order
from fleet.tables.snapshot import Fleet
from planner.paper.shapes import (
    ICE,
    INK,
    LABEL,
    READ,
    RULE,
    SMALL,
    SOFT,
    TITLE,
    WHITE,
    Anchor,
    Face,
    Page,
    fitted,
    shortened,
    stacked,
)
from planner.paper.sheet_frame import (
    Anchors,
    FramedSheet,
    anchors_of,
    framed,
    paper_named,
    pdf_of,
    signature_row,
    standing_cautions,
    tag_words,
)
from planner.paper.workbook_out import every_part, plan_workbook, tables_workbook
from planner.paper.workbook_tables import Column, WorkbookTable, last_sets
from planner.plan.chain import (
    CHAIN_FILE,
    Chain,
    ChainMove,
    ChainPlan,
    VanRun,
    VanThing,
    after_moves,
    chain_plan_text,
    id_there,
    load_text,
    loads,
    way_home_text,
)
from planner.plan.fault_isolation import Fault, all_but_faulty
from planner.plan.plan_file import PLAN_FILE, plan_hash, plan_text
from planner.plan.plan_words import FrontierPoint, result_of
from planner.plan.values import Plan, PlannedSet

BOOK_FILE = "plan.xlsx"
PAGE_FILE = "plan.html"
_FILES = (
    PLAN_FILE, BOOK_FILE, PAGE_FILE, "work_orders.pdf", "season_prep.pdf", "last_sets.pdf", "last_sets.svg",
)  # fmt: skip
_ELSEWHERE = "choose another folder with --out"


def write_plan(
    folder: Path,
    *,
    fleet: Fleet,
    plan: Plan,
    printed_at: datetime,
    paper: str = "A4",
    html: bool = False,
    progress: Callable[[str], None] | None = None,
    points: Sequence[FrontierPoint] = (),
) -> tuple[tuple[Path, ...], tuple[Fault, ...]]:
    """Write the folder; return its files, and what could not be drawn, which plan.json names as well.

    Everything is made before the first file is replaced. ``html`` adds the page for the tablet; one that
    lies there already is made anew, never left stale. ``points``: what the last sets cost, for the workbook
    and a sheet of its own.

    Raises BadInput where the folder cannot be written.
    """
    say = progress or (lambda _: None)
    made, faults = _paper(fleet, plan, printed_at=printed_at, paper=paper, say=say)
    for name, wanted, make in (
        (PAGE_FILE, html or (folder / PAGE_FILE).exists(), partial(_page, fleet, plan, printed_at, say)),
        ("last_sets.pdf", bool(points), partial(_last_sets, fleet, plan, printed_at, paper, points)),
        (BOOK_FILE, True, partial(_workbook, fleet, plan, printed_at, paper, points, say)),
    ):
        if wanted:
            files, failed = _made(name, make)
            made |= files
            faults += failed
    files = {PLAN_FILE: plan_text(plan, faults).encode()} | made
    return put_folder(folder, files, others=_FILES, last=PLAN_FILE), faults


_Made = tuple[dict[str, bytes], tuple[Fault, ...]]


def _made(name: str, make: Callable[[], _Made]) -> _Made:
    """Return the content of the files, and what is missing in them or keeps them from being written."""
    made, failed = all_but_faulty([name], lambda _: make(), what="file", name=str)
    files, missing = made or ({}, ())
    return files, (*failed, *missing)


def _workbook(
    fleet: Fleet,
    plan: Plan,
    printed_at: datetime,
    paper: str,
    points: Sequence[FrontierPoint],
    say: Callable[[str], None],
) -> _Made:
    from planner.bench.parts import against_stock, bindings_in_stock, needs
    from planner.bench.weeks.jobs import proposed_orders

    say("writing plan.xlsx")
    reserve = fleet.policy.number("parts_reserve_percent")
    wanted = needs(fleet, proposed_orders(fleet, plan))
    lines = against_stock(wanted, bindings_in_stock(fleet), reserve_percent=reserve)
    more = (*((last_sets(points),) if points else ()), every_part(lines))
    return {BOOK_FILE: plan_workbook(fleet, plan, printed_at=printed_at, paper=paper, more=more)}, ()


def _last_sets(
    fleet: Fleet, plan: Plan, printed_at: datetime, paper: str, points: Sequence[FrontierPoint]
) -> _Made:
    from planner.paper.chart import FILE, PICTURE, last_sets_pdf, last_sets_svg

    pdf = last_sets_pdf(fleet, points, printed_at=printed_at, plan_hash=plan_hash(plan), paper=paper)
    return {FILE: pdf, PICTURE: last_sets_svg(points).encode()}, ()


def _page(fleet: Fleet, plan: Plan, printed_at: datetime, say: Callable[[str], None]) -> _Made:
    from planner.paper.tablet_page.page import plan_page

    html, faults = plan_page(fleet, plan, printed_at=printed_at, progress=say)
    return {PAGE_FILE: html.encode()}, faults


def refuse_no_folder(folder: Path) -> None:
    """Raise BadInput where the place is no folder, before an hour is spent on a plan."""
    with or_bad_input(f"{folder} cannot be used:", cure=_ELSEWHERE, of=OSError):
        taken = folder.exists() and not folder.is_dir()
    if taken:
        raise BadInput(f"{folder} is there already, and is no folder", cure=_ELSEWHERE)


def put_folder(
    folder: Path, contents: Mapping[str, bytes], *, others: Sequence[str], last: str
) -> tuple[Path, ...]:
    """Write all files beside, flushed to the disk; then rename a new folder, or move the files in.

    What an earlier plan left under the ``others`` of these names is taken away: half of its paper beside
    half of this one would be read as one plan. ``last``: the file that comes last. Raises BadInput where the
    folder cannot be written.
    """
    beside: Path | None = None
    try:
        place = folder.resolve()
        there = place.is_dir()
        if not there:
            place.parent.mkdir(parents=True, exist_ok=True)
        beside = unfinished_beside(place / last if there else place)
        beside.mkdir()
        for name, content in contents.items():
            (beside / name).write_bytes(content)
            sync_file(beside / name)
        if there:
            for name in sorted(contents, key=lambda name: name == last):
                (beside / name).replace(place / name)
            for name in set(others) - set(contents):
                (place / name).unlink(missing_ok=True)
        else:
            beside.rename(place)
    except OSError as fault:
        raise BadInput(f"{folder} cannot be written: {fault.strerror or fault}", cure=_ELSEWHERE) from fault
    finally:
        if beside is not None:
            rmtree(beside, ignore_errors=True)
    return tuple(folder / name for name in contents)


def _paper(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime,
    paper: str,
    say: Callable[[str], None],
) -> tuple[dict[str, bytes], tuple[Fault, ...]]:
    """Return PDF bytes by file name, and the sheets and rows that could not be drawn.

    A plan of which nothing is touched has no work orders.
    """
    from planner.paper.prep_checklist import prep_pdf
    from planner.paper.work_order import work_order_pdf
    from planner.paper.work_order_facts import work_order_sheet

    said = plan_hash(plan)

    def orders(sets: Sequence[PlannedSet]) -> bytes:
        sheets = [
            work_order_sheet(
                fleet, planned, number=None, revision=None, proposal=True, plan_hash=said,
                printed_at=printed_at, needed_by=plan.ready_by,
            )
            for planned in sets
        ]  # fmt: skip
        return work_order_pdf(sheets, paper)

    def checklist(sets: Sequence[PlannedSet]) -> bytes:
        return prep_pdf(
            fleet, sets, printed_at=printed_at, plan_hash=said, proposal=True, paper=paper,
            standing="" if plan.status == "proved best" else result_of(plan),
        )  # fmt: skip

    files: dict[str, bytes] = {}
    faults: list[Fault] = []
    for file, what, sets, make in (
        ("work_orders.pdf", "work order", plan.touched, orders),
        ("season_prep.pdf", "season prep row", plan.sets, checklist),
    ):
        if not sets:
            continue
        say(f"drawing {file}: {len(sets)} pairs")
        made, failed = all_but_faulty(sets, make, what=what, name=lambda planned: planned.pair)
        faults += failed
        if made is not None:
            files[file] = made
    return files, tuple(faults)


_HEAD: Final = 40.0
_ROW: Final = 13.0
_SIGN: Final = 16.0
_BOX: Final = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PickRow:
    """A thing on the list: its tag as large as can be, where it stands, what it is, and what it is for."""

    name: str
    rack: str
    what: str
    serves: str


def pick_rows(
    fleets: Mapping[str, Fleet], moves: Sequence[ChainMove], plans: Mapping[str, Plan], run: VanRun
) -> tuple[PickRow, ...]:
    """The things that a run takes along: pairs by rack, then boots, then bindings by sort.

    ``plans``: by shop, of what each thing serves there; none of a shop that things only go home to.
    """
    sender = fleets[run.leaves]
    sets = plans[run.reaches].sets if run.reaches in plans else ()
    mine = [move for move in moves if move.run == run.name]
    rows = [_pair_row(sender, sets, m.names[0]) for m in mine if m.thing is VanThing.PAIR]
    rows.sort(key=lambda row: (tag_order(row.rack), tag_order(row.name)))
    boots = sorted((m.names[0] for m in mine if m.thing is VanThing.BOOT), key=tag_order)
    rows += [_boot_row(sender, sets, name) for name in boots]
    kits = [_kit_row(sender, m.names, fleets[run.reaches].shop) for m in mine if m.thing is VanThing.BINDINGS]
    rows += sorted(kits, key=lambda row: (tag_order(row.what), tag_order(row.name)))
    return tuple(row if row.serves else replace(row, serves=f"home to {run.reaches}") for row in rows)


def _kit_row(sender: Fleet, names: Sequence[str], there: str) -> PickRow:
    """The two by their names here and there: a recall asks for them by number."""
    said = [sender.bindings[name] for name in names]
    first = said[0]
    called = [id_there(name, sender.shop, there) for name in names]
    serials = [n for b in said for n in (b.serial_toe, b.serial_heel) if n]
    return PickRow(
        name=names[0],
        rack="from the stock",
        what=f"{first.model}, pattern {first.pattern}, {planned_brake_text(first.brake_to_plan)}",
        serves="; ".join((f"with {names[-1]}", *serials, f"there called {' and '.join(called)}")),
    )


def _pair_row(sender: Fleet, sets: Sequence[PlannedSet], tag: str) -> PickRow:
    pair = sender.pairs[tag]
    on = sender.bindings_on(tag).get(Side.A)
    what = f"{pair.model}, {pair.length_mm / 10:g} cm, {on.model if on else 'flat, no binding on'}"
    serves = [f"for boots {s.boot}, {s.wish}" for s in sets if s.pair == tag]
    serves += [f"its binding for {s.pair}" for s in sets if s.binding_from == tag]
    return PickRow(name=tag, rack=pair.rack, what=what, serves="; ".join(serves))


def _boot_row(sender: Fleet, sets: Sequence[PlannedSet], tag: str) -> PickRow:
    boot = sender.boots[tag]
    size = "size not known" if boot.mondopoint_mm is None else f"size {boot.mondopoint_mm / 10:g}"
    serves = [f"on pair {s.pair}, {s.wish}" for s in sets if s.boot == tag]
    what = f"{boot.model}, {size}, sole {boot.sole_words}"
    return PickRow(name=tag, rack="boots", what=what, serves="; ".join(serves))


def pick_pdf(
    fleets: Mapping[str, Fleet],
    chain: Chain,
    moves: Sequence[ChainMove],
    plans: Mapping[str, Plan],
    *,
    printed_at: datetime,
    paper: str = "A4",
) -> bytes:
    """The lists of all runs that take anything along, each on pages of its own."""
    pages: list[Page] = []
    for run in chain.runs:
        rows = pick_rows(fleets, moves, plans, run)
        if rows:
            load = load_text(loads(chain, moves)[run.name])
            anchors = anchors_of(fleets[run.leaves], f"pick list {run.name}", printed_at=printed_at)
            pages += _pages(run, rows, load, anchors, paper)
    return pdf_of(pages, title="Pick lists")


def _pages(run: VanRun, rows: Sequence[PickRow], load: str, anchors: Anchors, paper: str) -> Iterator[Page]:
    probe = framed(paper_named(paper), anchors, [standing_cautions()], proposal=True)
    each = max(1, int((probe.bottom - _SIGN - probe.top - _HEAD) / _ROW))
    parts = [rows[start : start + each] for start in range(0, len(rows), each)]
    for number, part in enumerate(parts, start=1):
        sheet = framed(paper_named(paper), anchors, [standing_cautions()], number, len(parts), proposal=True)
        _head(sheet, run, load)
        for index, row in enumerate(part):
            _row(sheet, row, sheet.top + _HEAD + index * _ROW, banded=index % 2 == 0)
        cells = ((f"loaded in {run.leaves}: name, day", 0.5), (f"taken in at {run.reaches}: name, day", 0.5))
        signature_row(sheet, _SIGN - 2.0, cells)
        yield sheet.page(sheet.width, sheet.height)


def _head(sheet: FramedSheet, run: VanRun, load: str) -> None:
    y = sheet.top
    title = shortened(f"{run.leaves} to {run.reaches}", Face.BOLD, TITLE, sheet.room - 30)
    sheet.words(sheet.right, y + 8.2, day_text(date.fromisoformat(run.day)), size=READ, anchor=Anchor.END)
    sheet.line(sheet.left, y + 23.0, sheet.right, y + 23.0, stroke=INK, width=0.9)
    rule = "What is on hold, out, at the bench or not found stays here: type --but TAG for each."
    typed = f'it leaves: mountbook chain send FOLDER --run "{run.name}"; it comes: the same with receive'
    typed = shortened(typed, Face.MONO, LABEL, sheet.room)
    stacked(
        sheet,
        sheet.left,
        y,
        (
            (8.2, "Pick list", TITLE + 6, Face.BOLD, INK),
            (15.0, title, TITLE, Face.BOLD, INK),
            (20.5, load, READ, Face.SANS, INK),
            (27.6, rule, READ - 1.5, Face.BOLD, INK),
            (31.6, typed, LABEL, Face.MONO, INK),
        ),
    )
    for x, text, anchor in (
        (sheet.left, "loaded", Anchor.START),
        (sheet.left + 14, "tag, and where it stands", Anchor.START),
        (sheet.left + 70, "what it is, and what it is for", Anchor.START),
        (sheet.right, "taken in", Anchor.END),
    ):
        sheet.words(x, y + _HEAD - 2.0, text, size=LABEL, fill=SOFT, anchor=anchor)


def _row(sheet: FramedSheet, row: PickRow, y: float, *, banded: bool) -> None:
    if banded:
        sheet.box(sheet.left, y, sheet.room, _ROW, fill=ICE)
    for x in (sheet.left + 2, sheet.right - 2 - _BOX):
        sheet.box(x, y + (_ROW - _BOX) / 2, _BOX, _BOX, fill=WHITE, stroke=RULE, width=0.5)
    tag_words(sheet, sheet.left + 14, y + 7.6, row.name, size=TITLE, room=40)
    if row.rack:
        rack = shortened(row.rack, Face.SANS, LABEL + 1, 50)
        sheet.words(sheet.left + 14, y + 11.4, rack, size=LABEL + 1, fill=SOFT)
    room = sheet.room - 70 - _BOX - 6
    sheet.words(sheet.left + 70, y + 5.2, shortened(row.what, Face.SANS, READ, room), size=READ)
    fitted(
        sheet,
        sheet.left + 70,
        y + 10.4,
        row.serves,
        size=READ - 1.5,
        room=room,
        least=SMALL,
        fill=SOFT,
        cut=True,
    )


PICK_FILE: Final = "pick_lists.pdf"
CHAIN_BOOK: Final = "chain.xlsx"
_BANNER: Final = "A proposal: no ledger has an entry of it. What moves is sent and taken in by hand."


def write_chain(
    folder: Path,
    *,
    fleets: Mapping[str, Fleet],
    chain: Chain,
    plan: ChainPlan,
    printed_at: datetime,
    progress: Callable[[str], None] | None = None,
) -> tuple[tuple[Path, ...], tuple[Fault, ...]]:
    """Write it; return the files, and what could not be drawn. Raises BadInput where that place cannot be
    written. chain.json comes last, and a pick list of an earlier plan does not stay.
    """
    files: list[Path] = []
    faults: list[Fault] = []
    for name, fleet in after_moves(fleets, chain, plan.moves).items():
        if progress:
            progress(f"the sheets of {name}")
        made, failed = write_plan(folder / name, fleet=fleet, plan=plan.plans[name], printed_at=printed_at)
        files += made
        faults += failed
    own: dict[str, bytes] = {}
    if plan.moves:
        own[PICK_FILE] = pick_pdf(fleets, chain, plan.moves, plan.plans, printed_at=printed_at)
    own[CHAIN_BOOK] = tables_workbook(
        tuple(_tables(fleets, chain, plan)),
        fleet=next(iter(fleets.values())),
        title="Chain, a proposal",
        banner=_BANNER,
        made=printed_at,
    )
    own[CHAIN_FILE] = chain_plan_text(chain, plan).encode()
    return (*files, *put_folder(folder, own, others=(PICK_FILE,), last=CHAIN_FILE)), tuple(faults)


def write_way_home(
    folder: Path,
    *,
    fleets: Mapping[str, Fleet],
    chain: Chain,
    moves: tuple[ChainMove, ...],
    stays: tuple[tuple[str, str, str], ...],
    printed_at: datetime,
) -> tuple[Path, ...]:
    """Write the pick lists of what goes home, and chain.json, by which it is sent and taken in.

    Raises BadInput where that place cannot be written.
    """
    files = {} if not moves else {PICK_FILE: pick_pdf(fleets, chain, moves, {}, printed_at=printed_at)}
    files[CHAIN_FILE] = way_home_text(chain, moves, stays, utc_text(printed_at)).encode()
    return put_folder(folder, files, others=(PICK_FILE,), last=CHAIN_FILE)


def _money(cents: int | None) -> float | None:
    return None if cents is None else cents / 100


def _tables(fleets: Mapping[str, Fleet], chain: Chain, plan: ChainPlan) -> Iterator[WorkbookTable]:
    paid = chain.paid_cents(plan.moves)
    yield WorkbookTable(
        name="Shops",
        title="What each shop serves once everything has moved",
        columns=(
            Column("shop", 20),
            Column("sets wanted", total=True),
            Column("sets served", total=True),
            Column("holes to drill", total=True),
            Column("bench minutes", total=True),
            Column("budget, money"),
            Column("parts, money"),
            Column("what comes, money"),
            Column("the shop's own plan", 34),
        ),
        rows=tuple(
            (
                shop.name,
                t.wanted,
                t.served,
                t.drilled,
                t.minutes,
                _money(shop.budget_cents),
                _money(t.parts_cents),
                _money(paid[shop.name]),
                f"{shop.name}/plan.xlsx",
            )
            for shop in chain.shops
            for t in (plan.plans[shop.name].totals,)
        ),
    )
    load = loads(chain, plan.moves)
    yield WorkbookTable(
        name="Vans",
        title="The runs, and what each takes along",
        columns=(
            Column("run", 30),
            Column("day"),
            Column("from", 20),
            Column("to", 20),
            Column("takes along", 60),
            Column("minutes", total=True),
            Column("price, money", total=True),
        ),
        rows=tuple(
            (
                run.name,
                stored_day_text(run.day),
                run.leaves,
                run.reaches,
                load_text(load[run.name]),
                run.minutes * sum(load[run.name].values()),
                run.price_cents * sum(load[run.name].values()) / 100,
            )
            for run in chain.runs
        ),
    )
    yield WorkbookTable(
        name="Pick lists",
        title="What is loaded, run by run",
        columns=(
            Column("run", 30),
            Column("tag", 18),
            Column("stands", 18),
            Column("what it is", 60),
            Column("what it is for", 40),
        ),
        rows=tuple(
            (run.name, row.name, row.rack, row.what, row.serves)
            for run in chain.runs
            for row in pick_rows(fleets, plan.moves, plan.plans, run)
        ),
    )
    yield WorkbookTable(
        name="Stays",
        title="What no van takes, and why",
        columns=(Column("shop", 20), Column("tag", 18), Column("why it stays", 80)),
        rows=plan.stays,
    )
