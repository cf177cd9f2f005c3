"""What a plan is made of: holes, pieces, ways, sets. Frozen values; the solver and the paper meet here.

All lengths in whole micrometres. ``x_um`` of a planned hole is from THAT ski's own printed mark;
``offset_um`` and ``reference_um`` are from the pair's reference, which is ski A's mark.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from fleet.base.units import um_to_mm
from fleet.facts.equipment import Wish
from fleet.facts.holes import Side
from planner.plan.certificate import Certificate
from planner.plan.objective import COST_LEVELS, Totals, Unit


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
        return list(Rung).index(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedHole:
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
    do: str
    hole_id: str | None = None
    nearest_um: int | None = None
    nearest_id: str | None = None


class How(StrEnum):
    """What brings a piece to its place: its travel alone, a jig or a template for its holes, or the hand."""

    SLIDE = "slide"
    JIG = "jig"
    TEMPLATE = "template"
    BY_HAND = "by hand"


@dataclass(frozen=True, slots=True, kw_only=True)
class Jig:
    """A jig of the way's pattern: the sole length it is set to, and its centre from the ski's own mark."""

    sole_um: int
    centre_um: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPiece:
    """Where a piece is screwed down (x of its listed end, own mark) and how it is slid then.

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
        """Where the followed place of the boot stands when the piece is set, from the ski's own mark."""
        return self.reference_um + self.slide_um

    @property
    def move_um(self) -> int | None:
        """How far it is moved from where it stands, + to the tip; None where that is not known."""
        return None if self.stands_um is None else self.slide_um - self.stands_um


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSki:
    """What happens on one ski. ``from_tail_um``: boot centre from the tail, None where unknown."""

    side: Side
    from_tail_um: int | None
    pieces: tuple[PlannedPiece, ...]
    holes: tuple[PlannedHole, ...]
    plug: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way a pair could be made to serve a boot sole length with a pattern.

    ``drilled`` and ``plugged`` count both skis. ``clearance_um``: the smallest, over drilled holes, of
    distance (rounded down) minus the spacing asked of those two: spacing, bench error and allowance from
    every old hole of the ski, the bare spacing from holes drilled for another piece; None where nothing
    is drilled or nothing is there to keep away from. ``minutes``: nothing for *as it is*; adjust and check
    for *adjust*; else take off (where a binding is on), every hole drilled, every hole plugged, mount and
    check; rounded up once. ``offset_um``: boot centre, for a pin-line mount the pin line, from the reference.
    ``jig``: the one setting that drills every new hole of both skis within the bench error, None without one.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSet:
    """A boot on a pair for a wish, by one way, with one size of brake (None: no brake).

    ``binding_from``: ``own`` (the one on the pair), ``stock``, or the tag of the pair it comes off.
    ``strip_minutes``: what taking it off a pair that then stays flat costs; part of ``minutes``.
    """

    wish: str
    boot: str
    pair: str
    brake_um: int | None
    way: Way
    binding_from: str = "own"
    strip_minutes: int = 0

    @property
    def minutes(self) -> int:
        """Bench minutes of the set, the stripping of another pair included."""
        return self.way.minutes + self.strip_minutes

    def sort_key(self) -> tuple[str, str, str, int]:
        """(wish, boot, pair, way): the last tie-break of a plan."""
        return (self.wish, self.boot, self.pair, self.way.rung.rank)

    def to_json(self) -> dict[str, Any]:
        """As FORMATS says: lengths in millimetres."""
        way = self.way
        return {
            "wish": self.wish,
            "boot": self.boot,
            "pair": self.pair,
            "way": way.rung.value,
            "pattern": way.pattern,
            "brake_mm": None if self.brake_um is None else um_to_mm(self.brake_um),
            "bsl_mm": um_to_mm(way.bsl_um),
            "offset_mm": um_to_mm(way.offset_um),
            "minutes": self.minutes,
            "strip_minutes": self.strip_minutes,
            "binding_from": self.binding_from,
            "drilled": way.drilled,
            "plugged": way.plugged,
            "clearance_mm": None if way.clearance_um is None else um_to_mm(way.clearance_um),
            "jig": None
            if way.jig is None
            else {"sole_mm": um_to_mm(way.jig.sole_um), "centre_mm": um_to_mm(way.jig.centre_um)},
            "skis": {side.value: _ski_json(way.skis[side]) for side in Side},
        }


