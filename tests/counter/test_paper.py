"""The counter's own paper: hole map and hold tags."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date, timedelta

import pymupdf
import pytest
from pypdf import PdfReader

from fleet.base.entries import Head
from fleet.base.errors import BadInput, MountbookError
from fleet.facts.holes import Side
from fleet.rules.counter import keep_longer
from fleet.rules.day_end import under_list
from fleet.rules.holds import hold, quarantine
from fleet.rules.looks import Found, ListUsed
from fleet.rules.recheck import Group, RecheckList, RecheckRow, UnreturnedPair, recheck_list, supplement
from fleet.tables.snapshot import read_fleet
from planner.cli.case_bundle import case_bundle
from planner.paper import cautions
from planner.paper.case_paper import case_sheet_pdf, hole_map_pdf
from planner.paper.labels import held_tags, hold_tag_pdf
from planner.paper.recheck_list import recheck_pdf
from tests.counter.shop import NELL, ZONE, Shop


def _text(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def _hole(number: int) -> dict[str, object]:
    return {
        "hole_id": f"P-1/A{number}",
        "side": "A",
        "x_um": 101_500 - 20_000 * number,
        "y_um": 18_000,
        "diameter_um": 3600,
        "depth_um": 9000,
        "state": "plugged",
        "knowledge": "measured bare",
    }


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_hole_is_on_the_one_page(shop: Shop, paper: str) -> None:
    shop.enter("holes recorded", {"tag": "P-1", "holes": [_hole(n) for n in range(1, 13)]})
    [page] = _text(
        hole_map_pdf(read_fleet(shop.ledger.connection), ["P-1"], printed_at=shop.now, paper=paper)
    )
    for number in range(1, 13):
        x = 101.5 - 20 * number
        assert f"{abs(x):.1f} {'TIP' if x >= 0 else 'TAIL'}" in page
    assert page.count("plugged, measured bare") == 12
    assert "no holes on record, and nobody has looked" in page  # ski B
    assert "A record, not an inspection" in page


def _boxes(data: bytes, page: int, said: str) -> list[pymupdf.Rect]:
    words = pymupdf.open(stream=data)[page].get_text("words")
    return [pymupdf.Rect(word[:4]) for word in words if word[4] == said]


def _picture(shop: Shop, sheet: str) -> tuple[bytes, int]:
    """The sheet and the number of its page with both skis. Ski A has one hole far in front, ski B none."""
    shop.enter("holes recorded", {"tag": "P-1", "holes": [_hole(1) | {"knowledge": "suspected"}]})
    if sheet == "hole map":
        return hole_map_pdf(read_fleet(shop.ledger.connection), ["P-1"], printed_at=shop.now), 0
    case = case_bundle(shop.ledger, "P-1", salt="0123456789abcdef").sheet
    return case_sheet_pdf(case, printed_at=shop.now), 1


@pytest.mark.parametrize("sheet", ["hole map", "case"])
def test_the_marks_of_two_skis_beside_each_other_are_drawn_level(shop: Shop, sheet: str) -> None:
    """A reader who sees one mark lower takes the skis for unlike: both pictures have one scale."""
    data, page = _picture(shop, sheet)
    a, b = _boxes(data, page, "MARK")
    assert a.y0 == pytest.approx(b.y0, abs=0.1)


@pytest.mark.parametrize("sheet", ["hole map", "case"])
def test_the_signs_of_what_nobody_measured_or_saw_are_explained_where_they_are_drawn(
    shop: Shop, sheet: str
) -> None:
    """The dashed ring (in the map's table beside its sign, by its word) and the hatched edge."""
    data, page = _picture(shop, sheet)
    text = _text(data)[page]
    assert "edge hatched: not inspected" in text
    assert ("suspected" if sheet == "hole map" else "dashed: place not measured") in text
    drawn = pymupdf.open(stream=data)[page]
    widest = max(word[2] for word in drawn.get_text("words"))
    assert widest <= drawn.rect.width - 10.9 / 25.4 * 72, "nothing runs into the margin of 11 mm"


def test_that_a_ski_has_no_holes_on_record_is_struck_through_by_no_line_of_its_picture(shop: Shop) -> None:
    """White stands behind the words, and over the ski's centre line."""
    data, number = _picture(shop, "case")
    page = pymupdf.open(stream=data)[number]
    [said] = page.search_for("no holes on record, and nobody has looked")
    white = [
        d["rect"] for d in page.get_drawings() if d["fill"] == (1.0, 1.0, 1.0) and d["rect"].contains(said.tl)
    ]
    assert any(box.x1 >= said.x1 for box in white)
    assert all(not said.intersects(box) for box in _boxes(data, number, "TIP"))


def test_two_tags_hang_on_each_held_pair(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="toe wobbles")
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-2", why="fall reported")
    with shop.desk(NELL) as desk:
        hold(desk, "P-4", why="crack behind the heel")
    tags = held_tags(shop.ledger.connection, ())
    pages = _text(hold_tag_pdf(tags, zone=ZONE, printed_at=shop.now))
    assert len(pages) == 6
    assert all(cautions.FIRST in " ".join(page.split()) for page in pages)
    assert ["HOLD" in page for page in pages] == [True, True, False, False, True, True]
    assert ["LOCKED AWAY" in page for page in pages] == [False, False, True, True, False, False]
    rules = (
        "a second person looks",
        "Only the manager",
        "Only the head technician ends it, never who caused it",
    )
    signs = ("SECOND PERSON, DATE", "MANAGER, DATE", "HEAD TECHNICIAN, DATE")
    for rule, who, page in zip(rules, signs, pages[::2], strict=True):
        assert rule in " ".join(page.split())
        assert [sign for sign in signs if sign in page.upper()] == [who]
    assert "toe wobbles" in pages[0]
    with pytest.raises(MountbookError, match="P-3 is not held"):
        held_tags(shop.ledger.connection, ["P-3"])


def _listed(shop: Shop) -> RecheckList:
    return recheck_list(shop.ledger.connection, today=shop.today)


def test_the_recheck_list_says_at_which_sole_each_pair_stands(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.out("P-2")
    shop.back("P-1", "P-2")
    listed = _listed(shop)
    [page] = _text(recheck_pdf(listed, head=listed.head, shop="Shop", printed_at=shop.now))
    assert "set for sole\n305 mm" in page
    assert "set for sole: not known; routine" in _plain(page)


@pytest.mark.parametrize("length", [6, 22, 23, 30])
def test_a_long_tag_and_the_sole_it_stands_at_stand_both_whole_on_the_list(shop: Shop, length: int) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    listed = _listed(shop)
    tag = "K-123456789" * 5
    listed = replace(listed, rows=(replace(listed.rows[0], tag=tag[:length]),))
    [page] = _text(recheck_pdf(listed, head=listed.head, shop="Shop", printed_at=shop.now))
    assert tag[:length] in page.replace("\n", "")
    assert "set for sole 305 mm" in page.replace("\n", " ")


def _made(listed: RecheckList, shop: Shop, **words: object) -> bytes:
    return recheck_pdf(listed, head=listed.head, shop="Shop", printed_at=shop.now, **words)  # type: ignore[arg-type]


def _plain(page: str) -> str:
    return " ".join(page.split())


def _invented(
    count: int, *reasons: str, group: Group = Group.CHECK_FIRST, start: int = 0
) -> list[RecheckRow]:
    return [
        RecheckRow(
            tag=f"X-{n:03d}", model="Invented ski", kind="alpine", length_mm=1700, rack="R-1", group=group,
            reasons=reasons, marked=frozenset(), screws=dict.fromkeys(Side, ()), pattern="", returned_at="",
            seconds=75,
        )
        for n in range(start, start + count)
    ]  # fmt: skip


def _of(rows: list[RecheckRow], **facts: object) -> RecheckList:
    return RecheckList(
        list_id="RC-20261227-90", day=date(2026, 12, 27), head=Head(90, "ab" * 32), zone=ZONE,
        rows=tuple(rows), **facts,  # type: ignore[arg-type]
    )  # fmt: skip


def test_paper_screen_and_ledger_say_what_was_found_in_the_same_words(shop: Shop) -> None:
    """The paper's key, the help and the refusal of the command, and the words of the entry."""
    from planner.cli.recheck import EVERYWHERE_HELP

    [page] = _text(_made(_of(_invented(1, "routine")), shop))
    key = _plain(page).lower()
    typed = EVERYWHERE_HELP.split(":")[1].strip(" .").replace("-", " ").split(", ")
    assert typed == [word.value for word in Found]
    assert all(word.value in key for word in Found if word is not Found.TURNED_UNDER_AN_EIGHTH)
    assert "write how far" in key
    for word in Found:
        tag = f"W-{list(Found).index(word)}"
        shop.pair(tag)
        shop.back(tag)
        done = shop.look(tag, found={"B heel": word.value})
        kept = shop.ledger.connection.execute("SELECT found FROM look WHERE tag = ?", (tag,)).fetchone()[0]
        assert f'"heel":"{word.value}"' in kept
        assert word.value in done.words or done.words == "passed"


def test_the_reason_of_each_pair_is_read_at_arm_s_length_and_whole(shop: Shop) -> None:
    """11 points and bold where it must be looked at first; a long reason makes the row higher."""
    said = "renter: “" + " ".join(["the left heel clicks on every turn"] * 5) + "”"
    rows = _invented(3, said, "turned last time: ski B heel", "1st return after work order WO-2510-0072")
    data = _made(_of(rows), shop)
    text = _plain(" ".join(_text(data)))
    for reason in rows[0].reasons:
        assert text.count(_plain(reason)) == 3
    spans = [
        span
        for page in pymupdf.open(stream=data)
        for block in page.get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
    ]
    clicks = [span for span in spans if "clicks" in span["text"]]
    assert clicks
    assert all(span["size"] >= 11 - 0.01 and "Bold" in span["font"] for span in clicks)


def test_no_pair_s_row_runs_into_the_next_or_into_the_signatures(shop: Shop) -> None:
    rows = _invented(9, *["renter: “" + "it clicks " * 25 + "”"])
    for data in (_made(_of(rows), shop), _made(_of(rows), shop, paper="Letter")):
        for page in pymupdf.open(stream=data):
            foot = min(word[1] for word in page.get_text("words") if word[4] == "passed")
            clicks = sorted(word[1] for word in page.get_text("words") if word[4] == "clicks")
            assert all(y < foot for y in clicks)
            tags = sorted(word[1] for word in page.get_text("words") if re.match(r"X-\d", word[4]))
            assert len({round(y) for y in tags}) == len(tags)
            for tag in tags[1:]:
                assert max(y for y in clicks if y < tag) < tag - 4


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_check_first_stands_on_every_page_that_has_such_pairs(shop: Shop, paper: str) -> None:
    rows = [*_invented(20, "fell hard"), *_invented(12, "routine", group=Group.ROUTINE, start=20)]
    pages = [_plain(page) for page in _text(_made(_of(rows), shop, paper=paper))]
    first = [page for page in pages if "fell hard" in page]
    assert len(first) > 2
    for page in first:
        assert "not one of these waits for tomorrow" in page
    assert all("Check first, continued" in page for page in first[1:])
    assert any("Routine, continued" in page for page in pages)


def test_pairs_still_out_are_named_with_the_day_they_are_due(shop: Shop) -> None:
    shop.out("P-1", "P-2", "P-3", "P-4")
    today = shop.today
    for tag, due in (("P-1", today), ("P-2", today + timedelta(days=2)), ("P-4", today + timedelta(days=1))):
        with shop.desk(NELL) as desk:
            keep_longer(desk, tag, until=due)
    listed = _listed(shop)
    assert listed.out == (
        UnreturnedPair(tag="P-1", due=today),
        UnreturnedPair(tag="P-4", due=today + timedelta(days=1)),
        UnreturnedPair(tag="P-2", due=today + timedelta(days=2)),
        UnreturnedPair(tag="P-3"),
    )
    text = _plain(_text(_made(listed, shop))[0])
    for words in (
        "P-1 due today",
        "P-4 due Mon 28 Dec 2026",
        "P-2 due Tue 29 Dec 2026",
        "P-3 due day not known",
        "Still out 4",
    ):
        assert words in text
    shop.tick(minutes=24 * 60)
    assert "P-1 was due Sun 27 Dec 2026" in _plain(_text(_made(_listed(shop), shop))[0])


def test_hundreds_of_pairs_out_and_at_the_bench_are_all_named(shop: Shop) -> None:
    out = tuple(UnreturnedPair(tag=f"OUT-{n:04d}") for n in range(300))
    fresh = tuple(f"FRESH-{n:03d}" for n in range(120))
    long_tag = UnreturnedPair(tag="K-123456789" * 5)
    text = _plain(" ".join(_text(_made(_of([], out=(*out, long_tag), second_check=fresh), shop))))
    assert all(pair.tag in text for pair in out)
    assert all(tag in text for tag in fresh)
    assert long_tag.tag in text.replace(" ", "")


def test_the_supplement_holds_only_what_came_since_and_names_its_list(shop: Shop) -> None:
    shop.out("P-1", "P-2", "P-3")
    shop.back("P-1", "P-4")
    first = _listed(shop)
    shop.back("P-2", said="clicks")
    shop.back("P-4")  # once more: what was seen before counts no longer
    late = supplement(_listed(shop), ListUsed.parse(first.list_id))
    assert {row.tag for row in first.rows} == {"P-1", "P-4"}
    assert [row.tag for row in late.rows] == ["P-2", "P-4"]
    assert late.list_id != first.list_id
    assert [pair.tag for pair in late.out] == ["P-3"]
    [page] = map(_plain, _text(_made(late, shop)))
    assert f"SUPPLEMENT to {first.list_id}" in page
    assert f"list {late.list_id} · 2 of 2 pairs on this page" in page
    assert "P-1" not in page
    [page] = map(_plain, _text(_made(first, shop)))
    assert "SUPPLEMENT" not in page
    assert f"mountbook recheck print --since {first.list_id}" in page


def test_a_look_from_the_supplement_passes_the_late_pair_where_the_first_list_cannot(shop: Shop) -> None:
    shop.back("P-1")
    first = ListUsed.parse(_listed(shop).list_id)
    shop.out("P-2")
    shop.back("P-2")
    late = supplement(_listed(shop), first)
    assert late.list_id == f"RC-20261227-{first.made_at_entry}-{late.head.seq}"
    assert ListUsed.parse(late.list_id).since_entry == first.made_at_entry
    with pytest.raises(MountbookError, match="came back after list"):
        shop.look("P-2", list_used=first)
    signed = under_list(shop.ledger.connection, ListUsed.parse(late.list_id), ())
    assert signed.tags == ("P-2",)
    assert signed.not_on_it == (("P-1", "stands on the list before, not on this supplement"),)
    assert shop.look("P-2", list_used=ListUsed.parse(late.list_id)).words == "passed"


def test_a_supplement_at_the_entry_of_its_list_and_one_before(shop: Shop) -> None:
    shop.back("P-1")
    listed = _listed(shop)
    used = ListUsed.parse(listed.list_id)
    assert supplement(listed, used).rows == ()
    assert len(supplement(listed, replace(used, made_at_entry=used.made_at_entry - 1)).rows) == 1
    text = _plain(_text(_made(supplement(listed, used), shop))[0])
    assert f"Nothing came back since {used.list_id} that was not passed" in text
    with pytest.raises(BadInput, match="was not made from this ledger"):
        supplement(listed, replace(used, made_at_entry=used.made_at_entry + 1))


def test_a_supplement_leaves_out_what_waits_and_keeps_the_faults_of_its_own_pairs(shop: Shop) -> None:
    """P-1 came back last before the list, which has its number; P-2 later, and P-3 was left unfinished."""
    shop.out("P-2")
    shop.back("P-3", "P-1")
    used = ListUsed.parse(_listed(shop).list_id)
    shop.back("P-2")
    shop.look("P-3", found={"B heel": "could not reach"})
    faults = tuple((tag, ValueError(tag)) for tag in ("P-1", "P-2", "P-9"))
    late = supplement(replace(_listed(shop), second_check=("P-9",), never_back=("P-8",), faults=faults), used)
    assert {row.tag for row in late.rows} == {"P-2", "P-3"}
    assert (late.second_check, late.never_back, late.faults) == ((), (), faults[1:2])
    with pytest.raises(BadInput) as refused:
        supplement(late, replace(used, made_at_entry=late.head.seq + 1))
    assert refused.value.cure == "the number stands beside the code of the printed list; check --ledger"


def test_a_pair_that_cannot_be_drawn_is_named_among_those_to_check_first(shop: Shop) -> None:
    pages = _text(_made(_of(_invented(8, "fell hard")), shop, not_drawn=["Y-9"]))
    assert "not drawn: look at every screw of Y-9" in _plain(" ".join(pages))
