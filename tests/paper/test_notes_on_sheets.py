"""What was noted stands on the order, the prep and the checklist, cut with a word of where the rest stands.

Read back with PyMuPDF.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pymupdf
import pytest

from fleet.facts.holes import Side
from fleet.facts.kinds import Kind
from fleet.facts.notes import Note, in_short
from fleet.tables.snapshot import Fleet
from planner.paper.issued_sheets import TO_A_PAGE, orders_pdf
from planner.paper.prep_checklist import prep_pair_pdf, prep_pdf
from planner.paper.tablet_page.page import order_article
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.plan_words import kinds_of, notes_of
from planner.plan.values import PlannedSet, Rung
from tests.paper.invented_shop import Case
from tests.paper.sample_sheets import sheets

Named = Callable[[str], Case]


def words_of(pdf: bytes) -> str:
    with pymupdf.open(stream=pdf) as pages:
        return " ".join(" ".join(page.get_text() for page in pages).split())


def noted(case: Case, *notes: Note) -> tuple[Fleet, PlannedSet]:
    fleet, planned = case
    return replace(fleet, notes=notes), planned


def printed(fleet: Fleet, planned: PlannedSet, printed_at: datetime, paper: str) -> str:
    order = work_order_sheet(
        fleet, planned, number=None, revision=None, proposal=True, plan_hash="", printed_at=printed_at
    )
    return words_of(work_order_pdf([order], paper))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_note_stands_on_every_sheet_of_its_set(case: Named, printed_at: datetime, paper: str) -> None:
    """Of the pair, one ski, and the boot; a note that was ended does not."""
    _, planned = case("part reused")
    tag, boot = planned.pair, planned.boot
    fleet, planned = noted(
        case("part reused"),
        Note(entry=1, tag=tag, text="base patched"),
        Note(entry=2, tag=tag, side=Side.B, text="edge short"),
        Note(entry=3, boot=boot, text="stiff buckle"),
        Note(entry=4, tag=tag, text="waxed", ended_entry=9),
    )
    line = f"note: base patched; {tag}/B: edge short; {boot}: stiff buckle"
    assert notes_of(fleet, planned) == line
    assert line in printed(fleet, planned, printed_at, paper)
    assert "note: base patched" in words_of(prep_pair_pdf(fleet, [tag], printed_at=printed_at, paper=paper))
    assert "note: base" in words_of(prep_pdf(fleet, [planned], printed_at=printed_at, paper=paper))
    assert "waxed" not in printed(fleet, planned, printed_at, paper)


@pytest.mark.parametrize(("letters", "cut"), [(120, False), (121, True)])
def test_a_long_note_is_cut_with_a_sign_that_more_stands_in_the_ledger(letters: int, cut: bool) -> None:
    """At the limit, and one letter beyond it."""
    said = in_short([Note(entry=1, tag="K-1", text="x" * letters)], tag="K-1")
    assert said == f"note: {'x' * 120}" + ("… (more in the ledger)" if cut else "")


@pytest.mark.parametrize("name", ["part reused", "crowded", "lying marks", "unknown core"])
def test_the_most_crowded_order_has_room_for_a_note(case: Named, printed_at: datetime, name: str) -> None:
    """All that the sheet says without the note, it says with it; on Letter, the smaller paper."""
    fleet, planned = case(name)
    bare = set(printed(fleet, planned, printed_at, "Letter").split())
    long, planned = noted(case(name), Note(entry=1, tag=planned.pair, text="word " * 60))
    said = printed(long, planned, printed_at, "Letter")
    assert "… (more in the ledger)" in said
    assert bare - set(said.split()) <= {"1", "of"}


def test_a_kind_that_nobody_stated_is_said_on_the_order(case: Named, printed_at: datetime) -> None:
    """And no more once both are stated."""
    fleet, planned = case("part reused")
    boot, pattern = fleet.boots[planned.boot], fleet.patterns[planned.way.pattern]
    said = f"boot model {boot.model}, binding model {pattern.binding_model}"
    assert kinds_of(fleet, planned) == f"kind not stated of {said}: the fits table alone decided"
    assert "kind not stated" in printed(fleet, planned, printed_at, "A4")
    stated = replace(
        fleet,
        boots={planned.boot: replace(boot, kind=Kind.TELEMARK)},
        patterns={pattern.name: replace(pattern, kind="telemark")},
    )
    assert kinds_of(stated, planned) == ""
    assert "kind not stated" not in printed(stated, planned, printed_at, "A4")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("text", ["base patched", "word " * 60])
def test_a_note_stands_on_the_adjust_list_and_on_the_tablet_page(paper: str, text: str) -> None:
    """Ten pairs to a page, each with the longest note: whole as far as sheets say notes, and no line less."""
    listed = [sheet for sheet in sheets("recorded") if sheet.rung is Rung.ADJUST][:TO_A_PAGE]
    bare = set(words_of(orders_pdf(listed, paper)).split())
    noted = [
        replace(each, notes=in_short([Note(entry=1, tag=each.pair.tag, text=text)], tag=each.pair.tag))
        for each in listed
    ]
    said = words_of(orders_pdf(noted, paper))
    assert said.count(noted[0].notes) == TO_A_PAGE
    assert bare <= set(said.split())
    assert f'<p class="note">{noted[0].notes}</p>' in " ".join(order_article(noted[0]).split())
    assert 'class="note"' not in order_article(listed[0])
