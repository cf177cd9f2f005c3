"""The plan of a chain on disk: each shop's plan in a folder of its name, the vans' pick lists, chain.json."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Final

from fleet.base.days import stored_day_text
from fleet.base.entries import utc_text
from fleet.tables.snapshot import Fleet
from planner.paper.pick_list import pick_pdf, pick_rows
from planner.paper.plan_folder import put_folder, write_plan
from planner.paper.workbook_out import tables_workbook
from planner.paper.workbook_tables import Column, WorkbookTable
from planner.plan.after_moves import after_moves
from planner.plan.chain import Chain, ChainMove, ChainPlan, load_text, loads
from planner.plan.chain_file import CHAIN_FILE, chain_plan_text, way_home_text
from planner.plan.fault_isolation import Fault

PICK_FILE: Final = "pick_lists.pdf"
BOOK_FILE: Final = "chain.xlsx"
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
    own[BOOK_FILE] = tables_workbook(
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
