"""The content of each column: the quantity, its unit, and what is plausible in a ski shop.

The windows only decide what is *asked about*; they come from common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fleet.facts.columns import Field, Holds, columns_of
from imports.headers import THINGS_OF


def _with_facts(found: dict[str, Field]) -> Mapping[str, Field]:
    """By header, with the facts of things. Raises TypeError where a header would hold two sorts of value."""
    for column in (c for things in THINGS_OF.values() for thing in things for c in columns_of(thing)):
        one, other = found.setdefault(column.key, column.field), column.field
        if one != other:
            raise TypeError(
                f"{column.key} holds {one.what} as {one.holds}, and {other.what} as {other.holds}"
            )
    return found


FIELDS: Final = _with_facts(
    {
        "pair_tag": Field("the tag", Holds.TAG),
        "serial": Field("the serial", Holds.TAG),
        "value": Field("the value", Holds.TEXT),
        "origin": Field("the origin", Holds.TEXT),
        "since": Field("the day since when", Holds.TEXT),
        "status": Field("the status", Holds.TEXT),
        "stops": Field("what stops it", Holds.TEXT),
        "notes": Field("the note", Holds.TEXT),
        "inspected": Field("whether it was inspected", Holds.WORD),
        "ski": Field("the ski", Holds.WORD),
        "mark_offset_mm": Field("boot centre from the mark", Holds.LENGTH, -60, 60, signed=True),
        "toe_stands_mm": Field("where the toe piece stands", Holds.LENGTH, 50, 300, signed=True),
        "heel_stands_mm": Field("where the heel piece stands", Holds.LENGTH, -300, -50, signed=True),
        "inspected_from_mm": Field("start of the inspected area", Holds.LENGTH, -1400, 1400, signed=True),
        "inspected_to_mm": Field("end of the inspected area", Holds.LENGTH, -1400, 1400, signed=True),
        "quantity": Field("the quantity", Holds.COUNT, 0, 9999),
        "inspected_on": Field("the day of the inspection", Holds.DAY),
        "mount_date": Field("the day it was mounted", Holds.DAY),
        "bought_on": Field("the day it was bought", Holds.DAY),
    }
)


def holds_text(key: str) -> bool:
    """Return whether a spreadsheet must keep the column's cells as text, or it makes numbers and days of
    them.
    """
    return FIELDS[key].holds is Holds.TAG or key in ("rack", "season")
