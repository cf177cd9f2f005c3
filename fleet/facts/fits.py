"""A fit: which sole type may go into which pattern."""

from __future__ import annotations

from typing import Annotated

from fleet.facts.columns import Field, Holds, LedgerColumn, LedgerFacts
from fleet.facts.named import TYPED


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
