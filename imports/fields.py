"""What each column holds: the quantity, its unit, and what is plausible in a ski shop.

The windows only decide what is *asked about*; they come from common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final


class Holds(StrEnum):
    """The sort of value a column holds."""

    TAG = "tag"
    TEXT = "text"
    WORD = "word"
    LENGTH = "length"
    SHELL = "shell"
    COUNT = "count"
    DAY = "day"


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One key: what it holds. ``low``/``high`` in ``unit``; ``what`` names it in a sentence."""

    what: str
    holds: Holds
    unit: str = "mm"
    low: Decimal = Decimal(0)
    high: Decimal = Decimal(0)
    signed: bool = False


def _mm(what: str, low: str, high: str, *, signed: bool = False, unit: str = "mm") -> Field:
    return Field(
        what=what, holds=Holds.LENGTH, unit=unit, low=Decimal(low), high=Decimal(high), signed=signed
    )


def _text(what: str) -> Field:
    return Field(what=what, holds=Holds.TEXT)


def _word(what: str) -> Field:
    return Field(what=what, holds=Holds.WORD)


def _count(what: str, high: str) -> Field:
    return Field(what=what, holds=Holds.COUNT, high=Decimal(high))


_TAG: Final = Field(what="the tag", holds=Holds.TAG)

FIELDS: Final[Mapping[str, Field]] = {
    "tag": _TAG,
    "pair_tag": _TAG,
    "on_pair": _TAG,
    "hole_id": _text("the hole's id"),
    "binding_id": _text("the binding's id"),
    "model": _text("the model"),
    "binding_model": _text("the binding model"),
    "pattern": _text("the pattern"),
    "binding_sheet": _text("the binding maker's sheet"),
    "boot_sheet": _text("the boot maker's sheet"),
    "binding_kind": _text("the kind of binding"),
    "screw": _text("the screw"),
    "screw_origin": _text("the sheet that names the screw"),
    "sole_type": _text("the sole type"),
    "bsl_measured": _text("how the sole length is known"),
    "season": _text("the season"),
    "serial": Field(what="the serial", holds=Holds.TAG),
    "serial_toe": Field(what="the serial", holds=Holds.TAG),
    "serial_heel": Field(what="the serial", holds=Holds.TAG),
    "rack": _text("the rack"),
    "wish": Field(what="the name of the line", holds=Holds.TAG),
    "name": _text("the name"),
    "value": _text("the value"),
    "origin": _text("the origin"),
    "since": _text("the day since when"),
    "status": _text("the status"),
    "stops": _text("what stops it"),
    "kind": _word("the kind"),
    "construction": _word("the construction"),
    "inspected": _word("whether it was inspected"),
    "ski": _word("the ski"),
    "on_ski": _word("the ski"),
    "state": _word("the hole's state"),
    "knowledge": _word("how the hole is known"),
    "piece": _word("the piece"),
    "follows": _word("what the piece follows"),
    "role": _word("the role"),
    "length_cm": _mm("ski length", "60", "240", unit="cm"),
    "length_min_cm": _mm("ski length", "60", "240", unit="cm"),
    "length_max_cm": _mm("ski length", "60", "240", unit="cm"),
    "waist_mm": _mm("waist width", "45", "160"),
    "mark_offset_mm": _mm("boot centre from the mark", "-60", "60", signed=True),
    "offset_mm": _mm("boot centre from the mark", "-60", "60", signed=True),
    "mark_from_tail_mm": _mm("distance from mark to tail", "200", "1400"),
    "zone_back_mm": _mm("mounting zone behind the mark", "-600", "600", signed=True),
    "zone_front_mm": _mm("mounting zone ahead of the mark", "30", "600"),
    "zone_half_width_mm": _mm("half the width of the mounting zone", "15", "80"),
    "inspected_from_mm": _mm("start of the inspected area", "-1400", "1400", signed=True),
    "inspected_to_mm": _mm("end of the inspected area", "-1400", "1400", signed=True),
    "brake_mm": _mm("brake width", "50", "180"),
    "bsl_mm": _mm("boot sole length", "150", "450"),
    "bsl_min_mm": _mm("boot sole length", "150", "450"),
    "bsl_max_mm": _mm("boot sole length", "150", "450"),
    "x_mm": _mm("distance along the ski", "-450", "450", signed=True),
    "y_mm": _mm("distance from the centre line", "-70", "70", signed=True),
    "diameter_mm": _mm("hole diameter", "2", "9"),
    "depth_mm": _mm("hole depth", "3", "20"),
    "travel_back_mm": _mm("travel", "0", "200"),
    "travel_forward_mm": _mm("travel", "0", "200"),
    "from_mm": _mm("start of the area", "-1400", "1400", signed=True),
    "to_mm": _mm("end of the area", "-1400", "1400", signed=True),
    "how": Field(what="how it was inspected", holds=Holds.WORD),
    "on": Field(what="the day of the inspection", holds=Holds.DAY),
    "pin_mm": _mm("toe end to pin line", "0", "60"),
    "reference_from_tail_mm": _mm("the pair's reference from the tail", "200", "1400"),
    "mondopoint": Field(what="the Mondopoint size", holds=Holds.SHELL, unit="cm"),
    "mondopoint_min": Field(what="the Mondopoint size", holds=Holds.SHELL, unit="cm"),
    "mondopoint_max": Field(what="the Mondopoint size", holds=Holds.SHELL, unit="cm"),
    "quantity": _count("the quantity", "9999"),
    "priority": _count("the priority", "999"),
    "earlier_mounts": _count("the number of earlier mounts", "12"),
    "drilled": _count("whether holes were drilled", "1"),
    "inspected_on": Field(what="the day of the inspection", holds=Holds.DAY),
    "mount_date": Field(what="the day it was mounted", holds=Holds.DAY),
    "mounted_on": Field(what="the day it was mounted", holds=Holds.DAY),
    "removed_on": Field(what="the day it was taken off", holds=Holds.DAY),
    "bought_on": Field(what="the day it was bought", holds=Holds.DAY),
    "valid_until": Field(what="the last day the signature counts", holds=Holds.DAY),
}
