"""Pages to PDF bytes: fonts embedded, print scaling off, the same pages giving the same bytes."""

from __future__ import annotations

from collections.abc import Iterable
from io import BytesIO
from typing import TYPE_CHECKING, Final

from planner.paper.shapes import Anchor, Box, Disc, Line, Modules, Page, Poly, Shape, Words
from planner.paper.typeface import checked, registered, width_mm

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PT: Final = 72 / 25.4
"""Points in a millimetre."""


def pdf_of(pages: Iterable[Page], *, title: str) -> bytes:
    """The pages as one PDF. Raises ValueError where there is no page, BadInput for a missing glyph."""
    from reportlab.pdfgen.canvas import Canvas

    out = BytesIO()
    canvas = Canvas(out, pageCompression=1, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("mountbook")
    canvas.setAuthor("mountbook")
    canvas.setViewerPreference("PrintScaling", "None")
    count = 0
    for page in pages:
        canvas.setPageSize((page.width * PT, page.height * PT))
        for shape in page.shapes:
            _draw(canvas, shape, page.height)
        canvas.showPage()
        count += 1
    if not count:
        raise ValueError(f"nothing to print: {title}")
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, shape: Shape, height: float) -> None:
    if isinstance(shape, Words):
        _write(canvas, shape, height)
    elif isinstance(shape, Line):
        _pen(canvas, shape.stroke, shape.width, shape.dash)
        canvas.line(shape.x1 * PT, (height - shape.y1) * PT, shape.x2 * PT, (height - shape.y2) * PT)
    elif isinstance(shape, Modules):
        _modules(canvas, shape, height)
    else:
        _pen(canvas, shape.stroke, shape.width, shape.dash)
        if shape.fill:
            canvas.setFillColor(shape.fill)
        stroke, fill = int(shape.stroke is not None), int(shape.fill is not None)
        if isinstance(shape, Box):
            left, bottom = shape.x * PT, (height - shape.y - shape.h) * PT
            if shape.radius:
                canvas.roundRect(left, bottom, shape.w * PT, shape.h * PT, shape.radius * PT, stroke, fill)
            else:
                canvas.rect(left, bottom, shape.w * PT, shape.h * PT, stroke, fill)
        elif isinstance(shape, Disc):
            canvas.circle(shape.x * PT, (height - shape.y) * PT, shape.r * PT, stroke, fill)
        else:
            _polygon(canvas, shape, height, stroke, fill)


def _pen(canvas: Canvas, stroke: str | None, width: float, dash: tuple[float, ...]) -> None:
    if stroke is None:
        return
    canvas.setStrokeColor(stroke)
    canvas.setLineWidth(width * PT)
    canvas.setDash([part * PT for part in dash] if dash else [])


def _polygon(canvas: Canvas, shape: Poly, height: float, stroke: int, fill: int) -> None:
    path = canvas.beginPath()
    (x, y), *rest = shape.points
    path.moveTo(x * PT, (height - y) * PT)
    for x, y in rest:
        path.lineTo(x * PT, (height - y) * PT)
    if shape.closed:
        path.close()
    canvas.drawPath(path, stroke=stroke, fill=fill)


def _modules(canvas: Canvas, shape: Modules, height: float) -> None:
    canvas.setFillColor(shape.fill)
    path = canvas.beginPath()
    side = shape.module * PT
    for column, row in shape.cells:
        path.rect(
            (shape.x + column * shape.module) * PT,
            (height - shape.y - (row + 1) * shape.module) * PT,
            side,
            side,
        )
    canvas.drawPath(path, stroke=0, fill=1)


def _write(canvas: Canvas, shape: Words, height: float) -> None:
    name, _ = registered(shape.face)
    text = checked(shape.text, shape.face)
    shift = 0.0
    if shape.anchor is not Anchor.START:
        shift = width_mm(text, shape.face, shape.size) * (0.5 if shape.anchor is Anchor.MIDDLE else 1.0)
    canvas.setFillColor(shape.fill)
    canvas.setFont(name, shape.size)
    if shape.turn:
        canvas.saveState()
        canvas.translate(shape.x * PT, (height - shape.y) * PT)
        canvas.rotate(shape.turn)
        canvas.drawString(-shift * PT, 0, text)
        canvas.restoreState()
    else:
        canvas.drawString((shape.x - shift) * PT, (height - shape.y) * PT, text)
