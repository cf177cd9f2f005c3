"""A pattern: the holes of one binding model and range, piece by piece, as data; and what soles fit it.

A class that ends in Facts lists the columns of a pattern, of its pieces and of their holes, one row a fact
(`fleet.facts.columns`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from enum import StrEnum
from typing import Annotated, Any, Final

from fleet.base.entries import Body
from fleet.base.units import checked_um
from fleet.facts.columns import TYPED, Field, Holds, LedgerColumn, LedgerFacts, facts_in_body, plain_facts
from fleet.facts.holes import ACROSS, ALONG, DIAMETER
from fleet.facts.kinds import KIND, NOT_STATED, Kind, Kinds, junior_by_name, stated


class PieceName(StrEnum):
    """The parts of a binding that are screwed down on their own."""

    TOE = "toe"
    HEEL = "heel"
    PLATE = "plate"


class Follows(StrEnum):
    """The place that a piece is positioned by. Its holes are listed relative to that place."""

    TOE = "toe"
    HEEL = "heel"
    CENTRE = "centre"
    MARK = "mark"

    def reference_um(self, offset_um: int, bsl_um: int) -> int:
        """Return where the followed place lies on the ski, in micrometres from the mark.

        ``offset_um`` is the boot centre's offset u from the mark. A BSL is whole millimetres, so its
        half is exact in micrometres.
        """
        if self is Follows.MARK:
            return 0
        return offset_um + _HALF_SOLES[self] * (bsl_um // 2)


_HALF_SOLES: Final = {Follows.TOE: 1, Follows.HEEL: -1, Follows.CENTRE: 0}


class PatternHoleFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of one hole of a piece."""

    x_um: Annotated[
        int,
        LedgerColumn(
            ALONG,
            "along the ski, + to the tip",
            title="relative to what it follows",
            example="-10",
            required=True,
        ),
    ]
    y_um: Annotated[
        int,
        LedgerColumn(
            ACROSS, "across, + to the right looking at the tip", title="across", example="18", required=True
        ),
    ]
    diameter_um: Annotated[
        int | None,
        LedgerColumn(
            DIAMETER,
            "hole diameter where the maker states one",
            title="where the maker states one",
            example="3.6",
        ),
    ] = None


class PatternHole(PatternHoleFacts, frozen=True, kw_only=True):
    """One hole of a piece, in micrometres relative to what the piece follows."""

    def __post_init__(self) -> None:
        checked_um("x_um", self.x_um)
        checked_um("y_um", self.y_um)
        if self.diameter_um is not None and checked_um("diameter_um", self.diameter_um) <= 0:
            raise ValueError(f"diameter_um must be more than 0, not {self.diameter_um}")


_SOLE: Final = Field("boot sole length", Holds.LENGTH, 150, 450)
_TRAVEL: Final = Field("travel", Holds.LENGTH, 0, 200)


class PieceFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of one piece. A piece that states no travel has none."""

    name: Annotated[
        PieceName,
        LedgerColumn(
            Field("the piece", Holds.WORD),
            "part screwed down on its own",
            title="toe, heel or plate",
            key="piece",
            example="toe",
            required=True,
        ),
    ]
    follows: Annotated[
        Follows,
        LedgerColumn(
            Field("what the piece follows", Holds.WORD),
            "what the piece is placed by",
            example="toe",
            required=True,
        ),
    ]
    travel_back_um: Annotated[
        int,
        LedgerColumn(
            _TRAVEL,
            "travel toward the tail after mounting",
            title="travel toward the tail",
            example="15",
            least=0,
        ),
    ] = 0
    travel_forward_um: Annotated[
        int,
        LedgerColumn(
            _TRAVEL,
            "travel toward the tip after mounting",
            title="travel toward the tip",
            example="15",
            least=0,
        ),
    ] = 0
    screw: Annotated[
        str,
        LedgerColumn(
            Field("the screw", Holds.TEXT),
            "length and head of the piece's screws",
            title="length and head of the piece's screws; blank: not known",
            example="14.5 mm, countersunk",
        ),
    ] = ""
    screw_origin: Annotated[
        str,
        LedgerColumn(
            Field("the sheet that names the screw", Holds.TEXT),
            "whose sheet says so",
            example="Sennhof manual 2026 p. 9",
        ),
        TYPED,
    ] = ""


class Piece(PieceFacts, frozen=True, kw_only=True):
    """One piece: its holes, what it follows, and how far it travels after mounting.

    Slide s is the position of the sole's end minus the listed end, + to the tip;
    ``-travel_back_um <= s <= travel_forward_um``. A mount leaves ``reserve_um`` of that at both ends: the
    shop's rule, no fact of the piece. ``screw``: length and head as its maker's sheet says
    ("14.5 mm, countersunk"), ``screw_origin`` that sheet; empty where not known.
    """

    holes: tuple[PatternHole, ...]
    reserve_um: int = 0

    def __post_init__(self) -> None:
        if not self.holes:
            raise ValueError(f"the {self.name} piece has no holes")
        if len({(h.x_um, h.y_um) for h in self.holes}) != len(self.holes):
            raise ValueError(f"the {self.name} piece lists one hole twice")
        for name, value in (
            ("travel_back_um", self.travel_back_um),
            ("travel_forward_um", self.travel_forward_um),
        ):
            if checked_um(name, value) < 0:
                raise ValueError(f"{name} must not be negative, not {value}")
        if self.screw and not self.screw_origin:
            raise ValueError(f"the screw of the {self.name} piece needs an origin: whose sheet says it")

    @property
    def travels(self) -> bool:
        """Return whether somebody has to set it."""
        return self.travel_back_um > 0 or self.travel_forward_um > 0

    @property
    def back_um(self) -> int:
        """Return how far a mount may slide it toward the tail; below 0 where it must stand ahead of 0."""
        return self.travel_back_um - self.reserve_um if self.travels else 0

    @property
    def forward_um(self) -> int:
        """Return how far a mount may slide it toward the tip; below 0 where it must stand behind 0."""
        return self.travel_forward_um - self.reserve_um if self.travels else 0


class PatternFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of a whole pattern."""

    name: Annotated[
        str,
        LedgerColumn(
            Field("the pattern", Holds.TEXT),
            "name of the pattern",
            title="name",
            key="pattern",
            example="Sennhof 75 S",
            required=True,
        ),
    ]
    binding_model: Annotated[
        str,
        LedgerColumn(
            Field("the binding model", Holds.TEXT),
            "the binding it belongs to",
            title="binding model",
            example="Sennhof 75",
            required=True,
        ),
    ]
    bsl_min_um: Annotated[
        int | None, LedgerColumn(_SOLE, "shortest sole it takes", title="shortest sole", example="270")
    ] = None
    bsl_max_um: Annotated[
        int | None, LedgerColumn(_SOLE, "longest sole it takes", title="longest sole", example="340")
    ] = None
    binding_kind: Annotated[
        str,
        LedgerColumn(
            Field("the kind of binding", Holds.TEXT),
            "kind of binding, as `mountbook pattern kinds` lists them",
            title="kind of binding; blank: not stated",
            example="junior",
        ),
    ] = ""
    kind: Annotated[Kind | None, LedgerColumn(KIND, "what the model is for; blank: not stated")] = None


