"""The page's templates, filled in: autoescaped, and what no screen shows is shown as replaced.

Around a page: head, style, content policy, and what stands on every printed page.
"""

from base64 import b64encode
from collections.abc import Sequence
from functools import cache, partial
from hashlib import sha256
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from fleet.base.units import across_text, half_mm_down, mm_text, to_half_mm, toward
from planner.paper.cautions import CLAIM, DEFER_ON_A_PAGE, NO_SETTING, SPACING
from planner.paper.ski_facts import ScrewFact
from planner.paper.svg_writer import as_data, font_faces

HERE = Path(__file__).parent


def filled(template: str, **values: object) -> Markup:
    """Return the template with these values in it, as markup that another template takes as it is."""
    return Markup(environment(HERE).get_template(template).render(values))


@cache
def environment(folder: Path) -> Environment:
    """Return the templates of a folder, of the tablet page or of the served pages."""
    made = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalized,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {"article_id": article_id, "at": _at}
    made.filters |= {
        "css": _css,
        "mm": mm_text,
        "toward": toward,
        "across": partial(across_text, unit=" mm"),
        "nearest": half_mm_down,
    }
    return made


def _at(screw: ScrewFact, where_um: int) -> int:
    """The place that is shown: of a new hole as its place was judged, to half a millimetre."""
    return to_half_mm(where_um) if screw.do == "drill" else where_um


def article_id(tag: str) -> str:
    """The anchor of a pair's order: letters and digits only."""
    return "order-" + "".join(c if c.isascii() and c.isalnum() else f"_{ord(c):x}_" for c in tag)


def printable(text: str) -> str:
    """Return the text with direction marks and control characters, which turn words around, replaced."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "\ufffd" for c in text)


def _finalized(value: object) -> object:
    return value if hasattr(value, "__html__") else printable(str(value))


def _css(value: str) -> Markup:
    """Text that stays text between quotation marks of a style: all but plain characters by number."""
    return Markup(
        "".join(char if char.isalnum() or char in " .,:;-+()%" else f"\\{ord(char):x} " for char in value)
    )


_CAUTIONS = (DEFER_ON_A_PAGE, NO_SETTING, SPACING, CLAIM)


def document(
    template: str, *, head: str, on_paper: str, order_heads: Sequence[tuple[str, str]], **values: object
) -> str:
    """Return the page as one string that fetches nothing: the same values, the same bytes.

    ``on_paper`` stands at the head of every printed page, ``order_heads`` (by the pair's tag) instead of it
    on the pages of that pair's order; ``head`` is the ledger's.
    """
    margins = filled("margins.css", head=head, on_paper=on_paper, order_heads=order_heads, cautions=_CAUTIONS)
    # Joined, not added: markup added to text would escape the text.
    style = "".join((font_faces(as_data), (HERE / "page.css").read_text(encoding="utf-8"), margins))
    script = (HERE / "page.js").read_text(encoding="utf-8")
    policy = (
        "default-src 'none'; base-uri 'none'; form-action 'none'; font-src data:; "
        f"style-src '{_digest(style)}'; script-src '{_digest(script)}'"
    )
    return filled(template, policy=policy, style=style, script=script, cautions=_CAUTIONS, **values)


def _digest(content: str) -> str:
    return "sha256-" + b64encode(sha256(content.encode("utf-8")).digest()).decode("ascii")
