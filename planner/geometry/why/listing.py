"""The answer to `mountbook where PAIR PATTERN BSL`."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fleet.base.errors import BadInput
from fleet.base.units import mm_text, mm_to_um, um_to_mm
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.frames import doubt_about_marks
from planner.geometry.placement.legal import LegalOffsets, legal_offsets, offsets_only
from planner.geometry.placement.ways import ways_for
from planner.geometry.why.answer import way_json
from planner.geometry.why.text import where_lines
from planner.plan.values import Way


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Legal offsets with roles, and the ways a plan would choose from. ``doubt``: about the marks."""

    pair: Pair
    pattern: str
    bsl_um: int
    legal: tuple[LegalOffsets, ...]
    ways: tuple[Way, ...]
    doubt: str | None

    def to_json(self) -> dict[str, Any]:
        """Return the JSON object, lengths in millimetres; ``reused`` lists the hole ids of each ski."""
        return {
            "pair": self.pair.tag,
            "pattern": self.pattern,
            "bsl_mm": um_to_mm(self.bsl_um),
            "legal_offsets_mm": [[um_to_mm(a), um_to_mm(b)] for a, b in offsets_only(self.legal)],
            "roles": [
                {
                    "from_mm": um_to_mm(each.low_um),
                    "to_mm": um_to_mm(each.high_um),
                    "skis": {
                        side.value: {
                            "reused": [
                                self.pair.skis[side].holes[claim].hole_id
                                for piece in each.claims[side]
                                for claim in piece
                                if claim is not None
                            ],
                            "drilled": each.drilled(side),
                        }
                        for side in Side
                    },
                }
                for each in self.legal
            ],
            "ways": [way_json(way) for way in self.ways],
            "marks": self.doubt,
        }

    def lines(self) -> Iterator[str]:
        """Yield the answer as lines for a person."""
        yield f"{self.pattern} on pair {self.pair.tag} for a {mm_text(self.bsl_um)} mm sole"
        if self.doubt is not None:
            yield f"  first measure mark to tail on both skis: {self.doubt}"
        yield from where_lines(self.legal, self.ways)


def listing(
    fleet: Fleet, *, pair_tag: str, pattern_name: str, bsl_mm: str, pin_mm: str | None = None
) -> Listing:
    """Return the legal offsets. Raises Refused for an unknown tag or name, BadInput for a text that is no
    length.
    """
    pair, pattern = fleet.pair(pair_tag), fleet.pattern(pattern_name)
    bsl_um, pin_um = length_typed(bsl_mm, "315"), None if pin_mm is None else length_typed(pin_mm, "60")
    mounted = pair.current_mount is not None and pair.current_mount.pattern == pattern.name
    return Listing(
        pair=pair,
        pattern=pattern.name,
        bsl_um=bsl_um,
        legal=legal_offsets(pair=pair, pattern=pattern, bsl_um=bsl_um, policy=fleet.policy, pin_um=pin_um),
        ways=ways_for(
            pair=pair, pattern=pattern, bsl_um=bsl_um, policy=fleet.policy, mounted=mounted, pin_um=pin_um
        ),
        doubt=doubt_about_marks(pair, difference_um=fleet.policy.um("pair_difference_mm")),
    )


def length_typed(text: str, example: str) -> int:
    """Return a length typed in mm as micrometres. Raises BadInput, with an example, unless it is above 0."""
    try:
        value = mm_to_um(text)
    except ValueError as fault:
        raise BadInput(f"{text!r} is not a length in mm", cure=f"write it like {example}") from fault
    if value <= 0:
        raise BadInput(f"{text!r} is not a length from 0 up", cure=f"write it like {example}")
    return value
