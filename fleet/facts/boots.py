"""Boots as values: a pair of boots, its sole length that counts, and what is known of it."""

import re
from typing import Annotated, Final

from fleet.base.units import checked_um, mm_text
from fleet.facts.columns import (
    BootTag,
    Field,
    Holds,
    LedgerColumn,
    LedgerFacts,
    Shown,
)
from fleet.facts.kinds import KIND, Kind, Kinds, junior_by_name, stated
from fleet.facts.standing import Place

_READ_ON_SOLE: Final = re.compile(r"measured (\d+(?:\.\d+)?) mm, duckbill minus")
"""As an import writes down how a 75 mm sole came to its counted length."""


class BootFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of a pair of boots."""

    tag: Annotated[
        BootTag,
        LedgerColumn(
            Field("the tag", Holds.TAG),
            "asset tag of the pair of boots, as text",
            title="asset tag",
            example="B-210",
            required=True,
            correctable=False,
        ),
    ]
    model: Annotated[str, LedgerColumn(Field("the model", Holds.TEXT), "make and model", example="Gimmel 26")]
    mondopoint_mm: Annotated[
        int | None,
        LedgerColumn(
            Field("the Mondopoint size", Holds.SHELL, unit="cm"),
            "shell size in cm",
            key="mondopoint",
            example="27.5",
        ),
    ]
    bsl_um: Annotated[
        int | None,
        LedgerColumn(
            Field("boot sole length", Holds.LENGTH, 150, 450),
            "outside sole length; never the shell size",
            title="sole length that counts at the bench",
            example="317",
        ),
    ]
    bsl_measured: Annotated[
        str,
        LedgerColumn(
            Field("how the sole length is known", Holds.TEXT),
            "printed on the boot, or measured with a ruler",
            title="how the number came about",
            example="printed",
            offered=("printed", "measured"),
        ),
    ]
    sole_type: Annotated[
        str,
        LedgerColumn(
            Field("the sole type", Holds.TEXT),
            "the sole's norm, as the fits sheet writes it",
            title="norm of the sole",
            example="ISO 9523",
        ),
    ]
    season: Annotated[
        str, LedgerColumn(Field("the season", Holds.TEXT), "season of purchase", shown=Shown.FOR_PEOPLE)
    ] = ""
    pin_um: Annotated[
        int | None,
        LedgerColumn(
            Field("toe end to pin line", Holds.LENGTH, 0, 60),
            "toe end to pin line, for boots mounted by it",
            shown=Shown.FILES,
        ),
    ] = None
    kind: Annotated[
        Kind | None,
        LedgerColumn(KIND, "what the boots are for; blank: not stated", example="telemark"),
    ] = None
    wear: Annotated[
        str,
        LedgerColumn(
            Field("the wear", Holds.TEXT),
            "how worn they are; blank: not stated",
            example="used",
            offered=("new", "used", "worn", "worn out"),
        ),
    ] = ""
    sole_measured_on: Annotated[
        str,
        LedgerColumn(
            Field("the day the sole was measured", Holds.DAY),
            "day the sole was last measured; blank: not stated",
            shown=Shown.FOR_PEOPLE,
        ),
    ] = ""


class Boot(BootFacts, frozen=True, kw_only=True):
    """One tagged pair of boots. ``bsl_um`` is the sole length that counts at the bench.

    ``bsl_measured`` says how the number came about (``printed``, ``ruler``, ``duckbill minus 10 mm`` ...).
    ``pin_um``: toe end to pin line, for boots mounted by pin line, else None. ``model_kind``: what was said
    of its model. ``asks``: what a note proposes and nobody has answered yet.
    """

    entry: int = 0
    place: Place = Place.READY
    hold_entry: int = 0
    hold_why: str = ""
    model_kind: str = ""
    asks: str = ""

    def __post_init__(self) -> None:
        if self.bsl_um is not None and not 150_000 <= checked_um("bsl_um", self.bsl_um) <= 450_000:
            raise ValueError(f"boot {self.tag}: {mm_text(self.bsl_um)} mm is no boot sole length")

    @property
    def kinds(self) -> Kinds:
        """The kinds stated of it; a child's model or sole counts as stated."""
        return stated(self.kind, self.model_kind) | junior_by_name(self.model, self.sole_type)

    @property
    def barred(self) -> str:
        """Return why it is in no plan and does not go out, in words; "" where nothing bars it."""
        if self.place not in (Place.READY, Place.OUT):
            return f"{self.place.value}: {self.hold_why}".rstrip(": ")
        return f"held on its return: {self.hold_why}" if self.hold_entry else ""

    @property
    def plannable(self) -> bool:
        """Only what is neither barred nor in question; one that is out comes back."""
        return not (self.barred or self.asks)

    @property
    def sole_words(self) -> str:
        """Return what a ruler laid on the sole reads, and the counted length beside it where they differ.

        ``305 mm``, ``282 mm, counts as 272`` (a 75 mm sole), ``not known``.
        """
        if self.bsl_um is None:
            return "not known"
        counts = mm_text(self.bsl_um)
        return f"{self.read_on_sole} mm, counts as {counts}" if self.read_on_sole else f"{counts} mm"

    @property
    def read_on_sole(self) -> str:
        """Return what a ruler laid on the sole reads, mm; "" where that length counts or is not known."""
        read = _READ_ON_SOLE.search(self.bsl_measured)
        return "" if read is None or self.bsl_um is None or read[1] == mm_text(self.bsl_um) else read[1]
