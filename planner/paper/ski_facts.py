"""The facts drawn and listed for each ski of an order: screws, old holes, stretches not inspected.

One picture serves both skis wherever a bench could see no difference; else each ski has its own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from msgspec.structs import asdict

from fleet.base.units import to_half_mm
from fleet.facts.holes import Hole, Side, hole_label
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.facts.policy import Policy
from planner.bench.orders.bench_record import Screw
from planner.bench.orders.book import hole_names, turns_of
from planner.geometry.placement.frames import frame_of
from planner.plan.values import PlannedHole, Way


class ScrewFact(PlannedHole, frozen=True, kw_only=True):
    """One screw: the name of its hole, its turn in the tightening order, and the old hole it goes into.

    ``nearest_label``: the name of the nearest other hole.
    """

    label: str
    turn: int
    nearest_label: str
    old: Hole | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SkiFact:
    """One picture: ski A, ski B, or both where nothing on paper would differ.

    ``old_holes`` take no screw of this order; ``plugs`` are those of them that are closed today.
    ``not_inspected``: stretches (from, to) between the outermost things drawn where nobody has looked.
    """

    sides: tuple[Side, ...]
    screws: tuple[ScrewFact, ...]
    old_holes: tuple[Hole, ...]
    plugs: tuple[Hole, ...]
    mark_from_tail_um: int | None
    centre_from_tail_um: int | None
    centre_from_mark_um: int
    not_inspected: tuple[tuple[int, int], ...]

    @property
    def drilled(self) -> tuple[ScrewFact, ...]:
        """The screws that need a new hole."""
        return tuple(screw for screw in self.screws if screw.do == "drill")

    @property
    def reused(self) -> tuple[ScrewFact, ...]:
        """The screws that go into old holes."""
        return tuple(screw for screw in self.screws if screw.do == "reuse")


def ski_facts(
    pair: Pair, way: Way, policy: Policy, *, centre_um: int = 0, holes: Mapping[Screw, str] | None = None
) -> tuple[SkiFact, ...]:
    """Return one fact where both skis look alike to a bench, else one for ski A and one for ski B.

    ``centre_um``: the boot centre from the way's offset; 0 unless that is the place of a pin line. ``holes``:
    the ids of the order's holes; None: those that they would get now.
    """
    a, b = each_ski(pair, way, centre_um=centre_um, holes=holes)
    tail_a, tail_b = a.mark_from_tail_um, b.mark_from_tail_um
    within_um = policy.um("pair_difference_mm")
    far_apart = tail_a is not None and tail_b is not None and abs(tail_a - tail_b) > within_um
    if far_apart or not _alike(a, b, within_um):
        return (a, b)
    same = tail_a == tail_b
    return (
        replace(
            a,
            sides=(Side.A, Side.B),
            screws=tuple(_nearer(one, other) for one, other in zip(a.screws, b.screws, strict=True)),
            mark_from_tail_um=tail_a if same else None,
            centre_from_tail_um=a.centre_from_tail_um if same else None,
        ),
    )


def each_ski(
    pair: Pair, way: Way, *, centre_um: int = 0, holes: Mapping[Screw, str] | None = None
) -> tuple[SkiFact, SkiFact]:
    """Return ski A and ski B apart, each with its own recorded holes, as a true-scale sheet must draw
    them.
    """
    shift = frame_of(pair).shift_um
    named = hole_names(pair, way) if holes is None else holes
    a, b = (_ski_fact(pair.skis[side], way, way.offset_um + centre_um + shift[side], named) for side in Side)
    return a, b


def _alike(a: SkiFact, b: SkiFact, within_um: int) -> bool:
    """Return True if one picture and one table serve both skis.

    What is drilled must print the same position; what is there already may lie apart as far as the shop
    lets the two skis of a pair differ.
    """
    return (
        to_half_mm(a.centre_from_mark_um) == to_half_mm(b.centre_from_mark_um)
        and a.not_inspected == b.not_inspected
        and len(a.screws) == len(b.screws)
        and all(_same_screw(one, other, within_um) for one, other in zip(a.screws, b.screws, strict=True))
        and _same_old_holes(a, b, within_um)
    )


def _same_screw(a: ScrewFact, b: ScrewFact, within_um: int) -> bool:
    one, other = (
        (screw.label, screw.do, screw.diameter_um, screw.depth_um, screw.old and screw.old.state)
        for screw in (a, b)
    )
    if one != other:
        return False
    if a.do == "drill":
        return (to_half_mm(a.x_um), to_half_mm(a.y_um)) == (to_half_mm(b.x_um), to_half_mm(b.y_um))
    return _within(a.x_um - b.x_um, a.y_um - b.y_um, within_um)


def _same_old_holes(a: SkiFact, b: SkiFact, within_um: int) -> bool:
    """Return True if each old hole of A has its own counterpart on B, in the same state and with the same
    fate.
    """
    left = list(b.old_holes)
    for hole in a.old_holes:
        twin = next(
            (
                other
                for other in left
                if (other.label, other.state, other in b.plugs) == (hole.label, hole.state, hole in a.plugs)
                and _within(other.x_um - hole.x_um, other.y_um - hole.y_um, within_um)
            ),
            None,
        )
        if twin is None:
            return False
        left.remove(twin)
    return not left


def _within(dx_um: int, dy_um: int, within_um: int) -> bool:
    return dx_um**2 + dy_um**2 <= within_um**2


def _nearer(a: ScrewFact, b: ScrewFact) -> ScrewFact:
    """Return screw A with the smaller of the two skis' distances: one sheet shows the narrower figure."""
    if a.nearest_um is None or b.nearest_um is None or a.nearest_um <= b.nearest_um:
        return a
    return replace(a, nearest_um=b.nearest_um)


