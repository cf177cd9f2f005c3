"""Pure adjustments stand ten to a page, and a list says of each pair what its own page would say."""

from __future__ import annotations

import itertools
import re

import pymupdf
import pytest

from planner.paper.issued_sheets import TO_A_PAGE, orders_pdf
from planner.paper.sheet_frame import Paper
from planner.paper.work_order import work_order_pages
from planner.plan.values import Rung
from tests.paper.sample_sheets import LEDGERS, sheets


def lines_by_pair(ledger: str, paper: str = "A4") -> dict[str, list[str]]:
    """What the printed lists say under each pair's tag."""
    found: dict[str, list[str]] = {}
    tags = {sheet.pair.tag for sheet in sheets(ledger)}
    only = [sheet for sheet in sheets(ledger) if sheet.rung is Rung.ADJUST]
    for page in pymupdf.open(stream=orders_pdf(only, paper)):
        tag = ""
        for line in page.get_text().splitlines():
            tag = line if line in tags else tag
            found.setdefault(tag, []).append(line)
    return found


@pytest.mark.parametrize("ledger", LEDGERS)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_list_says_of_every_piece_what_the_pairs_own_page_says(ledger: str, paper: str) -> None:
    found = lines_by_pair(ledger, paper)
    for sheet in sheets(ledger):
        if sheet.rung is not Rung.ADJUST:
            continue
        lines = found[sheet.pair.tag]
        assert f"{sheet.number} {sheet.revision}" in lines
        assert f"boot {sheet.boot.tag}, sole {sheet.boot.sole_words}" in " ".join(lines)
        set_steps = [step for step in sheet.steps if step.begins is not None]
        assert set_steps or "nothing slides on the ski: set as its maker's sheet says" in lines
        for step in set_steps:
            at = lines.index(step.lead)
            ends = re.findall(r"to ([\d.]+ (?:TIP|TAIL)|on the mark)", lines[at + 1])
            begins = "set to" if step.begins[0] == "not known" else "from"
            assert re.match(f"(A )?{begins} ", lines[at + 1])
            assert ends[0] == step.expects[0]
            assert ends[-1] == step.expects[1]
            assert f"at the {step.measured_at}" in lines[at + 1]
        assert sheet.steps[-1].lead in lines


def test_the_list_says_of_a_duckbill_boot_where_its_mid_sole_is_as_its_own_page_does() -> None:
    """Half of the counted length from the heel end: what does not count lies at the toe."""
    found = lines_by_pair("imported")
    listed = [s for s in sheets("imported") if s.rung is Rung.ADJUST and "counts" in s.boot.sole_words]
    assert listed
    for sheet in listed:
        said = f"{sheet.boot.bsl_um / 2000:.1f} mm from the sole's heel end"
        assert f"mid-sole: {said}" in found[sheet.pair.tag]
        assert said in sheet.steps[-1].detail


def test_from_and_to_lie_apart_by_what_the_piece_is_moved() -> None:
    """Read with a pencil: the two places and the distance agree to what the print rounds, 0.1 mm each."""
    checked = 0
    for lines in lines_by_pair("recorded").values():
        for lead, places in itertools.pairwise(lines):
            moved = re.fullmatch(
                r"(?:toe|heel|plate): ([\d.]+) mm toward (TIP|TAIL) from where it stands", lead
            )
            spans = re.match(r"from ([\d.]+) (TIP|TAIL) to ([\d.]+) (TIP|TAIL), at the", places)
            if moved and spans:
                begin, end = (float(spans[n]) * (1 if spans[n + 1] == "TIP" else -1) for n in (1, 3))
                way = float(moved[1]) * (1 if moved[2] == "TIP" else -1)
                assert end - begin == pytest.approx(way, abs=0.21), (lead, places)
                checked += 1
    assert checked > 40


def test_ten_pairs_stand_on_a_page_and_the_others_have_their_own() -> None:
    both = sheets("imported")
    adjusted = [sheet for sheet in both if sheet.rung is Rung.ADJUST]
    own = sum(len(list(work_order_pages(sheet, Paper.A4))) for sheet in both if sheet.rung is not Rung.ADJUST)
    pages = pymupdf.open(stream=orders_pdf(both))
    assert len(pages) == -(-len(adjusted) // TO_A_PAGE) + own
    for page in list(pages)[: -(-len(adjusted) // TO_A_PAGE)]:
        text = page.get_text()
        assert "One that moves: HOLD, both skis." in text
        assert "qualified technician" in text
        assert "VALID UNTIL something new is entered" in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("pairs", [1, 10, 23, 384])
def test_a_page_of_a_longer_list_says_how_many_pairs_the_whole_list_has(pairs: int, paper: str) -> None:
    """Whoever takes one page of nine to the bench must not take its ten pairs for all."""
    one = next(sheet for sheet in sheets("imported") if sheet.rung is Rung.ADJUST)
    pages = list(pymupdf.open(stream=orders_pdf([one] * pairs, paper)))
    said = ["".join(re.findall(r"(\d+(?: of \d+)? pairs?)\n", page.get_text())) for page in pages]
    whole = [TO_A_PAGE] * (pairs // TO_A_PAGE) + [pairs % TO_A_PAGE] * (pairs % TO_A_PAGE > 0)
    more = f" of {pairs}" if pairs > TO_A_PAGE else ""
    assert said == [f"{here}{more} {'pair' if pairs == 1 else 'pairs'}" for here in whole]
    for page in pages:
        [title], [count] = page.search_for("no screw is touched"), page.search_for(said[page.number])
        assert count.x0 > title.x1 + 5