def _ski_json(ski: PlannedSki) -> dict[str, Any]:
    return {
        "from_tail_mm": None if ski.from_tail_um is None else um_to_mm(ski.from_tail_um),
        "pieces": [
            {
                "piece": p.piece,
                "reference_mm": um_to_mm(p.reference_um),
                "slide_mm": um_to_mm(p.slide_um),
                "stands_mm": None if p.stands_um is None else um_to_mm(p.stands_um),
                "how": p.how.value,
            }
            for p in ski.pieces
        ],
        "holes": [
            {
                "piece": h.piece,
                "number": h.number,
                "x_mm": um_to_mm(h.x_um),
                "y_mm": um_to_mm(h.y_um),
                "diameter_mm": None if h.diameter_um is None else um_to_mm(h.diameter_um),
                "depth_mm": None if h.depth_um is None else um_to_mm(h.depth_um),
                "do": h.do,
                "hole_id": h.hole_id,
                "nearest_mm": None if h.nearest_um is None else um_to_mm(h.nearest_um),
                "nearest_id": h.nearest_id,
            }
            for h in ski.holes
        ],
        "plug": list(ski.plug),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A pair whose binding comes off to serve another; it is flat afterwards."""

    pair: str
    pattern: str
    brake_um: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unserved:
    """Sets of a wish that the plan cannot serve, why, and the nearest remedy."""

    wish: str
    missing: int
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnplannedPair:
    """A pair that no set uses, and why."""

    pair: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A ``pair``, ``boot`` or ``pattern`` that could not be planned with; see `planner.plan.set_aside`."""

    what: str
    name: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A proposal. It never writes the ledger; ``order issue`` judges it again.

    ``certificate``: what proves every level best, for `planner.planning.judge`; None where none is kept.
    ``wants``: the sets wanted that it was made for, where they are not those of the ledger (a plan for many
    seasons); see `planner.plan.wants`.
    """

    made_at: str
    ledger_entry: int
    ledger_head: str
    ready_by: str | None
    minutes_limit: int | None
    policy: Mapping[str, str]
    status: str
    gap_percent: float
    totals: Totals
    sets: tuple[PlannedSet, ...]
    strip: tuple[Strip, ...]
    unserved: tuple[Unserved, ...]
    unplanned_pairs: tuple[UnplannedPair, ...]
    certificate: Certificate | None = None
    parts_limit_cents: int | None = None
    wants: tuple[Wish, ...] | None = None
    set_aside: tuple[SetAside, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The content of ``plan.json``; the same plan gives the same bytes, apart from ``made_at``."""
        t = self.totals
        wants = {} if self.wants is None else {"wants": [w.to_body() for w in self.wants]}
        aside = [{"what": each.what, "name": each.name, "reason": each.reason} for each in self.set_aside]
        return {
            "made_at": self.made_at,
            "ledger_entry": self.ledger_entry,
            "ledger_head": self.ledger_head,
            "ready_by": self.ready_by,
            "minutes_limit": self.minutes_limit,
            "parts_budget": _money(self.parts_limit_cents),
            "policy": dict(self.policy),
            "status": self.status,
            "gap_percent": self.gap_percent,
            "totals": {
                "wanted": t.wanted,
                "served": t.served,
                "served_by_priority": {str(p): n for p, n in sorted(t.served_by_priority.items())},
                **{
                    level.key: um_to_mm(total) if level.unit is Unit.LENGTH else total
                    for level in COST_LEVELS
                    for total in [level.total_in(t)]
                },
                "parts": _money(t.parts_cents),
            },
            "sets": [s.to_json() for s in self.sets],
            "strip": [
                {
                    "pair": s.pair,
                    "pattern": s.pattern,
                    "brake_mm": None if s.brake_um is None else um_to_mm(s.brake_um),
                }
                for s in self.strip
            ],
            "unserved": [
                {"wish": u.wish, "missing": u.missing, "reason": u.reason, "remedy": u.remedy}
                for u in self.unserved
            ],
            "unplanned_pairs": [{"pair": u.pair, "reason": u.reason} for u in self.unplanned_pairs],
            "certificate": None if self.certificate is None else self.certificate.to_json(),
            **wants,
            **({"set_aside": aside} if aside else {}),
        }


def _money(cents: int | None) -> float | None:
    return None if cents is None else cents / 100
