"""The two bars that prove a true-scale print, the printer's test sheet with boxes for their lengths, and the
scale that corrects for the printer's error of length.

The error is measured once on the test sheet: how long the bars of 250 mm along and 100 mm across came out.
Both lengths are policies, so the figures are dated and signed like every other.
"""

from dataclasses import dataclass, replace
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.program import program
from fleet.facts.policy import Policy
from fleet.ledger.desk import Desk
from fleet.ledger.people import set_policy
from fleet.tables.snapshot import read_policy
from planner.paper.cautions import FIRST
from planner.paper.shapes import (
    INK,
    READ,
    SMALL,
    SOFT,
    TITLE,
    Anchor,
    Drawing,
    Face,
    paragraph,
    shortened,
    width_mm,
)
from planner.paper.sheet_frame import (
    HEAD_CODE_MM,
    answer_box,
    head_code,
    paper_named,
    pdf_of,
    qr_code,
    shown_head,
)

ALONG_MM: Final = 250.0
ACROSS_MM: Final = 100.0
_MOST: Final = 0.03
"""More than this is a print dialog that scales, not a printer that stretches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterScale:
    """Factors by which a true length is drawn so that it comes out true; 1 is no correction."""

    along: float = 1.0
    across: float = 1.0

    @property
    def words(self) -> str:
        """The scale in the words of a sheet."""
        if self.along == self.across == 1.0:
            return "no printer correction"
        return f"printer correction x {self.along:.4f} along, x {self.across:.4f} across"


def printer_scale(policy: Policy) -> PrinterScale:
    """Return the correction from the measured lengths of the two bars. Raises BadInput for impossible
    lengths.
    """
    return PrinterScale(
        along=_factor(policy, "printer_along_mm", ALONG_MM),
        across=_factor(policy, "printer_across_mm", ACROSS_MM),
    )


def _factor(policy: Policy, name: str, nominal_mm: float) -> float:
    measured = float(policy.number(name))
    if not nominal_mm * (1 - _MOST) <= measured <= nominal_mm * (1 + _MOST):
        raise BadInput(
            f"the bar of {nominal_mm:g} mm is entered as {measured:g} mm",
            cure="switch off 'fit to page' in the print dialog, print the test sheet again and measure it",
        )
    return nominal_mm / measured


_ORIGIN = "measured with a steel ruler on the printer's test sheet"


def enter_printer(desk: Desk, *, along: str, across: str) -> PrinterScale:
    """Store both lengths (mm as typed) and return the correction. Raises BadInput for a scaled print.

    The check comes before the entries, so that a refused pair of figures leaves nothing behind.
    """
    policy = read_policy(desk.connection)
    scale = printer_scale(policy.with_values(printer_along_mm=along, printer_across_mm=across))
    set_policy(desk, "printer_along_mm", along, origin=_ORIGIN)
    set_policy(desk, "printer_across_mm", across, origin=_ORIGIN)
    return scale


_NOTE: Final = (
    "More than 3 % off is a print dialog that scales, not a printer that stretches: switch it off and "
    "print again. Repeat after a change of printer, driver or paper. Every template carries the same two "
    "bars: they are measured each time. " + FIRST
)


def printer_sheet_pdf(*, shop: str, printed_at: str, head: str, paper: str = "A4") -> bytes:
    """The test sheet, drawn without any correction. ``head``: of the ledger, with its whole hash."""
    width, height = paper_named(paper).size_mm
    d = Drawing()
    bars(d, PrinterScale(), left=11.0, middle=width / 2, bottom=height - 30, height=height)
    x = 32.0
    d.words(x, 24, "Printer test sheet", size=TITLE + 4, face=Face.BOLD)
    when = f" · printed {printed_at}"
    named = shortened(shop, Face.SANS, READ, width - x - 18 - width_mm(when, Face.SANS, READ))
    d.words(x, 31, named + when, size=READ, fill=SOFT)
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


def bars(
    d: Drawing, scale: PrinterScale, *, left: float, middle: float, bottom: float, height: float
) -> None:
    """Draw both bars: the long one upright at ``left``, centred; the short one about ``middle``.

    They are measured between the outer edges of their end strokes' middles, like a rule's graduations.
    """
    top, start = (height - ALONG_MM * scale.along) / 2, middle - ACROSS_MM * scale.across / 2

    def upright(along: float, beside: float) -> tuple[float, float]:
        return left + beside, top + along

    def level(along: float, beside: float) -> tuple[float, float]:
        return start + along, bottom - beside

    for at, nominal, factor in ((upright, ALONG_MM, scale.along), (level, ACROSS_MM, scale.across)):
        d.line(*at(0.0, 0.0), *at(nominal * factor, 0.0), stroke=INK, width=0.3)
        for end in (0.0, nominal * factor):
            d.line(*at(end, -2.5), *at(end, 2.5), stroke=INK, width=0.12)
        for mm in range(10, int(nominal), 10):
            d.line(*at(mm * factor, 0.0), *at(mm * factor, 1.0 if mm % 50 else 2.0), stroke=INK, width=0.12)
    for x, y, nominal, turn in ((left - 1.2, height / 2, ALONG_MM, 90), (middle, bottom + 4.2, ACROSS_MM, 0)):
        d.words(
            x, y, f"{nominal:g} mm exactly, end to end: measure it", size=8, face=Face.BOLD,
            anchor=Anchor.MIDDLE, turn=turn,
        )  # fmt: skip
