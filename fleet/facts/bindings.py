"""The binding of one ski as values, wherever it is; and its brake: a width, none, or nobody knows."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from fleet.base.units import mm_text
from fleet.facts.columns import Field, Holds, LedgerColumn, LedgerFacts, Shown
from fleet.facts.holes import Side
from fleet.facts.kinds import KIND, Kind
from fleet.facts.named import BindingId


class Brake(StrEnum):
    """Words in the place of a brake's width. In the ledger ``none`` and ``not known`` stand, or null: as
    older ledgers tell that there is none, which nobody saw. ``told as none`` is that in files.
    """

    NONE = "none"
    UNKNOWN = "not known"
    TOLD = "told as none"


BrakeWidth = int | Brake | None
"""Micrometres, or a word; null: told as none, not seen."""


def no_brake(brake: BrakeWidth) -> bool:
    """Return whether there is none, seen or told."""
    return brake_to_plan(brake) is None


def brake_to_plan(brake: BrakeWidth) -> BrakeWidth:
    """As plans count it: the width, None for no brake (seen or told), ``not known``."""
    return brake if isinstance(brake, int) or brake is Brake.UNKNOWN else None


def brake_text(brake: BrakeWidth, *, lead: str = "brake ", unit: str = " mm") -> str:
    """``brake 95 mm``, ``no brake``, ``no brake (told, not seen)``, ``brake not known``."""
    if isinstance(brake, int):
        return f"{lead}{mm_text(brake)}{unit}"
    if brake is Brake.UNKNOWN:
        return f"{lead}not known"
    return "no brake" if brake is Brake.NONE else "no brake (told, not seen)"


def planned_brake_text(brake: BrakeWidth, *, lead: str = "brake ", unit: str = " mm") -> str:
    """The same of a plan, which counts told and seen alike: ``no brake`` for None."""
    return brake_text(Brake.NONE if no_brake(brake) else brake, lead=lead, unit=unit)


class BindingFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of the binding of one ski, wherever it is."""

    binding_id: Annotated[
        BindingId,
        LedgerColumn(
            Field("the binding's id", Holds.TEXT),
            "name of one ski's binding in stock; leave it as it is",
            title="name of the binding",
            required=True,
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    model: Annotated[
        str, LedgerColumn(Field("the model", Holds.TEXT), "binding model", shown=Shown.FOR_PEOPLE)
    ]
    pattern: Annotated[
        str,
        LedgerColumn(
            Field("the pattern", Holds.TEXT), "its pattern; blank: not known", shown=Shown.FOR_PEOPLE
        ),
    ]
    brake_um: Annotated[
        BrakeWidth,
        LedgerColumn(
            Field("brake width", Holds.LENGTH, 50, 180),
            "brake width; none: no brake, blank: not known",
            title="a number; none: there is no brake; told as none: nobody saw it; blank: not known",
            shown=Shown.FOR_PEOPLE,
            blank=Brake.UNKNOWN,
            silence=Brake.TOLD,
        ),
    ]
    season: Annotated[
        str, LedgerColumn(Field("the season", Holds.TEXT), "season of purchase", shown=Shown.FOR_PEOPLE)
    ] = ""
    serial_toe: Annotated[
        str,
        LedgerColumn(
            Field("the serial", Holds.TAG),
            "serial or date code of the toe piece",
            title="serial or date code",
            shown=Shown.FOR_PEOPLE,
        ),
    ] = ""
    serial_heel: Annotated[
        str,
        LedgerColumn(
            Field("the serial", Holds.TAG),
            "serial or date code of the heel piece",
            title="serial or date code",
            shown=Shown.FOR_PEOPLE,
        ),
    ] = ""
    kind: Annotated[
        Kind | None,
        LedgerColumn(KIND, "what the model is for; blank: not stated", example="telemark"),
    ] = None


class Binding(BindingFacts, frozen=True, kw_only=True):
    """The binding of ONE ski (toe and heel). ``brake_um`` None: told as none, not seen.

    In the stock when ``on_pair`` is None. ``asks``: what a note on it proposes and nobody has answered yet.
    """

    on_pair: Annotated[
        str | None,
        LedgerColumn(
            Field("the tag", Holds.TAG),
            "the pair it is on; blank: in stock",
            shown=Shown.FILES,
            correctable=False,
        ),
    ] = None
    on_ski: Annotated[
        Side | None,
        LedgerColumn(Field("the ski", Holds.WORD), "A or B", shown=Shown.FILES, correctable=False),
    ] = None
    entry: int = 0
    asks: str = ""

    @property
    def may_be_mounted(self) -> bool:
        """Return whether a plan or an order may take it from the stock. Whether a brake that nobody knows
        fits is not known either: it is measured first.
        """
        return self.on_pair is None and not self.asks and self.brake_um is not Brake.UNKNOWN

    @property
    def brake_to_plan(self) -> BrakeWidth:
        """Its brake as plans count it: None for no brake, seen or told."""
        return brake_to_plan(self.brake_um)
