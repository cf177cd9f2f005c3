"""Every sheet on the skis that need most: nothing off the page, no text on another, nothing tiny.

20 holes a ski, marks that differ, tags of 15 and of 64 characters, nine pages of a list, on both papers.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations

import pymupdf
import pytest

from fleet.facts.fault_causes import ROADS, Road
from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, Side
from fleet.facts.pairs import Pair
from fleet.facts.standing import setting_from
from fleet.tables.snapshot import Fleet
from planner.paper.case_paper import CaseBlock, CaseSection, CaseSheet, case_sheet_pdf, hole_map_pdf
from planner.paper.issued_sheets import orders_pdf
from planner.paper.labels import HoldTag, fleet_labels, hold_tag_pdf, labels_pdf, sheet_layout
from planner.paper.prep_checklist import prep_pair_pdf, prep_pdf
from planner.paper.prep_shop import prep_shop_pdf
from planner.paper.printer_sheet import printer_sheet_pdf
from planner.paper.recheck_list import recheck_pdf
from planner.paper.shapes import Box, Disc, Words
from planner.paper.sheet_frame import anchors_of, paper_named
from planner.paper.survey_sheet import survey_sheet_pdf
from planner.paper.template import template_job, template_pdf
from planner.paper.work_order import work_order_pages, work_order_pdf
from planner.paper.work_order_facts import WorkOrderSheet, work_order_sheet
from planner.plan.values import PlannedSet, Rung, Way
from tests.once import once
from tests.paper.invented_shop import CASES, PRINTED_AT, fleet_of
from tests.paper.sample_sheets import sheets
from tests.paper.test_labels_and_codes import SHEET
from tests.paper.test_sheets_as_pdf import listed

MM = 72 / 25.4
HAIR = 0.35 * MM
LEAST = 7.0
"""Points: smaller is guessed at the bench, not read (common practice, no source)."""
TAGS = ("KARVENTAL-00417", "KARVENTAL-SOUTH-STATION-2026-ADULT-ALPINE-WIDE-178-CM-PAIR-00417")
MODEL = "An invented ski with a name much longer than any head of a sheet has room for, in 2026"
SHOP = "An invented shop of three sisters, at the upper end of the old road to the pass of the seven winds"
TOLD = {
    "number": "WO-2611-0417",
    "revision": "A",
    "proposal": False,
    "plan_hash": "9f3c",
    "printed_at": PRINTED_AT,
}


def more_holes(pair: Pair, side: Side) -> tuple[Hole, ...]:
    """The ski's holes and old ones of an earlier mount, 20 in all."""
    there = pair.skis[side].holes
    more = (
        Hole(
            hole_id=f"{pair.tag}/{side}{n}",
            x_um=175_000 - 36_000 * ((n - len(there)) // 2),
            y_um=(-1) ** n * 13_500,
            diameter_um=4100,
            depth_um=9000,
            state=list(HoleState)[n % len(HoleState)],
            knowledge=Knowledge.MEASURED_BARE,
        )
        for n in range(len(there) + 1, 21)
    )
    return (*there, *more)


def renamed(way: Way, old: str, tag: str) -> Way:
    """The way with the holes of the pair under its other tag."""

    def name(hole_id: str | None) -> str | None:
        return hole_id and hole_id.replace(old, tag)

    skis = {
        side: replace(
            ski,
            plug=tuple(one.replace(old, tag) for one in ski.plug),
            holes=tuple(
                replace(h, hole_id=name(h.hole_id), nearest_id=name(h.nearest_id)) for h in ski.holes
            ),
        )
        for side, ski in way.skis.items()
    }
    return replace(way, skis=skis)


@cache
def worst(name: str, tag: str) -> tuple[Fleet, PlannedSet]:
    """An example under another tag, with 20 holes in each ski and a name that no sheet has room for."""
    fleet, planned = CASES[name]()
    pair = fleet.pairs[planned.pair]
    old = pair.tag
    skis = {
        side: replace(
            ski, holes=tuple(replace(h, hole_id=h.hole_id.replace(old, tag)) for h in more_holes(pair, side))
        )
        for side, ski in pair.skis.items()
    }
    mount = Mount(pattern="T4/H4", bsl_um=305_000, offset_um=0, mounted_on="2024-11-02", set_words=STANDS)
    pair = replace(pair, tag=tag, model=MODEL, skis=skis, rack="Cellar, wall 12", mounts=(mount,))
    return replace(fleet_of([pair]), shop=SHOP), replace(
        planned, pair=tag, way=renamed(planned.way, old, tag)
    )


STANDS_BODY = json.dumps(
    {
        side: {
            piece: {"sole_um": sole, "entry": 9, "at": "2026-11-25T16:00:00.000Z", "by": "Ida", "how": "set"}
            for piece, sole in zip(("toe", "heel"), soles, strict=True)
        }
        for side, soles in (("A", (305_000, 310_500)), ("B", (305_000, 299_500)))
    }
)
"""Four pieces, none of them at the sole of its neighbour on its own ski."""
STANDS = setting_from(STANDS_BODY).where_they_differ


def orders() -> list[WorkOrderSheet]:
    return [
        work_order_sheet(*worst(name, tag), **TOLD, needed_by="Fri 4 Dec 2026")
        for name in CASES
        for tag in TAGS
    ]


def adjustments() -> list[WorkOrderSheet]:
    found = [sheet for sheet in sheets("recorded") if sheet.rung is Rung.ADJUST][:83]
    return [
        replace(found[0], pair=replace(found[0].pair, tag=TAGS[0])),
        replace(found[1], pair=replace(found[1].pair, tag=TAGS[1])),
        *found[2:],
    ]


def case(tag: str) -> CaseSheet:
    fleet, planned = worst("lying marks", tag)
    lines = tuple(
        f"entry {n}  Wed 25 Nov 2026, 17:50  ski A: heel turned under an eighth" for n in range(120)
    )
    return CaseSheet(
        pair=fleet.pair(planned.pair), sha256="ab12cd34" * 8, head=fleet.head.full, as_of=fleet.head.seq,
        shop=fleet.shop, zone=fleet.zone, stands="locked away since entry 1201: nothing is touched",
        now=(CaseSection(title="As it stands", blocks=(CaseBlock(heading="Binding", lines=lines[:4]),)),),
        story=(CaseSection(title="What happened", blocks=(CaseBlock(heading="2026", lines=lines),)),),
    )  # fmt: skip


@cache
def sheet(kind: str, paper: str) -> bytes:
    """One kind of sheet, of the worst pairs."""
    return once(f"sheet_{kind}_{paper}", lambda: _sheet(kind, paper))


def _sheet(kind: str, paper: str) -> bytes:
    both = [worst("lying marks", tag) for tag in TAGS]
    fleet = replace(fleet_of([fleet.pair(planned.pair) for fleet, planned in both]), shop=SHOP)
    long = listed(90)
    setting = setting_from(STANDS_BODY)
    rows = [
        replace(row, tag=tag, model=MODEL, setting=setting)
        for row, tag in zip(long.rows, (*TAGS, "K-1"), strict=False)
    ]
    long = replace(long, rows=(*rows, *long.rows[3:]))
    match kind:
        case "work order":
            return work_order_pdf(orders(), paper)
        case "adjustments":
            return orders_pdf(adjustments(), paper)
        case "template":
            return template_pdf([template_job(*one, **TOLD) for one in both], paper)
        case "hole map":
            return hole_map_pdf(fleet, TAGS, printed_at=PRINTED_AT, paper=paper)
        case "survey":
            anchors = anchors_of(fleet, f"survey {TAGS[1]}", printed_at=PRINTED_AT)
            return survey_sheet_pdf(fleet.pair(TAGS[1]), anchors=anchors, paper=paper_named(paper))
        case "recheck":
            return recheck_pdf(long, head=long.head, shop=fleet.shop, printed_at=PRINTED_AT, paper=paper)
        case "prep list":
            sets = [planned for _, planned in both] * 10
            return prep_pdf(fleet, sets, printed_at=PRINTED_AT, paper=paper)
        case "prep pair":
            return prep_pair_pdf(fleet, TAGS, printed_at=PRINTED_AT, paper=paper)
        case "prep shop, boots by cell":
            return prep_shop_pdf(fleet, printed_at=PRINTED_AT, paper=paper)
        case "case":
            return case_sheet_pdf(globals()["case"](TAGS[1]), printed_at=PRINTED_AT, paper=paper)
        case "hold tag":
            tags = tuple(
                HoldTag(
                    tag=tag, model=MODEL, locked=locked, cause="heel turned on ski B, toe wobbles " * 6,
                    since="Wed 25 Nov 2026, 17:50", by="Sanne Oderbrook", head=fleet.head.full,
                    rule=ROADS[Road.SECOND],
                )
                for tag in TAGS
                for locked in (False, True)
            )  # fmt: skip
            return hold_tag_pdf(tags, zone=fleet.zone, printed_at=PRINTED_AT)
        case "labels":
            return labels_pdf(
                fleet_labels(both[0][0]), sheet_layout(paper, **SHEET | {"rows": 6}), head=fleet.head.full
            )
        case _:
            return printer_sheet_pdf(
                shop=fleet.shop, printed_at="Wed 25 Nov 2026, 17:50", head=fleet.head.full, paper=paper
            )


FRAMED = (
    "work order", "adjustments", "template", "hole map", "survey", "recheck", "prep list", "prep pair",
    "prep shop, boots by cell", "case",
)  # fmt: skip
BARE = ("hold tag", "labels", "printer")
"""Stuck on, hung on or thrown away: they have a form of their own, and the head all the same."""


@cache
def pages(kind: str, paper: str) -> pymupdf.Document:
    return pymupdf.open(stream=sheet(kind, paper))


@dataclass(frozen=True)
class Ink:
    """One run of text and the box of its capitals."""

    text: str
    size: float
    box: pymupdf.Rect


def inks(page: pymupdf.Page) -> Iterator[Ink]:
    for block in page.get_text("dict", flags=pymupdf.TEXT_PRESERVE_WHITESPACE)["blocks"]:
        for line in block.get("lines", ()):
            for span in line["spans"]:
                if not span["text"].strip():
                    continue
                box = pymupdf.Rect(span["bbox"])
                if line["dir"] == (1.0, 0.0):
                    box.y0, box.y1 = span["origin"][1] - 0.71 * span["size"], span["origin"][1]
                else:
                    box.x0, box.x1 = box.x0 + 0.15 * box.width, box.x1 - 0.15 * box.width
                yield Ink(span["text"], span["size"], box)


def faults(document: pymupdf.Document) -> Iterator[str]:
    """What a bench would curse at, page by page."""
    for number, page in enumerate(document, start=1):
        found = list(inks(page))
        assert found
        for ink in found:
            if not page.rect.contains(ink.box):
                yield f"page {number}: off the page: {ink.text}"
            if ink.size < LEAST - 0.01:
                yield f"page {number}: {ink.size:.1f} pt: {ink.text}"
        for one, other in combinations(found, 2):
            shared = pymupdf.Rect(one.box) & other.box
            if not shared.is_empty and min(shared.width, shared.height) > HAIR:
                yield f"page {number}: {one.text!r} lies on {other.text!r}"


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
@pytest.mark.parametrize("kind", [*FRAMED, *BARE])
def test_no_text_leaves_the_page_lies_on_another_or_is_too_small(kind: str, paper: str) -> None:
    assert list(faults(pages(kind, paper))) == []


def test_the_words_of_the_boot_centre_stand_on_no_hole_of_the_picture() -> None:
    """A heel piece whose holes lie right behind the mark, as wide apart as the words are long."""
    [order] = [each for each in sheets("imported") if each.pair.tag == "K-083"]
    ski = order.skis[0]
    for first_um in range(-14_000, -2_000, 1_500):
        heel = [screw for screw in ski.screws if screw.piece == "heel"]
        off = first_um - max(screw.x_um for screw in heel)
        screws = tuple(replace(s, x_um=s.x_um + off) if s in heel else s for s in ski.screws)
        near = replace(ski, screws=screws, centre_from_mark_um=-6_500)
        pdf = work_order_pdf([replace(order, skis=(near,), page_steps=order.page_steps[:1])], "A4")
        words = [fault for fault in faults(pymupdf.open(stream=pdf)) if "boot centre'" in fault]
        assert words == [], first_um


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
def test_nor_on_the_samples_orders_whose_skis_differ_or_that_carry_a_plate(paper: str) -> None:
    """Each ski has a page of its own: places of both in one line, a stripped hole beside an open one."""
    some = [
        each
        for each in sheets("imported")
        if len(each.skis) == len(Side) or any(screw.piece == "plate" for screw in each.skis[0].screws)
    ]
    assert len(some) >= 4
    assert list(faults(pymupdf.open(stream=work_order_pdf(some, paper)))) == []


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
@pytest.mark.parametrize("kind", FRAMED)
def test_every_page_has_the_cautions_and_its_number_of_all(kind: str, paper: str) -> None:
    document = pages(kind, paper)
    ends = []
    for page in document:
        text = " ".join(page.get_text().split())
        assert "Makers' instructions, local rules and a qualified technician's judgement" in text
        assert "No release setting is given" in text
        assert "A name signed here is a claim, not a proof" in text
        ends.append(tuple(map(int, re.search(r"page (\d+) of (\d+)", text).groups())))
    # Sheets of one pair are counted by themselves: each count is whole, one after another.
    while ends:
        count = ends[0][1]
        assert ends[:count] == [(number, count) for number in range(1, count + 1)]
        del ends[:count]


@pytest.mark.parametrize("lines", range(40, 60, 3))
def test_no_page_of_a_case_but_the_last_is_left_nearly_empty(lines: int) -> None:
    """What stands at the front ends anywhere on a page; the picture follows, and the story goes on there."""
    sections = tuple(
        CaseSection(title=title, blocks=(CaseBlock(heading="all", lines=("a line",) * count),))
        for title, count in (("The pair", lines), ("What happened", 90))
    )
    told = replace(case(TAGS[0]), now=sections[:1], story=sections[1:])
    document = pymupdf.open(stream=case_sheet_pdf(told, printed_at=PRINTED_AT))
    counts = [page.get_text().count("a line") for page in document]
    assert sum(counts) == lines + 90
    assert counts.count(0) == 1  # the picture of both skis
    assert all(count == 0 or count > 35 for count in counts[:-1])


@pytest.mark.parametrize("lines", range(30, 75))
def test_the_head_of_a_table_of_holes_stands_on_each_page_that_has_its_rows_and_on_no_other(
    lines: int,
) -> None:
    """Whatever stands above it: a reader of the next page would not know what its figures are."""
    head, *rows = ("  hole  along", "  A1    5.0 mm toward TIP", "  A2    6.0 mm toward TIP")
    table = CaseBlock(heading="ski A", lines=("  not inspected", head, *rows), table=True)
    above = CaseBlock(heading="all", lines=("a line",) * lines)
    section = CaseSection(title="The pair", blocks=(above, table))
    told = replace(case(TAGS[0]), now=(section,), story=())
    for page in pymupdf.open(stream=case_sheet_pdf(told, printed_at=PRINTED_AT)):
        text = page.get_text()
        assert ("hole  along" in text) == ("A1  " in text or "A2  " in text)


@pytest.mark.parametrize("lines", range(30, 60))
def test_an_entry_that_goes_on_says_its_name_on_the_next_page_and_no_line_is_torn_in_two(lines: int) -> None:
    """An expert holds single pages: whose facts are these? Nor does the number of an entry stand alone."""
    long = f"inspected {'from here to there ' * 8}(entry 467)"
    blocks = (
        CaseBlock(heading="all", lines=("a line",) * lines),
        CaseBlock(heading="holes recorded, entry 12", lines=(long, *("a fact",) * 70)),
    )
    told = replace(case(TAGS[0]), now=(CaseSection(title="The pair", blocks=blocks),), story=())
    pages = [page.get_text() for page in pymupdf.open(stream=case_sheet_pdf(told, printed_at=PRINTED_AT))]
    named = [text for text in pages if "holes recorded" in text]
    assert [text for text in pages if "a fact" in text and text not in named] == []
    assert ["entry 12, continued" in text for text in named] == [False] + [True] * (len(named) - 1)
    assert len(named) >= 2
    assert ["inspected from" in text for text in pages] == ["467)" in text for text in pages]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_count_of_holes_stands_clear_below_the_boxes_for_what_is_read_on_the_ski(paper: str) -> None:
    """Of a core that nobody knows: three white boxes in the dark one, and under them what is drilled."""
    fleet, planned = CASES["unknown core"]()
    page = next(iter(work_order_pages(work_order_sheet(fleet, planned, **TOLD), paper_named(paper))))
    boxes = [s for s in page.shapes if isinstance(s, Box) and s.w == 18.6]
    [words] = [s for s in page.shapes if isinstance(s, Words) and s.text.startswith("each ski: ")]
    assert len(boxes) == 3
    assert all(box.y + box.h + 0.5 < words.y - words.size * 25.4 / 72 * 0.75 for box in boxes)


@pytest.mark.parametrize("knowledge", Knowledge)
def test_a_dashed_ring_on_a_work_order_is_explained_under_its_picture(knowledge: Knowledge) -> None:
    """An old hole that stays. Which knowledge is no measurement (three of them) is our own rule."""
    fleet, planned = CASES["crowded"]()
    pair = fleet.pair(planned.pair)
    skis = {
        side: replace(ski, holes=tuple(replace(hole, knowledge=knowledge) for hole in ski.holes))
        for side, ski in pair.skis.items()
    }
    fleet = replace(fleet, pairs=fleet.pairs | {pair.tag: replace(pair, skis=skis)})
    pages = list(work_order_pages(work_order_sheet(fleet, planned, **TOLD), paper_named("A4")))
    shapes = [shape for page in pages for shape in page.shapes]
    rings = sum(isinstance(shape, Disc) and bool(shape.dash) for shape in shapes)
    said = sum(isinstance(shape, Words) and shape.text == "dashed: place not measured" for shape in shapes)
    assert (
        bool(rings)
        == bool(said)
        == (knowledge in (Knowledge.BATCH_ASSUMED, Knowledge.TEMPLATE, Knowledge.SUSPECTED))
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_shop_with_a_long_name_leaves_the_code_of_the_head_clear(paper: str) -> None:
    fleet, planned = CASES["part reused"]()
    pdf = work_order_pdf([work_order_sheet(replace(fleet, shop=SHOP), planned, **TOLD)], paper)
    for page in pymupdf.open(stream=pdf):
        [box] = [ink.box for ink in inks(page) if ink.text.startswith("An invented shop")]
        assert box.x1 < page.rect.x1 - (11 + 12) * MM
