"""The value of a column from a text that a person typed, as the files of an export write it."""

from datetime import date
from typing import Any, Final

from fleet.base.errors import BadInput, or_bad_input
from fleet.base.units import mm_to_um, typed_count
from fleet.facts.columns import Holds, LedgerColumn
from fleet.facts.kinds import with_shop_kinds
from fleet.facts.policy import Policy

_LONGEST_TEXT: Final = 500
"""As much as an import takes: what is exported can be imported again."""


def value_of_text(column: LedgerColumn, text: str, policy: Policy) -> Any:
    """Return the ledger's value of a text; empty means unknown. Raises BadInput for what it cannot hold."""
    if len(text) > _LONGEST_TEXT:
        raise BadInput(
            f"{column.key} has {len(text)} characters", cure="shorten it, or say the rest as a remark"
        )
    words = with_shop_kinds(column.words, policy)
    if column.instead is not None and text in set(column.instead) - {column.silence}:
        return text
    if text and column.field.holds is Holds.WORD and text not in words:
        raise BadInput(f"{column.key}: {text!r} is not a word for it", cure=f"one of: {', '.join(words)}")
    if not text or (column.kind is not int and column.field.holds is not Holds.DAY):
        return text or column.not_stated
    with or_bad_input(f"{column.key}:", cure="write it like 12.5, a day like 2026-11-26"):
        if column.field.holds is Holds.DAY:
            return date.fromisoformat(text).isoformat()
        if column.per_unit == 1:
            value = typed_count(text)
        else:
            value, odd = divmod(mm_to_um(text), 1000 // column.per_unit)
            if odd:
                raise ValueError(f"{text} cm is finer than a millimetre")
    if column.smallest is not None and value < column.smallest:
        raise BadInput(
            f"{column.key}: {text} must not be {'negative' if value < 0 else 'zero'}",
            cure=f'check it; where it is not known, leave it empty: "{column.key}="',
        )
    return value
