"""The page's templates, filled in: autoescaped, and what no screen shows is shown as replaced."""

from __future__ import annotations

from functools import cache, partial
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from fleet.base.units import across_text, half_mm_down, mm_text, to_half_mm, toward
from planner.paper.ski_facts import ScrewFact

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
