"""The sets wanted: how many of one kind, length and size."""

from typing import Annotated

from fleet.facts.columns import (
    Field,
    Holds,
    LedgerColumn,
    LedgerFacts,
)
from fleet.facts.kinds import KIND, Kind

_LENGTH = Field("ski length", Holds.LENGTH, 60, 240, unit="cm")
_SHELL = Field("the Mondopoint size", Holds.SHELL, unit="cm")


class WishFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of a line of sets wanted."""

    wish: Annotated[
        str,
        LedgerColumn(
            Field("the name of the line", Holds.TAG), "name of the line", example="W-03", required=True
        ),
    ]
    kind: Annotated[
        Kind,
        LedgerColumn(KIND, "what the set is for", example="telemark", required=True),
    ]
    length_min_mm: Annotated[
        int, LedgerColumn(_LENGTH, "shortest ski", key="length_min_cm", example="165", required=True)
    ]
    length_max_mm: Annotated[
        int, LedgerColumn(_LENGTH, "longest ski", key="length_max_cm", example="180", required=True)
    ]
    mondopoint_min_mm: Annotated[
        int, LedgerColumn(_SHELL, "smallest shell in cm", key="mondopoint_min", example="26.5", required=True)
    ]
    mondopoint_max_mm: Annotated[
        int, LedgerColumn(_SHELL, "largest shell in cm", key="mondopoint_max", example="28.5", required=True)
    ]
    quantity: Annotated[
        int,
        LedgerColumn(Field("the quantity", Holds.COUNT, 0, 9999), "sets", example="6", required=True),
    ]
    priority: Annotated[
        int,
        LedgerColumn(
            Field("the priority", Holds.COUNT, 0, 999), "1 is served first", example="1", required=True
        ),
    ]


class Wish(WishFacts, frozen=True, kw_only=True):
    """One line of sets wanted. Windows are closed; ``priority`` 1 is served first."""

    def __post_init__(self) -> None:
        if self.quantity < 0 or self.priority < 1:
            raise ValueError(f"wish {self.wish}: quantity from 0, priority from 1")
        if self.length_min_mm > self.length_max_mm:
            raise ValueError(f"wish {self.wish}: the length window runs backwards")
        if self.mondopoint_min_mm > self.mondopoint_max_mm:
            raise ValueError(f"wish {self.wish}: the shell window runs backwards")
