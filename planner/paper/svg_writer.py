"""Pages to SVG text: the same shapes for a screen, and for looking at a sheet in tests.

And a single picture to a file: .svg, .pdf or .png by its ending, whole or not at all.
"""

from base64 import b64encode
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from fleet.base.errors import BadInput
from planner.exchange.export.whole_file import write_whole
from planner.paper.shapes import (
    FILES,
    FONT_FOLDER,
    MM_PER_PT,
    SECOND_FILE,
    Box,
    Disc,
    Face,
    Figure,
    Line,
    Modules,
    Page,
    Shape,
    Words,
    printable,
    runs,
    width_mm,
)
from planner.paper.sheet_frame import pdf_of

_FAMILY = {
    Face.SANS: ("Noto Sans", "sans-serif", "400"),
    Face.BOLD: ("Noto Sans", "sans-serif", "700"),
    Face.MONO: ("Noto Sans Mono", "monospace", "400"),
    Face.MONO_BOLD: ("Noto Sans Mono", "monospace", "700"),
}


_SECOND = ", Noto Sans CJK JP"
"""Not carried in a page: whoever reads these signs has a machine that has them."""


def svg_of(page: Page, *, label: str) -> str:
    """One page as an SVG document. ``label`` is what a screen reader says."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(page.width)}mm" height="{_n(page.height)}mm" '
        f'viewBox="0 0 {_n(page.width)} {_n(page.height)}" role="img" aria-label={quoteattr(label)}>'
    )
    return f"{head}\n" + "\n".join(_element(shape) for shape in page.shapes) + "\n</svg>\n"


def font_faces(address: Callable[[str], str]) -> str:
    """CSS that names the four faces. ``address``: of the file of each."""
    return "".join(
        f'@font-face{{font-family:"{family}";font-weight:{weight};font-display:swap;'
        f'src:url("{address(file)}") format("truetype")}}'
        for face, file in FILES.items()
        for family, _, weight in (_FAMILY[face],)
    )


def as_data(file: str) -> str:
    """Return an address that carries the file itself, for a page without a network."""
    return f"data:font/ttf;base64,{b64encode((FONT_FOLDER / file).read_bytes()).decode('ascii')}"


def _element(shape: Shape) -> str:
    if isinstance(shape, Words):
        return _text(shape)
    if isinstance(shape, Modules):
        side = _n(shape.module)
        path = "".join(
            f"M{_n(shape.x + c * shape.module)} {_n(shape.y + r * shape.module)}"
            f"h{_n(k * shape.module)}v{side}h-{_n(k * shape.module)}z"
            for c, r, k in shape.runs
        )
        return f'<path d="{path}" fill="{shape.fill}" shape-rendering="crispEdges"/>'
    paint = _paint(shape)
    if isinstance(shape, Line):
        return (
            f'<line x1="{_n(shape.x1)}" y1="{_n(shape.y1)}" x2="{_n(shape.x2)}" y2="{_n(shape.y2)}"{paint}/>'
        )
    if isinstance(shape, Box):
        corner = f' rx="{_n(shape.radius)}"' if shape.radius else ""
        return (
            f'<rect x="{_n(shape.x)}" y="{_n(shape.y)}" width="{_n(shape.w)}" height="{_n(shape.h)}"{corner}'
            f"{paint}/>"
        )
    if isinstance(shape, Disc):
        return f'<circle cx="{_n(shape.x)}" cy="{_n(shape.y)}" r="{_n(shape.r)}"{paint}/>'
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in shape.points)
    return f'<{"polygon" if shape.closed else "polyline"} points="{points}"{paint}/>'


def _text(shape: Words) -> str:
    """The text as wide as on paper, whatever typeface the machine has: no word comes to lie on another."""
    family, generic, weight = _FAMILY[shape.face]
    family += _SECOND if any(run.file == SECOND_FILE for run in runs(shape.text, shape.face)) else ""
    wide = width_mm(shape.text, shape.face, shape.size)
    room = f' textLength="{_n(wide)}" lengthAdjust="spacingAndGlyphs"' if wide else ""
    turn = f' transform="rotate({_n(-shape.turn)} {_n(shape.x)} {_n(shape.y)})"' if shape.turn else ""
    return (
        f'<text x="{_n(shape.x)}" y="{_n(shape.y)}" font-family="{family}, {generic}" '
        f'font-weight="{weight}" font-size="{_n(shape.size * MM_PER_PT)}" fill="{shape.fill}" '
        f'text-anchor="{shape.anchor}"{room}{turn}>{escape(printable(shape.text, shape.face))}</text>'
    )


def _paint(shape: Figure) -> str:
    parts = [f' fill="{shape.fill or "none"}"']
    if shape.stroke:
        parts.append(f' stroke="{shape.stroke}" stroke-width="{_n(shape.width)}"')
        if shape.dash:
            parts.append(f' stroke-dasharray="{" ".join(_n(part) for part in shape.dash)}"')
    return "".join(parts)


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


PNG_DPI = 150


def write_picture(path: Path, page: Page, *, label: str) -> None:
    """Write the page in the form its ending names. Raises BadInput for another ending or a bad folder."""
    make = {
        ".svg": lambda: svg_of(page, label=label).encode(),
        ".pdf": lambda: pdf_of([page], title=label),
        ".png": lambda: _png(page, label),
    }.get(path.suffix.lower())
    if make is None:
        raise BadInput(
            f"{path.name} is no picture that can be written", cure="end the name in .svg, .pdf or .png"
        )
    write_whole(path, make())


def _png(page: Page, label: str) -> bytes:
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf_of([page], title=label))
    out = BytesIO()
    document[0].render(scale=PNG_DPI / 72).to_pil().save(out, format="PNG")
    return out.getvalue()
