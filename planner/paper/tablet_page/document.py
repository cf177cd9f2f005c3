"""The document around a tablet page: head, style, content policy, and what stands on every printed page."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from hashlib import sha256

from planner.paper.cautions import CLAIM, DEFER_ON_A_PAGE, NO_SETTING, SPACING
from planner.paper.svg_writer import as_data, font_faces
from planner.paper.tablet_page.templates import HERE, filled

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
