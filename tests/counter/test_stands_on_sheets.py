"""What stands by ski and piece is printed where the skis or pieces differ: order, adjust list, prep, recheck.

Read back with PyMuPDF.
"""

from __future__ import annotations

import json
from dataclasses import replace

import pymupdf
import pytest

from fleet.facts.holes import Mount, PieceSlide
from fleet.facts.standing import setting_from
from fleet.rules.recheck import recheck_list
from fleet.tables.snapshot import Fleet, read_fleet
from planner.paper.issued_sheets import orders_pdf
from planner.paper.prep_checklist import prep_pair_pdf, prep_pdf
from planner.paper.recheck_list import recheck_pdf
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.values import PlannedSet, Rung
from tests.counter.shop import Shop
from tests.paper.invented_shop import CASES, PRINTED_AT

DIFFER = {
    "ski B not known": ({"A": {"": 305}}, "A 305 mm, B not known"),
    "two soles": ({"A": {"": 305}, "B": {"": 310.5}}, "A 305 mm, B 310.5 mm"),
    "toe and heel": (
        {"A": {"toe": 305, "heel": 310}, "B": {"toe": 305, "heel": 305}},
        "A toe 305 mm and heel 310 mm, B 305 mm",
    ),
    "all four": (
        {"A": {"toe": 305, "heel": 310}, "B": {"toe": 299.5, "heel": 300}},
        "A toe 305 mm and heel 310 mm, B toe 299.5 mm and heel 300 mm",
    ),
    "alike": ({"A": {"": 305}, "B": {"": 305}}, ""),
    "nothing known": ({}, ""),
}


def stands(said: dict[str, dict[str, float]]) -> str:
    return setting_from(
        json.dumps(
            {
                side: {
                    piece: {"sole_um": round(sole * 1000), "entry": 9, "at": "", "by": "", "how": ""}
                    for piece, sole in pieces.items()
                }
                for side, pieces in said.items()
            }
        )
    ).where_they_differ


@pytest.mark.parametrize("name", DIFFER)
def test_the_words_are_there_only_where_they_differ(name: str) -> None:
    said, words = DIFFER[name]
    assert stands(said) == words


def words_of(pdf: bytes) -> str:
    with pymupdf.open(stream=pdf) as pages:
        return " ".join(" ".join(page.get_text() for page in pages).split())


def case(words: str, rung: Rung) -> tuple[Fleet, PlannedSet]:
    """A pair on which nothing comes off, whose binding stands so."""
    fleet, planned = CASES["part reused"]()
    pair = fleet.pair(planned.pair)
    at = (PieceSlide(piece="heel", reference_um=0, slide_um=0),)
    mount = Mount(
        pattern="T4/H4", bsl_um=317_000, offset_um=0, mounted_on="2024-11-02", slides=at, set_words=words
    )
    pair = replace(pair, mounts=(mount,), rack="Cellar, wall 12, upper row")
    return (
        replace(fleet, pairs={pair.tag: pair}),
        replace(planned, way=replace(planned.way, rung=rung)),
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", DIFFER)
def test_every_sheet_of_a_set_says_what_stands(name: str, paper: str) -> None:
    words = DIFFER[name][1]
    line = f"set for sole: {words}"
    fleet, planned = case(words, Rung.ADJUST)
    order = work_order_sheet(
        fleet, planned, number=None, revision=None, proposal=True, plan_hash="", printed_at=PRINTED_AT
    )
    tag = planned.pair
    sheets = {
        "order": work_order_pdf([order], paper),
        "adjust list": orders_pdf([order], paper),
        "prep list": prep_pdf(fleet, [planned], printed_at=PRINTED_AT, paper=paper),
        "prep pair": prep_pair_pdf(fleet, [tag], printed_at=PRINTED_AT, paper=paper),
    }
    for sheet, pdf in sheets.items():
        assert ((line if words else "set for sole") in words_of(pdf)) is bool(words), sheet


def test_an_order_that_takes_the_binding_off_does_not_say_it() -> None:
    fleet, planned = case("A 305 mm, B not known", Rung.PART_REUSED)
    order = work_order_sheet(
        fleet, planned, number=None, revision=None, proposal=True, plan_hash="", printed_at=PRINTED_AT
    )
    assert "set for sole" not in words_of(work_order_pdf([order], "A4"))


def test_the_prep_list_says_a_rack_whole() -> None:
    fleet, planned = case("", Rung.AS_IS)
    assert "Cellar, wall 12, upper row" in words_of(prep_pdf(fleet, [planned], printed_at=PRINTED_AT))


def test_the_ledger_says_it_to_the_sheets(shop: Shop) -> None:
    """A survey of ski B bare: what A stands at is known, B's is not; the recheck list has the room for it."""
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    area = {"side": "B", "from_um": -300_000, "to_um": 300_000, "how": "bare", "on": "2026-12-27"}
    shop.enter("area inspected", {"tag": "P-1"} | area)
    fleet = read_fleet(shop.ledger.connection)
    assert fleet.pair("P-1").stands_at == "set for sole: A 305 mm, B not known"
    assert fleet.pair("P-2").stands_at == ""
    listed = recheck_list(shop.ledger.connection, today=shop.now.date())
    pdf = recheck_pdf(listed, head=listed.head, shop="x", printed_at=shop.now)
    assert "set for sole: ski A 305 mm, ski B not known" in words_of(pdf)
