"""Pages to PDF bytes: fonts embedded, print scaling off, the same pages giving the same bytes.

And the heads that stand on sheets kept as PDF, read in bulk: the outside anchor.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fleet.audit.heads import KeptHead
from fleet.base.entries import Head
from planner.paper.shapes import Anchor, Box, Disc, Line, Modules, Page, Poly, Shape, Words
from planner.paper.typeface import runs, width_mm

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


PT: Final = 72 / 25.4
"""Points in a millimetre."""


def pdf_of(pages: Iterable[Page], *, title: str) -> bytes:
    """The pages as one PDF. Raises ValueError where there is no page."""
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    # Plain binary streams: the ASCII armour is a habit from 8-bit mail and costs a third of the time.
    rl_config.useA85 = 0
    out = BytesIO()
    canvas = Canvas(out, pageCompression=1, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("mountbook")
    canvas.setAuthor("mountbook")
    canvas.setViewerPreference("PrintScaling", "None")
    count, heads = 0, dict[str, None]()
    for page in pages:
        canvas.setPageSize((page.width * PT, page.height * PT))
        pen = _CanvasPen(canvas, page.height)
        for shape in page.shapes:
            pen.draw(shape)
        canvas.showPage()
        heads |= {page.head: None} if page.head else {}
        count += 1
    if not count:
        raise ValueError(f"nothing to print: {title}")
    canvas.setKeywords(", ".join(f"HEAD {head}" for head in heads))
    canvas.save()
    return out.getvalue()


@cache
def _colour(text: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(text)


class _CanvasPen:
    """Draws the shapes of one page; remembers ink, width and dash, and only says what changes."""

    def __init__(self, canvas: Canvas, height: float) -> None:
        self.canvas, self.height = canvas, height
        self._fill: str | None = None
        self._stroke: str | None = None
        self._width: float | None = None
        self._dash: tuple[float, ...] = ()

    def draw(self, shape: Shape) -> None:
        if isinstance(shape, Words):
            self._write(shape)
        elif isinstance(shape, Line):
            self._set_stroke(shape.stroke, shape.width, shape.dash)
            self.canvas.line(shape.x1 * PT, self._up(shape.y1), shape.x2 * PT, self._up(shape.y2))
        elif isinstance(shape, Modules):
            self._modules(shape)
        else:
            self._figure(shape)

    def _up(self, y: float) -> float:
        """PDF counts from the bottom."""
        return (self.height - y) * PT

    def _set_fill(self, fill: str) -> None:
        if fill != self._fill:
            self.canvas.setFillColor(_colour(fill))
            self._fill = fill

    def _set_stroke(self, stroke: str, width: float, dash: tuple[float, ...]) -> None:
        if stroke != self._stroke:
            self.canvas.setStrokeColor(_colour(stroke))
            self._stroke = stroke
        if width != self._width:
            self.canvas.setLineWidth(width * PT)
            self._width = width
        if dash != self._dash:
            self.canvas.setDash([part * PT for part in dash])
            self._dash = dash

    def _figure(self, shape: Box | Disc | Poly) -> None:
        if shape.stroke is not None:
            self._set_stroke(shape.stroke, shape.width, shape.dash)
        if shape.fill is not None:
            self._set_fill(shape.fill)
        stroke, fill = int(shape.stroke is not None), int(shape.fill is not None)
        if isinstance(shape, Disc):
            self.canvas.circle(shape.x * PT, self._up(shape.y), shape.r * PT, stroke, fill)
        elif isinstance(shape, Poly):
            self._polygon(shape, stroke, fill)
        else:
            left, bottom, w, h = shape.x * PT, self._up(shape.y + shape.h), shape.w * PT, shape.h * PT
            if shape.radius:
                self.canvas.roundRect(left, bottom, w, h, shape.radius * PT, stroke, fill)
            else:
                self.canvas.rect(left, bottom, w, h, stroke, fill)

    def _polygon(self, shape: Poly, stroke: int, fill: int) -> None:
        path = self.canvas.beginPath()
        (x, y), *rest = shape.points
        path.moveTo(x * PT, self._up(y))
        for x, y in rest:
            path.lineTo(x * PT, self._up(y))
        if shape.closed:
            path.close()
        self.canvas.drawPath(path, stroke=stroke, fill=fill)

    def _modules(self, shape: Modules) -> None:
        self._set_fill(shape.fill)
        path = self.canvas.beginPath()
        side = shape.module
        for column, row, length in shape.runs:
            path.rect(
                (shape.x + column * side) * PT,
                self._up(shape.y + (row + 1) * side),
                length * side * PT,
                side * PT,
            )
        self.canvas.drawPath(path, stroke=0, fill=1)

    def _write(self, shape: Words) -> None:
        shift = 0.0
        if shape.anchor is not Anchor.START:
            width = width_mm(shape.text, shape.face, shape.size)
            shift = width * (0.5 if shape.anchor is Anchor.MIDDLE else 1.0)
        self._set_fill(shape.fill)
        if shape.turn:
            self.canvas.saveState()
            self.canvas.translate(shape.x * PT, self._up(shape.y))
            self.canvas.rotate(shape.turn)
            self._line(-shift * PT, 0, shape)
            self.canvas.restoreState()
        else:
            self._line((shape.x - shift) * PT, self._up(shape.y), shape)

    def _line(self, x: float, y: float, shape: Words) -> None:
        text = self.canvas.beginText(x, y)
        for run in runs(shape.text, shape.face):
            text.setFont(run.font, shape.size)
            text.textOut(run.text)
        self.canvas.drawText(text)


_FULL: Final = re.compile(r"HEAD (\d{1,15}):([0-9A-Fa-f]{64})")
_PRINTED: Final = re.compile(r"ledger (\d{1,15}):([0-9a-f]{8})\b")


def heads_of_sheets(folder: Path) -> Iterator[KeptHead]:
    """Yield each head on the sheets in a folder and below it, once a file; a file that is no PDF says so."""
    import pypdfium2

    for path in sorted(folder.rglob("*.pdf")):
        try:
            with pypdfium2.PdfDocument(path) as document:
                text = document.get_metadata_value("Keywords")
                found = _FULL.findall(text) or _PRINTED.findall(
                    "\n".join(page.get_textpage().get_text_bounded() for page in document)
                )
        except (pypdfium2.PdfiumError, OSError) as fault:
            yield KeptHead(head=Head(0, ""), place=f"{path}", fault=f"cannot be read as a PDF: {fault}")
            continue
        for seq, digits in dict.fromkeys(found):
            yield KeptHead(head=Head(int(seq), digits.lower()), place=str(path))
