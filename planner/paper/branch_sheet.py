"""The sheet of a branch: what is done when a work order cannot go on as its own sheet says. One page."""

from datetime import datetime

from fleet.tables.snapshot import Fleet
from planner.bench.orders.branches import Branch
from planner.paper import cautions
from planner.paper.shapes import (
    GARNET,
    INK,
    LABEL,
    READ,
    SOFT,
    TITLE,
    Anchor,
    Face,
    fitted,
    paragraph,
    wrapped,
)
from planner.paper.sheet_frame import (
    FramedSheet,
    anchors_of,
    answer_box,
    framed,
    paper_named,
    pdf_of,
    signature_row,
    standing_cautions,
    tag_head,
)

_BOX = 34.0
_SIGN_ROW = 16.0


def branch_pdf(fleet: Fleet, branch: Branch, *, printed_at: datetime, paper: str = "A4") -> bytes:
    """Return the page as a PDF. Raises BadInput for an unknown paper."""
    name = f"{branch.order} branch {branch.name}"
    origins = "; ".join(dict.fromkeys(step.origin for step in branch.steps))
    notes = [f"{standing_cautions()} {cautions.SPACING}", f"The steps are: {origins}."]
    sheet = framed(paper_named(paper), anchors_of(fleet, name, printed_at=printed_at), notes)
    y = _head(sheet, branch, sheet.top)
    for number, step in enumerate(branch.steps, start=1):
        top, x, room = y, sheet.left + 9.0, sheet.room - _BOX - 13.0
        sheet.words(sheet.left + 3.5, y + 6.0, str(number), size=15, face=Face.BOLD, anchor=Anchor.MIDDLE)
        y = paragraph(sheet, x, y + 5.4, step.lead, size=12.0, room=room, step=5.4, face=Face.BOLD) - 0.6
        y = paragraph(sheet, x, y, step.words, size=READ, room=room, step=4.8) - 4.8
        answer_box(sheet, sheet.right - _BOX, top + 1.4, _BOX, max(y - top, 8.0), loud="STOP" in step.lead)
        for command in step.type.splitlines():
            for index, line in enumerate(wrapped(command, Face.MONO, 8.5, sheet.room - 22.0)):
                y += 4.2
                if not index:
                    sheet.words(x, y + 0.6, "type", size=LABEL, fill=SOFT)
                sheet.words(x + 9.0, y + 0.6, line, size=8.5, face=Face.MONO)
        y += 4.0
        sheet.line(sheet.left, y, sheet.right, y, stroke=SOFT, width=0.2)
        y += 0.6
    signature_row(sheet, _SIGN_ROW, (("did the work: name, date, time", 0.5), ("head technician, date", 0.5)))
    return pdf_of([sheet.page(sheet.width, sheet.height)], title=f"{branch.order}: {branch.name}")


def _head(sheet: FramedSheet, branch: Branch, y: float) -> float:
    right = ((6.3, "BRANCH", TITLE, Face.BOLD), (11.8, branch.order, 12.0, Face.MONO_BOLD))
    tag_head(sheet, f"{branch.order}/{branch.tag}", branch.tag, room=sheet.room - 100, right=right)
    title = ", ".join(filter(None, (branch.happened.upper(), branch.about)))
    fitted(
        sheet, sheet.left, y + 28.5, title, size=22, room=sheet.room, least=12, face=Face.BOLD, fill=GARNET
    )
    for index, text in enumerate(
        (
            "The work order stops here; go on by these steps. Write the value or the time into each box.",
            "Words in CAPITALS in a line to type are yours to put: NAME, WHAT, GLUE, X, Y and so on.",
        )
    ):
        sheet.words(sheet.left, y + 34.5 + 4.6 * index, text, size=9.5)
    sheet.line(sheet.left, y + 42.0, sheet.right, y + 42.0, stroke=INK, width=0.5)
    return y + 42.6
