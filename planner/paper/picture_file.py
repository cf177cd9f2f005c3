"""A single picture to a file: .svg, .pdf or .png by its ending, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from fleet.base.errors import BadInput
from planner.exchange.export.whole_file import write_whole
from planner.paper.pdf_writer import pdf_of
from planner.paper.shapes import Page
from planner.paper.svg_writer import svg_of

PNG_DPI = 150


def write_picture(path: Path, page: Page, *, label: str) -> None:
    """Write the page in the form its ending names. Raises BadInput for another ending or a bad folder."""
    ending = path.suffix.lower()
    if ending == ".svg":
        content = svg_of(page, label=label).encode()
    elif ending == ".pdf":
        content = pdf_of([page], title=label)
    elif ending == ".png":
        content = _png(page, label)
    else:
        raise BadInput(
            f"{path.name} is no picture that can be written", cure="end the name in .svg, .pdf or .png"
        )
    write_whole(path, content)


def _png(page: Page, label: str) -> bytes:
    try:
        import pypdfium2
    except ImportError as fault:
        raise BadInput(
            "drawing a .png needs the package pypdfium2",
            cure="pip install pypdfium2, or ask for .svg or .pdf",
        ) from fault
    from io import BytesIO

    document = pypdfium2.PdfDocument(pdf_of([page], title=label))
    out = BytesIO()
    document[0].render(scale=PNG_DPI / 72).to_pil().save(out, format="PNG")
    return out.getvalue()