class Pattern(PatternFacts, frozen=True, kw_only=True):
    """The holes of one binding model. ``bsl_min_um``/``bsl_max_um`` are None where not stated.

    ``binding_kind``: one of `fleet.facts.binding_kinds`, "" where not stated. ``kind``: what its model is
    for, None where not stated; ``model_kinds``: what the stock and the shop say of that beside it.
    """

    pieces: tuple[Piece, ...]
    model_kinds: Kinds = NOT_STATED

    def __post_init__(self) -> None:
        if not self.name:
            raise ValueError("a pattern needs a name")
        names = [piece.name for piece in self.pieces]
        if not names:
            raise ValueError(f"pattern {self.name} has no pieces")
        if len(set(names)) != len(names):
            raise ValueError(f"pattern {self.name} lists one piece twice")

    @property
    def kinds(self) -> Kinds:
        """The kinds stated of its model; a child's binding counts as stated."""
        return stated(self.kind) | self.model_kinds | junior_by_name(self.binding_model, self.binding_kind)

    @property
    def hole_count(self) -> int:
        """Holes on one ski."""
        return sum(len(piece.holes) for piece in self.pieces)

    @property
    def travelling(self) -> tuple[str, ...]:
        """The names of the pieces that somebody has to set."""
        return tuple(piece.name.value for piece in self.pieces if piece.travels)

    @property
    def too_short(self) -> Piece | None:
        """The first piece whose travel is shorter than what must be left of it at both ends."""
        return next((piece for piece in self.pieces if piece.forward_um < -piece.back_um), None)

    def leaving(self, reserve_um: int) -> Pattern:
        """Return it with so much of each piece's travel to be left at both ends."""
        pieces = tuple(replace(piece, reserve_um=reserve_um) for piece in self.pieces)
        return replace(self, pieces=pieces)

    def takes_bsl(self, bsl_um: int) -> bool:
        """Return whether the sole length lies in the stated range (an unstated end is open), and the travel
        is enough for what must be left of it.
        """
        return (
            (self.bsl_min_um is None or self.bsl_min_um <= bsl_um)
            and (self.bsl_max_um is None or bsl_um <= self.bsl_max_um)
            and self.too_short is None
        )


class Fit(LedgerFacts, frozen=True, kw_only=True):
    """Sole type x pattern, declared by BOTH makers, with the sheets named. No row means no."""

    sole_type: Annotated[
        str,
        LedgerColumn(
            Field("the sole type", Holds.TEXT),
            "as the boots sheet writes it",
            title="norm of the sole",
            example="ISO 9523",
            required=True,
        ),
    ]
    pattern: Annotated[
        str,
        LedgerColumn(
            Field("the pattern", Holds.TEXT),
            "as the patterns sheet writes it",
            title="pattern",
            example="Sennhof 75 S",
            required=True,
        ),
    ]
    binding_sheet: Annotated[
        str,
        LedgerColumn(
            Field("the binding maker's sheet", Holds.TEXT),
            "the binding maker's sheet",
            example="Sennhof manual 2026 p. 4",
            required=True,
        ),
        TYPED,
    ]
    boot_sheet: Annotated[
        str,
        LedgerColumn(
            Field("the boot maker's sheet", Holds.TEXT),
            "the boot maker's sheet",
            example="Gimmel list 2026-09",
            required=True,
        ),
        TYPED,
    ]


_BY_PLACE: Final = ("x_um", "y_um", "diameter_um")
"""The facts of a hole in bodies that hold it as a list: before it had names, and never more than these."""


def pattern_to_body(pattern: Pattern, *, origin: str = "") -> Body:
    """The canonical body of a pattern; ``origin`` says who measured it and from what.

    What is not stated of a piece or a hole is left out, as in the entry (`fleet.events.settings`).
    """
    return plain_facts(PatternFacts, pattern) | {
        "origin": origin,
        "pieces": [
            _stated(PieceFacts, piece) | {"holes": [_stated(PatternHoleFacts, hole) for hole in piece.holes]}
            for piece in pattern.pieces
        ],
    }


def _stated(thing: type[LedgerFacts], value: object) -> Body:
    return {name: fact for name, fact in plain_facts(thing, value).items() if fact not in (None, "")}


def pattern_from_body(body: Body) -> Pattern:
    """Back from `pattern_to_body`. Raises ValueError for nonsense."""
    return Pattern(
        **facts_in_body(PatternFacts, body),
        pieces=tuple(
            Piece(**facts_in_body(PieceFacts, piece), holes=tuple(map(_hole, piece["holes"])))
            for piece in body["pieces"]
        ),
    )


def _hole(said: Mapping[str, Any] | Sequence[int | None]) -> PatternHole:
    named = said if isinstance(said, Mapping) else dict(zip(_BY_PLACE, said, strict=True))
    return PatternHole(**facts_in_body(PatternHoleFacts, named))
