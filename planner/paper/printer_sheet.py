"""The printer's test sheet: two bars, and two boxes for their lengths by the steel ruler."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from fleet.base.program import program
from planner.paper.ink import READ, SMALL, SOFT, TITLE
from planner.paper.pdf_writer import pdf_of
from planner.paper.printer import ACROSS_MM, ALONG_MM, PrinterScale
from planner.paper.qr import head_code, qr_code
from planner.paper.shapes import Anchor, Drawing, Face
from planner.paper.sheet_frame import HEAD_CODE_MM, answer_box, paper_named, shown_head
from planner.paper.true_scale import bars
from planner.paper.typeface import paragraph

_NOTE: Final = (
    "More than 3 % off is a print dialog that scales, not a printer that stretches: switch it off and "
    "print again. Repeat after a change of printer, driver or paper. Every template carries the same two "
    "bars: they are measured each time."
)


def printer_sheet_pdf(*, shop: str, printed_at: str, head: str, paper: str = "A4") -> bytes:
    """The test sheet, drawn without any correction. ``head``: of the ledger, with its whole hash."""
    size = paper_named(paper)
    width, height = size.size_mm
    d = Drawing()
    bars(d, PrinterScale(), left=11.0, middle=width / 2, bottom=height - 30, height=height)
    x = 32.0
    d.words(x, 24, "Printer test sheet", size=TITLE + 4, face=Face.BOLD)
    d.words(x, 31, f"{shop} · printed {printed_at}", size=READ, fill=SOFT)
    y = 42.0
    for number, text in enumerate(
        (
            "Print this sheet at 100 %: in the print dialog switch off 'fit', 'shrink' and 'scale'. "
            "Use the paper and the tray that templates are printed on.",
            "Lay a steel ruler on each bar, end stroke to end stroke; read it to a quarter millimetre.",
            "Write both lengths below and enter them once:",
        ),
        start=1,
    ):
        d.words(x, y, str(number), size=13, face=Face.BOLD)
        y = paragraph(d, x + 8, y, text, size=READ, room=width - x - 26, step=5.4) + 2.6
    d.words(x + 8, y, "mountbook printer measured ALONG ACROSS", size=READ, face=Face.MONO_BOLD)
    y += 12
    for label, nominal in (("along the sheet", ALONG_MM), ("across the sheet", ACROSS_MM)):
        d.words(x + 8, y + 8, label, size=READ + 2, face=Face.BOLD)
        answer_box(d, x + 58, y, 42, 12)
        d.words(x + 98, y + 10.4, "mm", size=READ, fill=SOFT, anchor=Anchor.END)
        d.words(x + 104, y + 8, f"of {nominal:g} mm", size=READ)
        y += 17
    y += 4
    paragraph(d, x, y, _NOTE, size=READ, room=width - x - 18, step=5.4)
    right = width - 11.0
    d.add(qr_code(head_code(head), right - HEAD_CODE_MM, height - 18.2, HEAD_CODE_MM))
    for above, text in enumerate((program(), f"ledger {shown_head(head)}")):
        d.words(
            right - HEAD_CODE_MM - 2, height - 7.5 - 3 * above, text, size=SMALL, face=Face.MONO, fill=SOFT,
            anchor=Anchor.END,
        )  # fmt: skip
    return pdf_of([replace(d.page(width, height), head=head)], title="Printer test sheet")
