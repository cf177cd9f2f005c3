"""plan.xlsx, read back by a library that did not write it."""

from __future__ import annotations

from functools import cache
from io import BytesIO
from zipfile import ZipFile

import openpyxl
import pytest

from planner.paper.workbook_out import plan_workbook
from tests.paper.invented_shop import whole_plan

SHEETS = ["Plan", "Sets", "Work orders", "Pieces", "Holes", "Parts", "Unserved", "Pairs not used", "Policy"]
HEADER = 3


@cache
def data(paper: str = "A4") -> bytes:
    return plan_workbook(*whole_plan(), paper=paper)


def book(*, values: bool = False):
    return openpyxl.load_workbook(BytesIO(data()), data_only=values)


def test_every_sheet_is_there_and_says_proposal_above_its_frozen_headers():
    found = book()
    assert found.sheetnames == SHEETS
    for sheet in found:
        assert sheet["A2"].value.startswith("PROPOSAL, not issued"), sheet.title
        assert sheet.freeze_panes is not None, sheet.title
        assert sheet.freeze_panes.endswith(str(HEADER + 1)), sheet.title
        assert all(cell.value for cell in sheet[HEADER]), sheet.title
        assert "PROPOSAL" in sheet.oddHeader.right.text, sheet.title


def test_every_sheet_fits_the_width_of_the_paper_and_repeats_its_headers():
    for paper, code in (("A4", 9), ("Letter", 1)):
        for sheet in openpyxl.load_workbook(BytesIO(data(paper))):
            assert sheet.page_setup.paperSize == code
            # one page wide is the format's own default and may be left unsaid
            assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)
            assert sheet.sheet_properties.pageSetUpPr.fitToPage
            assert sheet.print_title_rows == f"$2:${HEADER}"


def test_filters_cover_the_rows_and_leave_the_total_out():
    sheet = book()["Sets"]
    assert sheet.auto_filter.ref == f"A{HEADER}:Q{HEADER + 23}"
    assert sheet.cell(HEADER + 24, 1).value == "total"


def test_text_that_looks_like_a_formula_is_text():
    found = book()
    texts = [
        cell for sheet in found for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str)
    ]
    formulas = [cell.value for cell in texts if cell.data_type == "f"]
    assert formulas, "the totals are formulas"
    assert all(formula.startswith("=SUBTOTAL(109,") for formula in formulas)
    stored = {cell.value for cell in texts if cell.data_type == "s"}
    assert {"=1+1", "=cmd|' /C calc'!A0", "@SUM(A1)", "-2+3"} <= stored


def test_totals_carry_their_result_for_a_preview_that_does_not_calculate():
    _, plan = whole_plan()
    sheet = book(values=True)["Sets"]
    total = {sheet.cell(HEADER, c).value: sheet.cell(HEADER + 24, c).value for c in range(1, 16)}
    assert total["holes drilled, both skis"] == plan.totals.drilled > 0
    assert total["minutes"] == plan.totals.minutes


def test_the_holes_sheet_has_each_screw_and_each_plug_of_the_orders():
    _, plan = whole_plan()
    rows = list(book(values=True)["Holes"].iter_rows(min_row=HEADER + 1, values_only=True))
    touched = [s for s in plan.sets if s.way.rung.rank]
    assert len(rows) == sum(len(k.holes) + len(k.plug) for s in touched for k in s.way.skis.values())
    assert rows[4][:9] == ("K4-0401", "A", "heel", 1, "drill", -149.5, 18.0, 3.6, 9.0)


def test_parts_say_what_is_on_its_pair_already_and_what_must_be_fetched():
    rows = list(book(values=True)["Parts"].iter_rows(min_row=HEADER + 1, values_only=True))
    by_brake = {row[2]: row for row in rows}
    assert by_brake["no brake"][3:6] == (1, 0, 1)
    needed, there, fetch = by_brake[95][3:6]
    assert needed == 22
    assert there + fetch == needed


def test_the_policy_sheet_gives_every_origin():
    rows = list(book(values=True)["Policy"].iter_rows(min_row=HEADER + 1, values_only=True))
    assert len(rows) > 25
    assert all(row[3] for row in rows)


def test_a_figure_of_the_policy_is_a_number_that_a_spreadsheet_compares():
    rows = book(values=True)["Policy"].iter_rows(min_row=HEADER + 1, values_only=True)
    value = {row[0]: row[1] for row in rows}
    assert value["spacing_mm"] == 10
    assert value["bench_error_mm"] == 0.5
    assert value["mount_adhesive"] == "wood_glue"
    assert value["reuse_spacing_mm"] == "not set"


def test_the_same_plan_gives_the_same_bytes_and_no_link_leads_out():
    assert plan_workbook(*whole_plan()) == data()
    with ZipFile(BytesIO(data())) as archive:
        assert not [name for name in archive.namelist() if "externalLink" in name or "vba" in name.lower()]


def test_a_folder_that_cannot_be_written_leaves_nothing_behind(tmp_path):
    from fleet.base.errors import BadInput
    from planner.exchange.export.whole_file import write_whole

    with pytest.raises(BadInput, match="cannot write"):
        write_whole(tmp_path / "none" / "plan.xlsx", data())
    assert list(tmp_path.iterdir()) == []
