"""The issued sheets on disk: all of them, or nothing."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from pypdf import PdfReader

from fleet.base.errors import BadInput
from planner.bench.orders.issue import issue
from planner.paper.issued_sheets import SHEETS, issued_pdf, sheets_file
from planner.plan.plan_file import plan_hash
from tests.counter.shop import IDA
from tests.orders.bench_shop import BenchShop


def test_an_issued_sheet_carries_number_revision_and_the_head_and_no_proposal(
    shop: BenchShop, tmp_path: Path
) -> None:
    plan = shop.plan()
    with shop.desk(IDA) as desk:
        issued = issue(desk, plan, plan_hash=plan_hash(plan))
        files = sheets_file(tmp_path, issued_pdf(desk, issued, paper="A4")[0])
        assert not (tmp_path / SHEETS).exists()
    [path] = files.publish()
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(path.read_bytes())).pages)
    assert "WO-2612-0001" in text
    assert "rev A" in text
    assert str(shop.ledger.head) in text
    assert "PROPOSAL" not in text
    assert [each.name for each in tmp_path.glob(".work*")] == []


def test_sheets_of_an_issue_that_failed_leave_nothing_behind(shop: BenchShop, tmp_path: Path) -> None:
    before, plan, made = shop.dump(), shop.plan(), []

    def begin_and_fail() -> None:
        with shop.desk(IDA) as desk:
            issued = issue(desk, plan, plan_hash=plan_hash(plan))
            made.append(sheets_file(tmp_path, issued_pdf(desk, issued, paper="Letter")[0]))
            raise RuntimeError("the power fails here")

    with pytest.raises(RuntimeError):
        begin_and_fail()
    [files] = made
    files.discard()
    assert list(tmp_path.glob("*.pdf")) + list(tmp_path.glob(".work*")) == []
    assert shop.dump() == before


def test_a_folder_that_cannot_be_written_is_one_sentence(shop: BenchShop) -> None:
    with pytest.raises(BadInput, match="cannot write into"):
        sheets_file(Path("/nowhere/at/all"), b"%PDF")
