"""Mounts as values: where a binding is screwed down on a pair, known hole by hole or as a sheet states it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Final

from fleet.facts.columns import Field, Holds, LedgerColumn, LedgerFacts, Shown


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceSlide:
    """The place where a mounted piece was screwed down and how far it is slid, micrometres.

    ``reference_um``: x of the piece's listed end, from ski A's mark. ``slide_um`` as in Piece.
    """

    piece: str
    reference_um: int
    slide_um: int


_SOLE: Final = LedgerColumn(
    Field("boot sole length", Holds.LENGTH, 150, 450),
    "sole length it was mounted for",
    title="sole length it was mounted for; blank, without a pattern: not known",
    shown=Shown.FOR_PEOPLE,
    correctable=False,
)
_BOOT_CENTRE: Final = LedgerColumn(
    Field("boot centre from the mark", Holds.LENGTH, -60, 60, signed=True),
    "boot centre from the mark, + to the tip",
    title="boot centre from the mark, + to the tip; blank: as the sole length",
    shown=Shown.FOR_PEOPLE,
    correctable=False,
)


class MountDays(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of every mount, known or only stated. A new fact of a mount stands here.

    No sheet of the blank workbook is one of mounts: a pair's own row says the one that is on. `mountbook
    correct` takes none of them: work is entered, a mount withdrawn.
    """

    mounted_on: Annotated[
        str,
        LedgerColumn(
            Field("the day it was mounted", Holds.DAY),
            "day it was mounted",
            title="blank: not known",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    removed_on: Annotated[
        str | None,
        LedgerColumn(
            Field("the day it was taken off", Holds.DAY),
            "day it came off",
            title="blank: still on",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]


class MountFacts(MountDays, frozen=True, kw_only=True):
    """The written facts of a mount of which all is known."""

    pattern: Annotated[
        str,
        LedgerColumn(
            Field("the pattern", Holds.TEXT),
            "pattern mounted; blank: not known",
            title="pattern mounted; blank: not known, the mount is as a sheet stated it",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    bsl_um: Annotated[int, _SOLE]
    offset_um: Annotated[int, _BOOT_CENTRE]
    drilled: Annotated[
        bool,
        LedgerColumn(
            Field("whether holes were drilled", Holds.COUNT, 0, 1),
            "1: at least one hole was drilled for it",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]


class StatedMountFacts(MountDays, frozen=True, kw_only=True):
    """The written facts of a mount as a sheet states it; None or '' where it says nothing."""

    binding_model: Annotated[
        str,
        LedgerColumn(
            Field("the binding model", Holds.TEXT),
            "the binding as a sheet stated it, where no pattern is known",
            title="where no pattern is known: the binding as a sheet stated it",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    bsl_um: Annotated[int | None, _SOLE]
    offset_um: Annotated[int | None, _BOOT_CENTRE]


class Mount(MountFacts, frozen=True, kw_only=True):
    """One mount in a pair's life. ``removed_on`` None and the binding on: the current one.

    ``drilled``: any hole was drilled for it (only such a mount counts against ``mounts_max``).
    ``still_set``: its binding stands at its sole; False once it may have been set for another boot.
    ``set_again``: that was said since: it may have been set for another boot in between. ``stands``: where
    its pieces were measured to stand, which may be for another sole; () where nobody measured, or since.
    ``set_for_um``: the sole that both skis are known to stand at; None where that is not known.
    ``set_words``: what they stand at by ski and piece, where that differs.
    """

    removed_on: str | None = None  # an entry says both of them, for every mount
    drilled: bool = True
    slides: tuple[PieceSlide, ...] = ()
    stands: tuple[PieceSlide, ...] = ()
    still_set: bool = True
    set_again: bool = False
    set_for_um: int | None = None
    set_words: str = ""
    entry: int = 0

    @property
    def stands_for_um(self) -> int:
        """The sole it was last set for; where nobody knows that, the one it was mounted for."""
        return self.bsl_um if self.set_for_um is None else self.set_for_um

    def slid_um(self, piece: str, travelling: Sequence[str]) -> int | None:
        """Return how that piece is slid now; None where the ledger does not say.

        ``travelling``: the pattern's pieces that travel. Set again for the same sole, a piece that travels
        alone is where it was; of two, nobody wrote down which was slid for the boot in between.
        """
        known = self.stands or self.slides
        if not self.stands and (not self.still_set or (self.set_again and len(travelling) > 1)):
            return None
        return next((slide.slide_um for slide in known if slide.piece == piece), None)

    def stands_um(self, piece: str, travelling: Sequence[str]) -> int | None:
        """Return where that piece holds the sole's end now, from ski A's mark; None where it is not known."""
        slid_um = self.slid_um(piece, travelling)
        if slid_um is None:
            return None
        return next(s.reference_um for s in self.stands or self.slides if s.piece == piece) + slid_um

    @property
    def set_elsewhere(self) -> bool:
        """Return whether a piece was measured to stand elsewhere than this mount put it."""
        mounted = {slide.piece: slide.slide_um for slide in self.slides}
        return any(at.slide_um != mounted.get(at.piece, 0) for at in self.stands)


class StatedMount(StatedMountFacts, frozen=True, kw_only=True):
    """A mount as a sheet states it, of which the pattern, the sole or the place is not known (None, '').

    It says nothing about any hole; it is one mount in the pair's life all the same.
    """

    bsl_um: int | None = None
    offset_um: int | None = None
    mounted_on: str = ""
    removed_on: str | None = None
    entry: int = 0
