"""A person with a pencil: does what the words of a printed order say, and nothing else.

The pieces begin where the ledger says they stand; where it does not say, at an end of their travel, which
is nearly never right. At the end every piece is where the plan wants it, and the boot with it. Each value is
read on a scale, to a quarter of a millimetre (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import pytest

from fleet.facts.holes import Side
from fleet.facts.patterns import Follows, Pattern
from planner.plan.plan_file import plan_to_json
from planner.plan.values import PlannedSet, Rung
from tests.paper.sample_sheets import LEDGERS, order_lines, sample

READ_MM = 0.25
Stands = dict[tuple[Side, str], float]
"""Where the sole's end stands at each piece, millimetres from that ski's own mark, + to the tip."""

_PIECE = re.compile(r"(toe|heel|plate): (.+)")
Page = tuple[tuple[Side, ...], list[str]]
"""The skis that a page is about, and its lines."""
_TITLE = re.compile(r"WORK ORDER(?:, SKI ([AB]))?")
_ONE = re.compile(r"([\d.]+) mm toward (TIP|TAIL)|on the mark|stays")
_SAME_WAY = re.compile(r"A ([\d.]+), B ([\d.]+) mm toward (TIP|TAIL)")


def said(words: str) -> dict[Side, float]:
    """What the words say of ski A and of ski B, millimetres."""
    if two := _SAME_WAY.search(words):
        return {side: _signed(two[n], two[3]) for n, side in enumerate(Side, start=1)}
    each = [0.0 if one[1] is None else _signed(one[1], one[2]) for one in _ONE.finditer(words)]
    named = "A " in words and ", B " in words
    assert len(each) == (2 if named else 1), words
    return {Side.A: each[0], Side.B: each[-1]}


def _signed(number: str, way: str) -> float:
    return float(number) if way == "TIP" else -float(number)


def follow(pages: Sequence[Page], stands: Stands) -> tuple[Stands, dict[Side, float]]:
    """(where the pieces stand when every line was obeyed, what the boot's centre must measure then)."""
    stands, centre = dict(stands), {}
    for sides, line in ((sides, line) for sides, lines in pages for line in lines):
        if piece := _PIECE.fullmatch(line.strip()):
            name, words = piece.groups()
            values = said(words)
            for side in sides:
                if words.endswith("from where it stands") or words == "stays where it stands":
                    stands[side, name] += values[side]
                else:
                    assert words.startswith("must stand "), words
                    stands[side, name] = values[side]
        elif line.startswith("Boot in: boot centre "):
            centre |= {side: said(line)[side] for side in sides}
    return stands, centre


def begins(planned: PlannedSet, pattern: Pattern, recorded: dict[str, int]) -> Stands:
    """Where the pieces are before anybody obeys: screwed on, and slid as the ledger says or anyhow."""
    stands: Stands = {}
    for side in Side:
        for at, piece in zip(planned.way.skis[side].pieces, pattern.pieces, strict=True):
            assert at.piece == piece.name.value
            untouched = planned.way.rung is Rung.ADJUST
            slid = recorded.get(at.piece, -piece.travel_back_um) if untouched else piece.travel_forward_um
            stands[side, at.piece] = (at.reference_um + slid) / 1000
    return stands


def wanted(planned: PlannedSet) -> Stands:
    """Where the plan wants them."""
    return {
        (side, at.piece): (at.reference_um + at.slide_um) / 1000
        for side in Side
        for at in planned.way.skis[side].pieces
    }


def centre_mm(planned: PlannedSet, side: Side) -> float:
    """Where the plan wants the boot's centre, from that ski's own mark; marks as in the frame of the pair."""
    fleet, _ = sample("imported")
    marks = [fleet.pairs[planned.pair].skis[s].mark_from_tail_um for s in Side]
    shift = 0 if None in marks or side is Side.A else (marks[0] or 0) - (marks[1] or 0)
    return (planned.way.offset_um + shift) / 1000


def boot_stands_at(planned: PlannedSet, pattern: Pattern, stands: Stands, side: Side) -> float:
    """The middle of the sole between the pieces that hold its ends."""
    half = planned.way.bsl_um / 2000
    back = {Follows.TOE: -half, Follows.HEEL: half, Follows.CENTRE: 0.0}
    each = [stands[side, p.name.value] + back[p.follows] for p in pattern.pieces if p.follows in back]
    return sum(each) / len(each)


def faults(pages: Sequence[Page], planned: PlannedSet, pattern: Pattern, start: Stands) -> Iterator[str]:
    """What is not where the plan wants it, after a person did what the lines say."""
    stands, centre = follow(pages, start)
    for (side, piece), want in wanted(planned).items():
        if abs(stands[side, piece] - want) > READ_MM:
            yield f"{side} {piece} stands at {stands[side, piece]:.2f}, wanted at {want:.2f}"
    if centre.keys() != set(Side):
        yield "nobody is told where the boot's centre must be"
        return
    for side in Side:
        want = centre_mm(planned, side)
        for what, at in (
            ("is said to be", centre[side]),
            ("stands", boot_stands_at(planned, pattern, stands, side)),
        ):
            if abs(at - want) > READ_MM + 1e-9:
                yield f"{side} boot centre {what} at {at:.2f}, wanted at {want:.2f}"


def cases(ledger: str) -> Iterator[tuple[PlannedSet, Pattern, Stands, list[Page]]]:
    """Every order with the pages of each ski, or of both, as one."""
    fleet, plan = sample(ledger)
    for planned in plan.sets:
        if planned.way.rung is Rung.AS_IS:
            continue
        mount = fleet.pairs[planned.pair].current_mount
        recorded = {s.piece: s.slide_um for s in mount.slides} if mount else {}
        pattern = fleet.patterns[planned.way.pattern]
        start = begins(planned, pattern, recorded)
        yield (
            planned,
            pattern,
            start,
            [(_sides(page), list(page)) for page in order_lines(ledger)[planned.pair]],
        )


def _sides(page: Sequence[str]) -> tuple[Side, ...]:
    [title, *_] = filter(None, map(_TITLE.fullmatch, page))
    return (Side(title[1]),) if title[1] else tuple(Side)


@pytest.mark.parametrize("ledger", LEDGERS)
def test_who_does_what_the_order_says_sets_every_piece_where_the_plan_wants_it(ledger: str) -> None:
    """What a page says is done to its ski, where each of two unlike skis has one; else to both."""
    wrong, told = {}, 0
    for planned, pattern, start, pages in cases(ledger):
        if found := list(faults(pages, planned, pattern, start)):
            wrong[planned.pair] = found
        told += sum(line.endswith("from where it stands") for _, lines in pages for line in lines)
    assert wrong == {}
    assert (told > 50) == (ledger == "recorded"), "a distance is said only from a place that is recorded"


@pytest.mark.parametrize("ledger", LEDGERS)
def test_the_pencil_notices_a_value_that_is_left_out_or_swapped(ledger: str) -> None:
    """A line gone, toe for heel, a page for the other's: who obeys is then elsewhere, and that is red."""
    noticed = {"nothing": 0, "gone": 0, "toe for heel": 0, "A for B": 0, "no centre": 0}
    swapped = {"toe": "heel", "heel": "toe"}
    for planned, pattern, start, pages in cases(ledger):
        each = [lines for _, lines in pages]
        spoilt = {
            "nothing": pages,
            "gone": _with(pages, [[x for x in lines if not x.startswith("heel: ")] for lines in each]),
            "toe for heel": _with(
                pages,
                [[re.sub(r"^(toe|heel)(?=:)", lambda m: swapped[m[1]], x) for x in lines] for lines in each],
            ),
            "A for B": _with(pages, each[::-1]),
            "no centre": _with(pages, [[x for x in lines if x[:9] != "Boot in: "] for lines in each]),
        }
        for what, changed in spoilt.items():
            noticed[what] += bool(list(faults(changed, planned, pattern, start)))
    assert noticed["nothing"] == 0
    assert noticed["no centre"] == len(list(cases(ledger)))
    assert noticed["gone"] > 100
    assert noticed["toe for heel"] > 60
    assert noticed["A for B"] >= 1, "K-072: the marks of its two skis lie 3 mm apart"


def _with(pages: Sequence[Page], lines: Sequence[list[str]]) -> list[Page]:
    return [(sides, each) for (sides, _), each in zip(pages, lines, strict=True)]


def test_page_and_workbook_say_of_every_piece_what_the_sheet_says() -> None:
    """Where a sheet and a screen differ, somebody obeys the wrong one."""
    from io import BytesIO

    import openpyxl

    from planner.paper.tablet_page.page import order_article
    from planner.paper.workbook_out import plan_workbook
    from tests.paper.sample_sheets import sheets

    fleet, plan = sample("recorded")
    book = openpyxl.load_workbook(BytesIO(plan_workbook(fleet, plan)), read_only=True)
    rows: dict[str, list[tuple[object, ...]]] = {}
    for tag, *row in book["Pieces"].iter_rows(min_row=4, values_only=True):
        rows.setdefault(str(tag), []).append(tuple(row))
    for sheet in sheets("recorded"):
        page = order_article(sheet)
        leads = [step.lead for step in sheet.steps]
        assert all(f"<strong>{lead}</strong>" in page for lead in leads), sheet.pair.tag
        said_of = {lead.split(":")[0]: lead for lead in leads if _PIECE.fullmatch(lead)}
        assert {(row[0], row[1]) for row in rows[sheet.pair.tag]} >= {(s, p) for s in "AB" for p in said_of}
        for ski, piece, _, moved, place, *_ in rows[sheet.pair.tag]:
            if piece not in said_of:
                assert moved == "stands where its screws are"
                continue
            words = said_of[str(piece)].split(": ", 1)[1]
            told = str(moved) if "where it stands" in words else str(place)
            assert said(told)[Side.A] == said(words)[Side(str(ski))], sheet.pair.tag


@pytest.mark.parametrize("ledger", LEDGERS)
def test_the_plan_as_json_says_what_is_printed(ledger: str) -> None:
    """``stands_mm`` and ``slide_mm`` give the distance in words, and both numbers of the jig are the same."""
    from tests.paper.sample_sheets import sheets

    _, plan = sample(ledger)
    printed = {sheet.pair.tag: sheet for sheet in sheets(ledger)}
    known = 0
    for row in plan_to_json(plan)["sets"]:
        if row["pair"] not in printed:
            continue
        sheet = printed[row["pair"]]
        leads = [match for step in sheet.steps if (match := _PIECE.fullmatch(step.lead))]
        for name, words in (match.groups() for match in leads):
            for side in Side:
                [at] = [p for p in row["skis"][side]["pieces"] if p["piece"] == name]
                assert at["how"] == "slide" or at["stands_mm"] is None
                if "where it stands" in words:
                    known += 1
                    assert abs(said(words)[side] - (at["slide_mm"] - at["stands_mm"])) <= 0.05
                else:
                    assert at["stands_mm"] is None
                    assert abs(said(words)[side] - (at["reference_mm"] + at["slide_mm"])) <= 0.05
        hows = {p["how"] for side in Side for p in row["skis"][side]["pieces"]}
        assert ("jig" in hows) == (row["jig"] is not None)
        assert ("template" in hows) == (sheet.jig is not None and sheet.jig.startswith("NO JIG"))
        if row["jig"] is not None:
            assert f"set to {row['jig']['sole_mm']:.1f} mm" in sheet.jig
    assert (known > 100) == (ledger == "recorded")


def test_every_step_of_every_order_has_a_value_and_there_are_at_most_ten() -> None:
    from tests.paper.sample_sheets import sheets

    for ledger in LEDGERS:
        for sheet in sheets(ledger):
            assert len(sheet.steps) <= 10
            assert sheet.steps[-1].lead.startswith("Boot in: boot centre ")
            assert all(all(step.expects) for step in sheet.steps), sheet.pair.tag
