"""The few words of markup that the page is written with. Everything from data goes through `text`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

Attribute = str | bool | None
Row = tuple[list[str], dict[str, Attribute]]
"""Cells, which are markup already, and the attributes of the row."""


def text(value: object) -> str:
    """Return data as escaped text, isolated from the writing direction of the words around it."""
    shown = "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in str(value))
    return escape(shown, quote=True)


def element(name: str, *inside: str, **attributes: Attribute) -> str:
    """An element; ``class_`` is class, ``data_kind`` is data-kind. What is inside is markup already."""
    said = ""
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        label = key.rstrip("_").replace("_", "-")
        said += f" {label}" if value is True else f' {label}="{text(value)}"'
    return f"<{name}{said}>{''.join(inside)}</{name}>"


def table(
    caption: str,
    heads: Sequence[str],
    rows: Iterable[Row],
    *,
    id_: str | None = None,
) -> str:
    """A real table: caption, column heads with scope, the first cell of each row its head.

    Cells are markup already. The box around it scrolls sideways on a narrow screen, also by keyboard.
    """
    head = element("tr", *(element("th", text(name), scope="col") for name in heads))
    body = [
        element(
            "tr",
            element("th", cells[0], scope="row"),
            *(element("td", cell, data_head=name) for cell, name in zip(cells[1:], heads[1:], strict=True)),
            **attributes,
        )
        for cells, attributes in rows
    ]
    if not body:
        return element("p", f"{text(caption)}: none.", class_="none")
    inner = element(
        "table", element("caption", text(caption)), element("thead", head), element("tbody", *body), id_=id_
    )
    return element("div", inner, class_="scroll", tabindex="0", role="region", aria_label=caption)
