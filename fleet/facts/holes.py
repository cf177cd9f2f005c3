"""A hole in a ski: where, how wide, in what state, how we know, and its name such as ``K-031/A7``.

Mounts too: where a binding is screwed down on a pair, known hole by hole or as a sheet states it.
"""

from collections.abc import Collection, Iterator, Sequence
from enum import StrEnum
from itertools import count
from typing import Annotated, Final

from fleet.base.units import checked_um
from fleet.base.values import Value
from fleet.facts.columns import Field, Holds, HoleId, LedgerColumn, LedgerFacts, Shown


class Side(StrEnum):
    """Skis have no left and right: they are marked A and B once, with a dot near the tag."""

    A = "A"
    B = "B"


class HoleState(StrEnum):
    """The thing that stands in the hole now."""

    OPEN = "open"
    SCREWED = "screwed"
    PLUGGED = "plugged"
    INSERT = "insert"
    STRIPPED = "stripped"

    @property
    def plugged_if_left(self) -> bool:
        """Return whether a remount that drives no screw into it plugs it: water gets in."""
        return self in (HoleState.OPEN, HoleState.SCREWED, HoleState.STRIPPED)


class SkiFault(StrEnum):
    """A fault found on a ski; it keeps the ski out of every plan until a head technician ends it."""

    WET_CORE = "wet core"
    CRACK = "crack"
    DELAMINATION = "delamination"


class Knowledge(StrEnum):
    """The way in which a hole is known, best first. The allowance added to the spacing follows from it."""

    MEASURED_HERE = "measured here"
    DRILLED_HERE = "drilled here"
    MEASURED_BARE = "measured bare"
    BINDING_DROPS_IN = "binding drops in"
    BATCH_ASSUMED = "batch assumed"
    TEMPLATE = "template"
    SUSPECTED = "suspected"

    @property
    def may_be_reused(self) -> bool:
        """Return whether a screw may be planned into a hole known this way."""
        return self in _REUSABLE_KNOWLEDGE

    @property
    def policy_name(self) -> str:
        """The policy that holds this knowledge's allowance, e.g. ``allowance_measured_here_mm``."""
        return f"allowance_{self.value.replace(' ', '_')}_mm"


_REUSABLE_KNOWLEDGE = frozenset(
    {
        Knowledge.MEASURED_HERE,
        Knowledge.DRILLED_HERE,
        Knowledge.MEASURED_BARE,
        Knowledge.BINDING_DROPS_IN,
    }
)


ALONG: Final = Field("distance along the ski", Holds.LENGTH, -450, 450, signed=True)
ACROSS: Final = Field("distance from the centre line", Holds.LENGTH, -70, 70, signed=True)
DIAMETER: Final = Field("hole diameter", Holds.LENGTH, 2, 9)


class HoleFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of a hole, one row a fact (`fleet.facts.columns`)."""

    hole_id: Annotated[
        HoleId,
        LedgerColumn(
            Field("the hole's id", Holds.TEXT),
            "name of the hole; leave it as it is",
            title="name of the hole",
            required=True,
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    x_um: Annotated[
        int,
        LedgerColumn(
            ALONG,
            "from the ski's own mark, + to the tip",
            example="101.5",
            required=True,
        ),
    ]
    y_um: Annotated[
        int,
        LedgerColumn(
            ACROSS,
            "across, + to the right looking at the tip",
            example="18",
            required=True,
        ),
    ]
    diameter_um: Annotated[
        int | None,
        LedgerColumn(
            DIAMETER,
            "drilled diameter, if known",
            title="blank: not known",
            example="3.6",
        ),
    ]
    depth_um: Annotated[
        int | None,
        LedgerColumn(
            Field("hole depth", Holds.LENGTH, 3, 20), "depth, if known", title="blank: not known", example="9"
        ),
    ]
    state: Annotated[
        HoleState,
        LedgerColumn(
            Field("the hole's state", Holds.WORD),
            "what stands in the hole now",
            title="what stands in it",
            example="plugged",
            required=True,
        ),
    ]
    knowledge: Annotated[
        Knowledge,
        LedgerColumn(
            Field("how the hole is known", Holds.WORD),
            "how the hole is known; blank: suspected",
            title="how it is known",
            example="measured bare",
        ),
    ]


class Hole(HoleFacts, frozen=True, kw_only=True):
    """One hole of one ski. Coordinates in micrometres from that ski's own printed mark.

    ``diameter_um`` and ``depth_um`` are None where nobody measured them; ``entry`` is the ledger entry
    the hole came from. Raises ValueError for nonsense.
    """

    entry: int = 0

    def __post_init__(self) -> None:
        checked_um("x_um", self.x_um)
        checked_um("y_um", self.y_um)
        for name, value in (("diameter_um", self.diameter_um), ("depth_um", self.depth_um)):
            if value is not None and checked_um(name, value) <= 0:
                raise ValueError(f"{name} must be more than 0, not {value}")

    @property
    def label(self) -> str:
        """The hole's name on the picture of its ski: ``7``."""
        return hole_label(self.hole_id)


_DIGITS: Final = 9
"""Longer ones are somebody's own numbers: counting on from them would give names nobody can read."""


def fresh_hole_ids(tag: str, side: Side, taken: Collection[str], *, above: int = 0) -> Iterator[str]:
    """Ids for new holes of one ski, in order, above the highest number that ski has ever used.

    ``taken`` are the ids in the ski now; ``above`` is the ski's ``holes_numbered_to``, which also knows
    the numbers of holes that were withdrawn since.
    """
    highest = max([above, *(hole_number(tag, side, name) for name in taken)])
    yield from (f"{tag}/{side.value}{number}" for number in count(highest + 1))


def hole_number(tag: str, side: Side, hole_id: str) -> int:
    """The 7 of ``K-031/A7``; 0 for an id that is no number of that ski."""
    number = hole_id.removeprefix(f"{tag}/{side.value}")
    counts = number != hole_id and number.isascii() and number.isdigit() and len(number) <= _DIGITS
    return int(number) if counts else 0


def hole_label(hole_id: str) -> str:
    """Return what stands at the hole on the picture of one ski: ``7`` of ``K-031/A7``; another id as it
    is.
    """
    short = short_id(hole_id)
    number = short[1:]
    return number if short[:1] in tuple(Side) and number.isascii() and number.isdigit() else short


def short_id(hole_id: str) -> str:
    """The part a person reads beside a picture of that pair: ``A7``."""
    return hole_id.rsplit("/", 1)[-1]


class PieceSlide(Value, frozen=True, kw_only=True):
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
