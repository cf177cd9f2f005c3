"""The sheets as PDF, read back by a library that did not write them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from functools import cache
from io import BytesIO

import pytest
from pypdf import PdfReader

from fleet.base.entries import Head
from fleet.base.errors import BadInput
from fleet.facts.holes import Side
from fleet.rules.recheck import Group, RecheckList, RecheckRow, ScrewDot
from planner.paper.cautions import CLAIM
from planner.paper.prep_checklist import prep_pdf
from planner.paper.recheck_list import recheck_pdf
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import WorkOrderSheet, work_order_sheet
from tests.paper.invented_shop import CASES, PRINTED_AT

PAPERS = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}


def make_orders(*names: str, proposal: bool = False) -> list[WorkOrderSheet]:
    return [
        work_order_sheet(
            *CASES[name](),
            number=None if proposal else f"WO-2611-{n:04d}",
            revision=None if proposal else "A",
            proposal=proposal,
            plan_hash="9f3ca1e7",
            printed_at=PRINTED_AT,
        )
        for n, name in enumerate(names, start=417)
    ]


def listed(count: int) -> RecheckList:
    dots = tuple(
        ScrewDot(piece=piece, x_um=x, y_um=y)
        for piece, xs in (("toe", (142_500, 107_500)), ("heel", (-97_500, -137_500)))
        for x in xs
        for y in (-18_000, 18_000)
    )
    rows = tuple(
        RecheckRow(
            tag=f"K4-{n:04d}", model="Quern Ridge 93", kind="touring", length_mm=1780, rack="C-12",
            group=Group.CHECK_FIRST if n < 2 else Group.ROUTINE, reasons=("back today",),
            marked=frozenset({(Side.B, "heel")} if n == 0 else ()),
            screws=dict.fromkeys(Side, dots), pattern="T4/H4", returned_at="", seconds=75,
        )
        for n in range(count)
    )  # fmt: skip
    return RecheckList(
        list_id="RC-20261125-1", day=date(2026, 11, 25), head=Head(1284, "ab12cd34" * 8),
        zone="Europe/Vienna", rows=rows,
    )  # fmt: skip


def make_every_sheet(paper: str) -> dict[str, bytes]:
    """Every kind of sheet on one paper, as bytes by name."""
    fleet, planned = CASES["part reused"]()
    recheck = listed(30)
    return {
        "work orders": work_order_pdf(make_orders(*CASES), paper),
        "proposals": work_order_pdf(make_orders(*CASES, proposal=True), paper),
        "season prep": prep_pdf(fleet, [planned] * 20, printed_at=PRINTED_AT, paper=paper),
        "recheck": recheck_pdf(
            recheck, head=recheck.head, shop="Valserkopf Hire", printed_at=PRINTED_AT, paper=paper
        ),
    }


every_sheet = cache(make_every_sheet)


@cache
def texts(paper: str, name: str) -> tuple[str, ...]:
    return tuple(" ".join(page.extract_text().split()) for page in pages(every_sheet(paper)[name]))


def pages(data: bytes):
    return PdfReader(BytesIO(data)).pages


@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_has_the_size_of_its_paper_and_says_what_every_sheet_says(paper):
    for name, data in every_sheet(paper).items():
        for number, (page, text) in enumerate(zip(pages(data), texts(paper, name), strict=True), start=1):
            size = (float(page.mediabox.width), float(page.mediabox.height))
            assert size == pytest.approx(PAPERS[paper], abs=0.02), name
            for words in (
                CLAIM,
                "1284:ab12cd34",
                "printed Wed 25 Nov 2026, 17:50",
                "VALID UNTIL something new is entered" if name == "work orders" else "STALE AFTER",
                "qualified technician",
            ):
                assert words in text, (name, number)


def test_pages_are_counted_within_their_sheet():
    ends = [re.search(r"page (\d of \d)", text)[1] for text in texts("A4", "work orders")]
    assert ends == ["1 of 2", "2 of 2", "1 of 2", "2 of 2", "1 of 2", "2 of 2", "1 of 1"], (
        "skis that differ have a page each, and so have holes and steps whose boxes need the room"
    )


def test_a_plan_not_issued_says_proposal_on_every_page_and_an_order_never():
    assert all("PROPOSAL" in text for text in texts("A4", "proposals"))
    assert not any("PROPOSAL" in text for text in texts("A4", "work orders"))


def test_print_scaling_is_off_and_all_type_is_embedded():
    for name, data in every_sheet("A4").items():
        reader = PdfReader(BytesIO(data))
        assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None", name
        for page in reader.pages:
            for font in page["/Resources"]["/Font"].values():
                described = font.get_object()
                if described["/BaseFont"] == "/Helvetica":  # declared by the library, never used
                    continue
                assert "/FontFile2" in described["/FontDescriptor"], (name, described["/BaseFont"])


def test_the_same_sheets_give_the_same_bytes():
    assert make_every_sheet("A4") == every_sheet("A4")


def test_not_one_page_of_a_work_order_with_a_picture_lacks_the_warning_not_to_measure():
    drawn = [text for text in texts("A4", "work orders") if "along the ski, from the mark, mm" in text]
    assert len(drawn) == 5
    assert all("NOT TO SCALE" in text for text in drawn)


def test_a_page_without_the_steps_says_where_they_are():
    for text in texts("Letter", "work orders"):
        assert ("next page" in text) is not ("Steps: read, do" in text)


def test_a_character_the_type_lacks_is_printed_as_its_code():
    (order,) = make_orders("part reused")
    strange = replace(order, pair=replace(order.pair, model="Ridge 雪스"))
    assert "Ridge 雪[U+C2A4]" in pages(work_order_pdf([strange]))[0].extract_text()


def test_accents_greek_and_cyrillic_print():
    (order,) = make_orders("part reused")
    strange = replace(order, pair=replace(order.pair, model="Žďár Όρος Гора Ø"))
    assert "Žďár Όρος Гора Ø" in pages(work_order_pdf([strange]))[0].extract_text()


def test_every_pair_is_on_the_recheck_list_once_and_an_empty_evening_is_one_page():
    text = " ".join(texts("A4", "recheck"))
    assert all(text.count(row.tag) == 1 for row in listed(30).rows)
    empty = listed(0)
    found = pages(recheck_pdf(empty, head=empty.head, shop="Shop", printed_at=PRINTED_AT))
    assert len(found) == 1
    assert "Nothing came back" in found[0].extract_text()


def test_no_sheets_at_all_is_a_sentence():
    with pytest.raises(BadInput, match="no work order to print"):
        work_order_pdf([])
