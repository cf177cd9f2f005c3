"""The parts of a plan: holes, pieces, ways, sets. Frozen values; the solver and the paper meet here.

All lengths in whole micrometres. ``x_um`` of a planned hole is from THAT ski's own printed mark;
``offset_um`` and ``reference_um`` are from the pair's reference, which is ski A's mark.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Literal

from fleet.base.values import Value
from fleet.facts.holes import HoleState, Side
from fleet.facts.pairs import BrakeWidth, Pair
from fleet.facts.wishes import Wish
from planner.plan.objective import Certificate, Totals


class Rung(StrEnum):
    """The ladder of ways, least work first. `rank` orders them."""

    AS_IS = "as it is"
    ADJUST = "adjust"
    SAME_HOLES = "same holes"
    CENTRE_MOVED = "centre moved"
    PART_REUSED = "part reused"
    ALL_NEW = "all new"

    @property
    def rank(self) -> int:
        """0 for the least work."""
        return _RANKS[self]


_RANKS = {rung: rank for rank, rung in enumerate(Rung)}


class PlannedHole(Value, frozen=True, kw_only=True):
    """One screw of the way. ``do`` is ``reuse`` (then ``hole_id``) or ``drill``.

    For a reused hole x and y are the recorded ones of the old hole. ``nearest_um`` is the distance,
    centre to centre and rounded down, to the nearest other hole that will be in the ski;
    ``nearest_id`` its id, or ``toe 2`` style for another planned hole. A diameter of None means: unknown
    construction, read the ski.
    """

    piece: str
    number: int
    x_um: int
    y_um: int
    diameter_um: int | None
    depth_um: int | None
    do: Literal["reuse", "drill"]
    hole_id: str | None
    nearest_um: int | None
    nearest_id: str | None


class How(StrEnum):
    """The means that bring a piece to its place: its travel alone, a jig or a template, or the hand."""

    SLIDE = "slide"
    JIG = "jig"
    TEMPLATE = "template"
    BY_HAND = "by hand"


class Jig(Value, frozen=True, kw_only=True):
    """A jig of the way's pattern: the sole length it is set to, and its centre from the ski's own mark."""

    sole_um: int
    centre_um: int


class PlannedPiece(Value, frozen=True, kw_only=True):
    """The place where a piece is screwed down (x of its listed end, own mark) and how it is slid then.

    ``stands_um``: how it is slid now, as `slide_um`; None where the ledger does not say, and for a piece that
    is screwed on anew. ``how``: *slide* where no screw is touched, *by hand* where all go into old holes.
    """

    piece: str
    reference_um: int
    slide_um: int
    stands_um: int | None = None
    how: How = How.BY_HAND

    @property
    def end_um(self) -> int:
        """Return where the followed place of the boot stands when the piece is set, from the ski's own
        mark.
        """
        return self.reference_um + self.slide_um

    @property
    def move_um(self) -> int | None:
        """Return how far it is moved from where it stands, + to the tip; None where that is not known."""
        return None if self.stands_um is None else self.slide_um - self.stands_um


class PlannedSki(Value, frozen=True, kw_only=True):
    """One ski of a way. ``from_tail_um``: boot centre from the tail, None where unknown."""

    from_tail_um: int | None
    pieces: tuple[PlannedPiece, ...]
    holes: tuple[PlannedHole, ...]
    plug: tuple[str, ...]


class Room(Value, frozen=True, kw_only=True):
    """The further mounts that a pair keeps once a way is done, and those that it has room for ``before``.

    ``rule``: as many as the shop's rule on mounts leaves; at most so many where earlier mounts are not known.
    ``kept``: as many of them as the shop's spacing leaves places for, which are counted no further.
    """

    before: int
    kept: int
    rule: int

    @property
    def lost(self) -> int:
        """Return the further mounts that the work takes."""
        return max(0, self.before - self.kept)


class Way(Value, frozen=True, kw_only=True):
    """One way a pair could be made to serve a boot sole length with a pattern.

    ``drilled`` and ``plugged`` count both skis. ``clearance_um``: the smallest, over drilled holes, of
    distance (rounded down) minus the spacing asked of those two: spacing, bench error and allowance from
    every old hole of the ski, the bare spacing from holes drilled for another piece; None where nothing
    is drilled or nothing is there to keep away from. ``minutes``: nothing for *as it is*; adjust and check
    for *adjust*; else take off (where a binding is on), every hole drilled, every hole plugged, mount and
    check; rounded up once. ``offset_um``: boot centre, for a pin-line mount the pin line, from the reference.
    ``jig``: the one setting that drills every new hole of both skis within the bench error, None without one.
    ``room``: what is left for further mounts; None where no screw is touched, and where nobody counted it.
    ``mount_worth``: points of the mount that it drills, by the shop's worths; nothing where none is drilled.
    """

    rung: Rung
    pattern: str
    bsl_um: int
    offset_um: int
    skis: Mapping[Side, PlannedSki]
    drilled: int
    plugged: int
    minutes: int
    clearance_um: int | None
    jig: Jig | None = None
    room: Room | None = None
    mount_worth: int = 0

    @property
    def screws(self) -> dict[tuple[Side, str, int], PlannedHole]:
        """Each hole by its screw: ski, piece and number in the pattern."""
        return {(side, hole.piece, hole.number): hole for side in Side for hole in self.skis[side].holes}


class PlannedSet(Value, frozen=True, kw_only=True):
    """A boot on a pair for a wish, by one way, with one size of brake (None: no brake).

    ``binding_from``: ``own`` (the one on the pair), ``stock``, or the tag of the pair it comes off.
    ``strip_minutes``: what taking it off a pair that then stays flat costs; part of ``minutes``.
    """

    wish: str
    boot: str
    pair: str
    brake_um: BrakeWidth
    way: Way
    binding_from: str = "own"
    strip_minutes: int = 0

    @property
    def minutes(self) -> int:
        """Bench minutes of the set, the stripping of another pair included."""
        return self.way.minutes + self.strip_minutes

    def sort_key(self) -> tuple[str, str, str, int]:
        """(wish, boot, pair, way): the order that the sets of a plan stand in."""
        return (self.wish, self.boot, self.pair, self.way.rung.rank)


class Strip(Value, frozen=True, kw_only=True):
    """A pair whose binding comes off to serve another; it is flat afterwards."""

    pair: str
    pattern: str
    brake_um: BrakeWidth


class Unserved(Value, frozen=True, kw_only=True):
    """Sets of a wish that the plan cannot serve, why, and the nearest remedy."""

    wish: str
    missing: int
    reason: str
    remedy: str


class UnplannedPair(Value, frozen=True, kw_only=True):
    """A pair that no set uses, and why."""

    pair: str
    reason: str


class SetAside(Value, frozen=True, kw_only=True):
    """A ``pair``, ``boot`` or ``pattern`` that could not be planned with; see `planner.plan.set_aside`."""

    what: str
    name: str
    reason: str


class Plan(Value, frozen=True, kw_only=True):
    """A proposal. It never writes the ledger; ``order issue`` judges it again.

    ``certificate``: what proves every level best, for `planner.planning.judge`; None where none is kept.
    ``wants``: the sets wanted that it was made for, where they are not those of the ledger (a plan for many
    seasons); see `planner.plan.set_aside`.
    """

    made_at: str
    ledger_entry: int
    ledger_head: str
    ready_by: str | None
    minutes_limit: int | None
    parts_limit_cents: int | None = None
    policy: Mapping[str, str]
    status: str
    gap_percent: float
    totals: Totals
    sets: tuple[PlannedSet, ...]
    strip: tuple[Strip, ...]
    unserved: tuple[Unserved, ...]
    unplanned_pairs: tuple[UnplannedPair, ...]
    certificate: Certificate | None = None
    wants: tuple[Wish, ...] | None = None
    set_aside: tuple[SetAside, ...] = ()

    @property
    def touched(self) -> tuple[PlannedSet, ...]:
        """Return the sets that need the bench."""
        return tuple(planned for planned in self.sets if planned.way.rung is not Rung.AS_IS)


def screws_in_wood(pair: Pair, planned: PlannedSet) -> int:
    """Return how many screws of both skis the order drives into wood, by new holes and by old ones."""
    if planned.way.rung.rank <= Rung.ADJUST.rank:
        return 0
    inserts = {
        hole.hole_id for ski in pair.skis.values() for hole in ski.holes if hole.state is HoleState.INSERT
    }
    return sum(hole.do == "drill" or hole.hole_id not in inserts for hole in planned.way.screws.values())
