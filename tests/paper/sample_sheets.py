"""The sample fleet's plan with its work orders as text: what a person at the bench has in the hand.

Two ledgers: the one imported, which nowhere says how far a piece is slid, and the same shop after a season of
its own, where every mount says it.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from itertools import chain, cycle

import pymupdf

from fleet.base.entries import utc_text
from fleet.facts.holes import Mount, PieceSlide
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from planner.demo import moments
from planner.paper.sheet_frame import Paper, pdf_of
from planner.paper.work_order import work_order_pages
from planner.paper.work_order_facts import WorkOrderSheet, work_order_sheet
from planner.plan.values import Plan, Rung
from planner.planning.assign.plan import plan_fleet
from tests.bench.plan_fleets import sample_fleet
from tests.once import once

LEDGERS = ("imported", "recorded")
_SLID_UM = (1_500, 0, -2_000, 300)


@cache
def sample(ledger: str) -> tuple[Fleet, Plan]:
    """The fleet and its best plan."""
    return once(f"sample_{ledger}", lambda: _sample(ledger))


def _sample(ledger: str) -> tuple[Fleet, Plan]:
    fleet = sample_fleet()
    if ledger == "recorded":
        slid = cycle(_SLID_UM)
        fleet = replace(
            fleet,
            pairs={
                tag: replace(
                    pair,
                    mounts=tuple(
                        m if m.removed_on else _recorded(m, fleet.patterns[m.pattern], next(slid))
                        for m in pair.mounts
                    ),
                )
                for tag, pair in fleet.pairs.items()
            },
        )
    judged = ledger == "recorded"  # the demo's own tests judge the other
    made_at = utc_text(moments.PLAN)
    return fleet, plan_fleet(fleet, made_at=made_at, ready_by=None, minutes_limit=None, judged=judged)


def _recorded(mount: Mount, pattern: Pattern, slid_um: int) -> Mount:
    """The mount with every piece where its holes are, and slid by that much where all of them travel."""
    room = min(min(piece.travel_back_um, piece.travel_forward_um) for piece in pattern.pieces)
    slide = slid_um if abs(slid_um) <= room else 0
    return replace(
        mount,
        offset_um=mount.offset_um + slide,
        still_set=True,
        set_again=False,
        slides=tuple(
            PieceSlide(
                piece=piece.name.value,
                reference_um=piece.follows.reference_um(mount.offset_um, mount.bsl_um),
                slide_um=slide,
            )
            for piece in pattern.pieces
        ),
    )


@cache
def sheets(ledger: str) -> tuple[WorkOrderSheet, ...]:
    """One for each set of the plan that needs the bench."""
    fleet, plan = sample(ledger)
    return tuple(
        work_order_sheet(
            fleet, planned, number=f"WO-2510-{number:04d}", revision="A", proposal=False,
            plan_hash="0" * 8, printed_at=moments.ISSUE,
        )
        for number, planned in enumerate(plan.sets, start=1)
        if planned.way.rung is not Rung.AS_IS
    )  # fmt: skip


@cache
def order_lines(ledger: str) -> dict[str, tuple[tuple[str, ...], ...]]:
    """By pair: the lines of its order for each ski, or for both, read back out of the PDF."""
    return once(f"order_lines_{ledger}", lambda: _order_lines(ledger))


def _order_lines(ledger: str) -> dict[str, tuple[tuple[str, ...], ...]]:
    drawn = {sheet.pair.tag: list(work_order_pages(sheet, Paper.A4)) for sheet in sheets(ledger)}
    pages = iter(pymupdf.open(stream=pdf_of(chain.from_iterable(drawn.values()), title="Work orders")))
    return {
        sheet.pair.tag: tuple(
            tuple(
                _unnumbered(line)
                for _ in range(len(drawn[sheet.pair.tag]) // len(sheet.skis))
                for line in next(pages).get_text().splitlines()
            )
            for _ in sheet.skis
        )
        for sheet in sheets(ledger)
    }


def _unnumbered(line: str) -> str:
    """A step without the number in front of it, which stands on the same line."""
    return re.sub(r"^[1-9]\d? (?=\w)", "", line)
