"""The sheet of a marked copy with the questions of which one answer settles many rows: a line for each."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date
from typing import TYPE_CHECKING, Final

from fleet.base.errors import BadInput
from imports.answers import GivenAnswer
from imports.cells import Sheet
from imports.findings import Finding, Severity
from imports.question_id import parts_of
from imports.questions import ImportQuestion, checked_answer

if TYPE_CHECKING:
    from xlsxwriter import Workbook

NAME: Final = "Open questions"
_MARK: Final = "mountbook: open questions. Answer in column C, then import this file."
_HEAD: Final = ("question", "rows", "your answer", "answers", "id; leave it as it is")
_WIDTHS: Final = (90, 8, 30, 60, 40)


def is_question_sheet(sheet: Sheet) -> bool:
    """Return whether the sheet is one that a marked copy added."""
    first = sheet.rows.get(1, {}).get(1)
    return first is not None and first.text == _MARK


def write_question_sheet(book: Workbook, name: str, questions: Sequence[ImportQuestion]) -> None:
    """Write the questions, those that settle most rows first, as texts."""
    sheet = book.add_worksheet(name)
    text = book.add_format({"num_format": "@", "text_wrap": True, "valign": "top"})
    room = book.add_format({"num_format": "@", "bg_color": "#FFD27F"})
    sheet.write_string(0, 0, _MARK)
    for column, (head, width) in enumerate(zip(_HEAD, _WIDTHS, strict=True)):
        sheet.write_string(1, column, head)
        sheet.set_column(column, column, width)
    for row, question in enumerate(questions, start=2):
        offered = "; ".join(f"{g.answer} ({g.why})" if g.why else g.answer for g in question.guesses)
        sheet.write_string(row, 0, question.text[:32000], text)
        sheet.write_number(row, 1, question.settles)
        sheet.write_blank(row, 2, None, room)
        sheet.write_string(row, 3, offered[:32000], text)
        sheet.write_string(row, 4, question.id, text)
    sheet.freeze_panes(2, 1)


def read_question_sheet(
    sheet: Sheet, *, today: date, kinds: Collection[str]
) -> tuple[dict[str, GivenAnswer], list[Finding]]:
    """(answers by question, what is wrong with the others), each said where it stands."""
    given: dict[str, GivenAnswer] = {}
    faults = []
    for number, cells in sorted(sheet.rows.items()):
        identity = cells[5].text.strip() if 5 in cells else ""
        answer = cells[3].text.strip() if 3 in cells else ""
        if number < 3 or not answer or parts_of(identity) is None:
            continue
        try:
            text = checked_answer(identity, answer, question=None, today=today, kinds=kinds)
        except BadInput as fault:
            faults.append(refused_answer(answer, fault, sheet=sheet.name, row=number, column="C"))
        else:
            given[identity] = GivenAnswer(text)
    return given, faults


def refused_answer(
    answer: str,
    fault: BadInput,
    *,
    sheet: str | None = None,
    row: int | None = None,
    column: str | None = None,
) -> Finding:
    """An answer that is none, said where it stands; its question stays open, and the other answers count."""
    return Finding(
        severity=Severity.BAD,
        code="no_answer",
        sheet=sheet,
        row=row,
        column=column,
        raw=answer,
        message=fault.sentence,
        fix=fault.cure or "correct the answer, or clear it",
    )