def _ski_fact(ski: Ski, way: Way, centre_from_mark_um: int, holes: Mapping[Screw, str]) -> SkiFact:
    planned = way.skis[ski.side]
    known = {hole.hole_id: hole for hole in ski.holes}
    used = {hole.hole_id for hole in planned.holes if hole.hole_id is not None}
    others = sorted(
        (hole for hole in ski.holes if hole.hole_id not in used),
        key=lambda h: (-to_half_mm(h.x_um), h.y_um, h.hole_id),
    )
    names = {hole.hole_id: hole.label for hole in ski.holes}
    own = {screw[1:]: hole_label(name) for screw, name in holes.items() if screw[0] is ski.side}
    names |= {f"{piece} {number}": label for (piece, number), label in own.items()}
    turns = turns_of(way)
    screws = [_screw(hole, own, turns, names, known) for hole in planned.holes]
    return SkiFact(
        sides=(ski.side,),
        screws=tuple(sorted(screws, key=lambda screw: screw.turn)),
        old_holes=tuple(others),
        plugs=tuple(hole for hole in others if hole.hole_id in planned.plug),
        mark_from_tail_um=ski.mark_from_tail_um,
        centre_from_tail_um=planned.from_tail_um,
        centre_from_mark_um=centre_from_mark_um,
        not_inspected=not_inspected(ski, planned.holes),
    )


def _screw(
    hole: PlannedHole,
    labels: Mapping[tuple[str, int], str],
    turns: Mapping[tuple[str, int], int],
    names: Mapping[str, str],
    known: Mapping[str, Hole],
) -> ScrewFact:
    return ScrewFact(
        **asdict(hole),
        label=labels[hole.piece, hole.number],
        turn=turns[hole.piece, hole.number],
        nearest_label=names.get(hole.nearest_id, hole.nearest_id) if hole.nearest_id else "",
        old=known.get(hole.hole_id) if hole.hole_id is not None else None,
    )


def not_inspected(ski: Ski, planned: Sequence[PlannedHole] = ()) -> tuple[tuple[int, int], ...]:
    """Return the stretches of the picture, with what is planned, that no inspected area covers."""
    xs = [hole.x_um for hole in planned] + [hole.x_um for hole in ski.holes] + [0]
    pad = 30_000
    gaps = [(min(xs) - pad, max(xs) + pad)]
    for area in ski.inspected:
        gaps = [piece for gap in gaps for piece in _without(gap, area)]
    return tuple(gaps)


def _without(gap: tuple[int, int], area: InspectedArea) -> list[tuple[int, int]]:
    start, end = gap
    parts = [(start, min(end, area.from_um)), (max(start, area.to_um), end)]
    return [part for part in parts if part[0] < part[1]]
