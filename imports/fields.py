"""What each column holds: the quantity, its unit, and what is plausible in a ski shop.

The windows only decide what is *asked about*; they come from common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fleet.facts.columns import Field, Holds, columns_of, count, day, length, shell, tag, text, word
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
        "pair_tag": tag(),
        "binding_model": text("the binding model"),
        "binding_sheet": text("the binding maker's sheet"),
        "boot_sheet": text("the boot maker's sheet"),
        "serial": tag("the serial"),
        "wish": tag("the name of the line"),
        "name": text("the name"),
        "value": text("the value"),
        "origin": text("the origin"),
        "since": text("the day since when"),
        "status": text("the status"),
        "stops": text("what stops it"),
        "inspected": word("whether it was inspected"),
        "ski": word("the ski"),
        "piece": word("the piece"),
        "follows": word("what the piece follows"),
        "role": word("the role"),
        "length_min_cm": length("ski length", "60", "240", unit="cm"),
        "length_max_cm": length("ski length", "60", "240", unit="cm"),
        "mark_offset_mm": length("boot centre from the mark", "-60", "60", signed=True),
        "offset_mm": length("boot centre from the mark", "-60", "60", signed=True),
        "inspected_from_mm": length("start of the inspected area", "-1400", "1400", signed=True),
        "inspected_to_mm": length("end of the inspected area", "-1400", "1400", signed=True),
        "bsl_min_mm": length("boot sole length", "150", "450"),
        "bsl_max_mm": length("boot sole length", "150", "450"),
        "travel_back_mm": length("travel", "0", "200"),
        "travel_forward_mm": length("travel", "0", "200"),
        "from_mm": length("start of the area", "-1400", "1400", signed=True),
        "to_mm": length("end of the area", "-1400", "1400", signed=True),
        "how": word("how it was inspected"),
        "on": day("the day of the inspection"),
        "mondopoint_min": shell(),
        "mondopoint_max": shell(),
        "quantity": count("the quantity", "9999"),
        "priority": count("the priority", "999"),
        "drilled": count("whether holes were drilled", "1"),
        "inspected_on": day("the day of the inspection"),
        "mount_date": day("the day it was mounted"),
        "mounted_on": day("the day it was mounted"),
        "removed_on": day("the day it was taken off"),
        "bought_on": day("the day it was bought"),
        "valid_until": day("the last day the signature counts"),
    }
)


def holds_text(key: str) -> bool:
    """Whether a spreadsheet must keep the column's cells as text, or it makes numbers and days of them."""
    return FIELDS[key].holds is Holds.TAG or key in ("rack", "season")
