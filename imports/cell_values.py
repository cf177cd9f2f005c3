"""One cell to a value, by what its column holds."""

import re
from collections.abc import Collection
from datetime import date
from decimal import Decimal
from typing import Final

from fleet.base.kept_names import is_place
from fleet.facts.columns import Field, Holds
from fleet.facts.pairs import Brake
from imports.cells import Cell, Content, unguarded
from imports.days import day
from imports.header_match import header_text
from imports.quantities import (
    NOTHING,
    Read,
    ask,
    count,
    length,
    mondopoint,
    note,
    tidy,
    tidy_words,
    unreadable,
)
from imports.tags import shown_day, tag
from imports.words import says, value_words, word

_BRAKE: Final = re.compile(r"[bB] ?(?P<width>\d{2,3})(?: ?mm)?")
"""A brake's width behind the letter that stands for brake: ``B90``."""


def read_cell(
    cell: Cell,
    key: str,
    field_: Field,
    unit: str,
    order: str,
    today: date,
    from_csv: bool,
    kinds: Collection[str] = (),
) -> Read:
    """One cell by what its column holds. Blank text is nothing. ``kinds``: those that the shop has added."""
    if cell.content is Content.TEXT and not tidy(cell.text).strip(" -–—?"):
        if "?" in tidy(cell.text):
            return ask(
                "question_mark",
                f"{field_.what} is a question mark",
                f"enter {field_.what}, or leave it blank",
            )
        return NOTHING
    doubt = _no_value(cell, key, field_)
    if doubt is not None:
        return doubt
    if key == "brake_mm":
        if says(cell.text, "none", "no_brake"):
            return Read(Brake.NONE)
        if header_text(cell.text).words == header_text(Brake.TOLD).words:
            return Read(Brake.TOLD)
        if lettered := _BRAKE.fullmatch(tidy(cell.text)):
            width = Decimal(lettered["width"])
            if field_.low <= width <= field_.high:
                return note(width, "brake_letter", f"{cell.text!r} was read as a brake of {width:f} mm")
    if field_.holds is Holds.LENGTH:
        return length(
            cell,
            what=field_.what,
            out_unit=field_.unit,
            header_unit=unit,
            low=Decimal(field_.low),
            high=Decimal(field_.high),
            signed=field_.signed,
        )
    if field_.holds is Holds.TAG and (key != "serial" or shown_day(cell) is None):
        return tag(cell._replace(style="csv") if from_csv else cell)
    if field_.holds is Holds.WORD:
        return word(cell, key=key, what=field_.what, more=kinds if key == "kind" else ())
    if field_.holds is Holds.COUNT:
        return count(cell, what=field_.what, high=field_.high)
    if field_.holds is Holds.SHELL:
        return mondopoint(cell, header_unit=unit)
    if field_.holds is Holds.DAY:
        return day(cell, what=field_.what, order=order, today=_horizon(key, today))
    if key == "binding_model" and says(cell.text, "none", "no_binding"):
        return note(None, "no_binding", f"{cell.text!r} was read as: no binding")
    if from_csv and cell.text.lstrip().startswith("="):
        return ask(
            "text_is_formula", f"{field_.what} is a formula, {cell.text!r}", "enter its result, or the text"
        )
    return _text(cell, field_)


_NAMED: Final = ("model", "binding_model", "rack", "season", "sole_type")
"""Texts that name something, so that *yes* names nothing."""


def _no_value(cell: Cell, key: str, field_: Field) -> Read | None:
    """Return what a text is that says no value: unknown, as above, or only *yes*; None for others."""
    if cell.content is not Content.TEXT or key in ("answer", "reason", "notes"):
        return None
    text = cell.text
    if field_.holds is Holds.WORD and header_text(text).words in value_words()[key]:
        return None
    if says(text, "ditto"):
        return ask("ditto", f"{text!r} says *as above*, and nothing stands above", f"enter {field_.what}")
    if field_.holds is Holds.TAG:
        return None
    if says(text, "unknown"):
        return note(None, "said_unknown", f"{text!r} was read as: not known")
    if key in _NAMED and says(text, "tick"):
        return ask(
            "only_yes", f"{text!r} says that there is one, not which: {field_.what}", f"enter {field_.what}"
        )
    return None


def _horizon(key: str, today: date) -> date:
    """A signature may count until a day to come; nothing else may have happened then."""
    return date(today.year + 20, 12, 31) if key == "valid_until" else today


def _text(cell: Cell, field_: Field) -> Read:
    stopped = unreadable(cell, field_.what)
    if stopped is not None:
        return stopped
    if cell.content is Content.DATE:
        return ask(
            "text_is_date", f"the spreadsheet made a date of {field_.what} ({cell.text})", "enter it as text"
        )
    if cell.content is Content.TRUTH:
        return ask("text_is_truth", f"{field_.what} is {cell.text}", "enter it as text")
    text = tidy_words(unguarded(cell.text))
    if not text:
        return NOTHING
    if len(text) > 500:
        return ask("text_too_long", f"{field_.what} has {len(text)} characters", "shorten it")
    if is_place(text):
        return ask("text_is_place", f"{text!r} is how the ledger itself says a name", "write it otherwise")
    if text != " ".join(unguarded(cell.text).split()):
        return note(text, "text_cleaned", f"invisible or odd characters were taken out of {text!r}")
    return Read(text)
