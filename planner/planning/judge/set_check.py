"""One set: what was asked for, what fits what, how it is mounted, and its own figures.

What the judge finds of a set it finds of those that are alike, so that it need look only once. Alike is all
that the ledger and the plan say of two sets, but for tags, racks, entries and the names of holes: a name
stands as its place in the list of its ski.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import count
from math import ceil
from operator import attrgetter
from typing import Any

from fleet.base.units import counted, mm_text
from fleet.base.values import Value
from fleet.facts.boots import Boot
from fleet.facts.holes import Hole, Mount, Side
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Construction, InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern
from fleet.facts.policy import Policy
from fleet.facts.wishes import Wish
from fleet.rules.fitting import mount_as_set
from fleet.tables.snapshot import Fleet
from planner.plan.values import PlannedHole, PlannedSet, Rung, Way
from planner.planning.judge.limits import (
    Limits,
    Objection,
    Sort,
    limits_for,
    where_bindings_are,
    work_minutes,
)
from planner.planning.judge.ski_check import SkiCase, clearance_of, judge_pieces, judge_ski, meets_um


def _all_but(names: Iterable[str], *apart: str) -> Callable[[Any], tuple[Hashable, ...]]:
    return attrgetter(*(name for name in names if name not in apart))


_OF_PAIR = _all_but(Pair.__struct_fields__, "tag", "rack", "entry", "mounts", "skis")
_OF_MOUNT = _all_but(Mount.__struct_fields__, "entry")
_OF_SKI = _all_but(Ski.__struct_fields__, "inspected", "holes", "holes_numbered_to")
_OF_AREA = _all_but(InspectedArea.__struct_fields__, "by", "entry")
_OF_HOLE = _all_but(Hole.__struct_fields__, "hole_id", "entry")
_OF_BOOT = _all_but(Boot.__struct_fields__, "tag", "entry")
_OF_WAY = _all_but(Way.__struct_fields__, "skis")
_NAME = attrgetter("hole_id")
_NAMES = attrgetter("hole_id", "nearest_id")
_OF_SCREW = _all_but(PlannedHole.__struct_fields__, "hole_id", "nearest_id")


_Numbers = defaultdict[Hashable, int]
"""A number for each thing asked for."""


def of_each(
    sets: Sequence[PlannedSet], alike: Sequence[int], judged: Callable[[PlannedSet], Iterator[Objection]]
) -> Iterator[Objection]:
    """The objections to each set; one like a set that nothing is held against is not looked at again."""
    passed: set[int] = set()
    for planned, number in zip(sets, alike, strict=True):
        if number not in passed:
            objections = tuple(judged(planned))
            if not objections:
                passed.add(number)
            yield from objections


def alike_sets(fleet: Fleet, sets: Sequence[PlannedSet]) -> list[int]:
    """A number for each set, the same for those that are alike."""
    numbers: dict[Hashable, int] = {}
    of_pair, of_boot, shapes = (_Numbers(count().__next__) for _ in range(3))
    screws: list[frozenset[str]] = []
    pairs = {s.pair: of_pair[_pair(fleet.pairs[s.pair])] for s in sets if s.pair in fleet.pairs}
    boots = {s.boot: of_boot[_OF_BOOT(fleet.boots[s.boot])] for s in sets if s.boot in fleet.boots}
    shared = Counter(pairs.values())
    found = []
    for at, planned in enumerate(sets):
        key: Hashable = at
        if shared[pairs.get(planned.pair, -1)] > 1 and planned.boot in boots:
            ways = _skis(planned, fleet.pairs[planned.pair], shapes, screws)
            same = (pairs[planned.pair], boots[planned.boot], planned.wish, planned.brake_um)
            key = at if ways is None else (*same, planned.binding_from == "own", _OF_WAY(planned.way), ways)
        found.append(numbers.setdefault(key, at))
    return found


def _pair(pair: Pair) -> Hashable:
    skis = [
        (_OF_SKI(ski), tuple(map(_OF_AREA, ski.inspected)), tuple(map(_OF_HOLE, ski.holes)))
        for ski in map(pair.skis.__getitem__, Side)
    ]
    return _OF_PAIR(pair), tuple(map(_OF_MOUNT, pair.mounts)), *skis


def _skis(planned: PlannedSet, pair: Pair, shapes: _Numbers, screws: list[frozenset[str]]) -> Hashable:
    """Return all that is planned on both skis; None where a name may mean two things.

    ``screws``: the names of planned screws, by the number of their shape.
    """
    found: list[Hashable] = []
    for side in Side:
        ski, holes = planned.way.skis[side], pair.skis[side].holes
        shape = shapes[tuple(map(_OF_SCREW, ski.holes))]
        if shape == len(screws):
            screws.append(frozenset(f"{hole.piece} {hole.number}" for hole in ski.holes))
        at = dict(zip(map(_NAME, holes), count()))
        if len(at) < len(holes) or not at.keys().isdisjoint(screws[shape]):
            return None
        named = [name for names in map(_NAMES, ski.holes) for name in names]
        found += [shape, ski.from_tail_um, ski.pieces]
        found += [tuple([at.get(name, name) for name in named]), tuple([at.get(n, n) for n in ski.plug])]
    return tuple(found)


class SetCase(Value, frozen=True, kw_only=True):
    """A planned set beside the ledger's facts about it."""

    planned: PlannedSet
    wish: Wish
    boot: Boot
    pair: Pair
    pattern: Pattern
    fitted: bool
    policy: Policy
    limits: Limits
    kinds: KindRule

    @property
    def about(self) -> str:
        """Return how an objection names the set."""
        return f"{self.planned.wish} {self.planned.boot} on {self.planned.pair}"

    def no(self, rule: str, message: str) -> Objection:
        """An objection to this set."""
        return Objection(about=self.about, rule=rule, message=message)


class Facts:
    """The ledger's facts that every set of a plan is held against, read once."""

    def __init__(self, fleet: Fleet) -> None:
        """Nothing is judged yet."""
        self.fleet = fleet
        self.wishes = {w.wish: w for w in fleet.wishes}
        self.fitted = {(f.sole_type, f.pattern) for f in fleet.fits}
        self.kinds = KindRule(fleet.policy)
        self._limits: dict[Construction | None, Limits] = {}

    @cached_property
    def bindings(self) -> tuple[dict[str, Sort], Counter[Sort]]:
        """The sort of binding on each pair, and how many pairs of each sort lie loose."""
        return where_bindings_are(self.fleet.bindings.values())

    @cached_property
    def supply(self) -> Counter[Sort]:
        """The pairs of bindings of each sort that lie loose or stand on a pair that a plan may use."""
        on, loose = self.bindings
        return loose + Counter(sort for tag, sort in on.items() if self.fleet.pairs[tag].plannable)

    def limits(self, pair: Pair) -> Limits:
        """The limits for a pair; they depend on its construction only."""
        if pair.construction not in self._limits:
            self._limits[pair.construction] = limits_for(self.fleet.policy, pair)
        return self._limits[pair.construction]


def judge_set(facts: Facts, planned: PlannedSet) -> Iterator[Objection]:
    """Every objection to one set, looked at alone."""
    for objection in _judged(facts, planned):
        yield replace(objection, pair=planned.pair)


def _judged(facts: Facts, planned: PlannedSet) -> Iterator[Objection]:
    fleet = facts.fleet
    wish, boot = facts.wishes.get(planned.wish), fleet.boots.get(planned.boot)
    pair, pattern = fleet.pairs.get(planned.pair), fleet.patterns.get(planned.way.pattern)
    if wish is None or boot is None or pair is None or pattern is None:
        yield Objection(
            about=f"{planned.wish} {planned.boot} on {planned.pair}",
            rule="ledger",
            message="the ledger knows no such wish, boot, pair or pattern",
        )
        return
    case = SetCase(
        planned=planned,
        wish=wish,
        boot=boot,
        pair=pair,
        pattern=pattern,
        fitted=(boot.sole_type, pattern.name) in facts.fitted,
        policy=fleet.policy,
        limits=facts.limits(pair),
        kinds=facts.kinds,
    )
    yield from _asked_for(case)
    yield from _fits(case)
    yield from _mount(case)


def _asked_for(case: SetCase) -> Iterator[Objection]:
    wish, pair, size = case.wish, case.pair, case.boot.mondopoint_mm
    if not pair.plannable:
        yield case.no(
            "place", f"the pair is {pair.place.words}" + (f"; asked: {pair.asks}?" if pair.asks else "")
        )
    if not case.boot.plannable:
        yield case.no("boot", f"the boot is barred: {case.boot.barred or f'asked: {case.boot.asks}?'}")
    if not case.kinds.meet((pair.kind,), (wish.kind,)):
        yield case.no("kind", f"asked for {wish.kind}, the pair is {pair.kind}")
    if not case.kinds.meet(case.boot.kinds, (wish.kind,)):
        yield case.no("kind", f"asked for {wish.kind}, the boot is {' and '.join(sorted(case.boot.kinds))}")
    if against := case.kinds.against(pair=(pair.kind,), boot=case.boot.kinds, binding=case.pattern.kinds):
        yield case.no("kind", against)
    if not wish.length_min_mm <= pair.length_mm <= wish.length_max_mm:
        yield case.no("length", f"{pair.length_mm / 10:g} cm is outside the window")
    if size is None or not wish.mondopoint_min_mm <= size <= wish.mondopoint_max_mm:
        yield case.no("size", "the boot's size is outside the window or unknown")


def _fits(case: SetCase) -> Iterator[Objection]:
    boot, pattern, way, brake = case.boot, case.pattern, case.planned.way, case.planned.brake_um
    if not case.fitted:
        yield case.no("fit", f"sole {boot.sole_type} in {pattern.name} is not declared by both makers")
    if boot.bsl_um is None or way.bsl_um != boot.bsl_um:
        yield case.no("sole length", "the way is for another sole length than the boot's")
    ends = (pattern.bsl_min_um, pattern.bsl_max_um)
    if (ends[0] is not None and way.bsl_um < ends[0]) or (ends[1] is not None and way.bsl_um > ends[1]):
        yield case.no("sole length", f"pattern {pattern.name} does not take {mm_text(way.bsl_um)} mm")
    if brake is None:
        return
    if not isinstance(brake, int):
        if case.planned.binding_from != "own":
            yield case.no("brake", "the brake is not known: only the binding already on")
        return
    waist, slack = case.pair.waist_um, case.policy.um("brake_over_waist_max_mm")
    if waist is None:
        if case.planned.binding_from != "own":
            yield case.no("brake", "the waist is unknown: only the binding already on, or no brake")
    elif not waist <= brake <= waist + slack:
        yield case.no(
            "brake",
            f"a {mm_text(brake)} mm brake on a {mm_text(waist)} mm waist; the shop's rule asks for"
            f" {mm_text(waist)} to {mm_text(waist + slack)} mm",
        )


def _mount(case: SetCase) -> Iterator[Objection]:
    way, limits = case.planned.way, case.limits
    touched = way.rung not in (Rung.AS_IS, Rung.ADJUST)
    if abs(way.offset_um) > limits.offset_limit_um:
        yield case.no("offset", f"{mm_text(abs(way.offset_um))} mm off the mark is beyond the shop's limit")
    skis = [_ski_case(case, side, touched=touched) for side in Side]
    mount = _mount_now(case)
    if not touched:
        if case.planned.binding_from != "own" or mount is None or mount.pattern != way.pattern:
            yield case.no("untouched", f"'{way.rung}' needs this pattern's own binding on the pair")
        else:
            yield from _as_mounted(case, skis, mount)
    for ski in skis:
        yield from judge_ski(ski)
        yield from judge_pieces(ski, jig=way.jig, mount=mount)
    yield from _pieces_alike(case, skis)
    yield from _figures(case, skis)
    if way.jig is not None and not way.drilled:
        yield case.no("jig", "a jig is set up although nothing is drilled")


def _mount_now(case: SetCase) -> Mount | None:
    """The mount as its binding stands now, where it is of the way's own pattern."""
    mount = case.pair.current_mount
    return mount if mount is None or mount.pattern != case.pattern.name else mount_as_set(mount, case.pattern)


def _ski_case(case: SetCase, side: Side, *, touched: bool) -> SkiCase:
    way, pair = case.planned.way, case.pair
    return SkiCase(
        about=case.about,
        ski=pair.skis[side],
        planned=way.skis[side],
        pattern=case.pattern,
        limits=case.limits,
        shift_um=shift_of(pair, side),
        centre_um=_centre_um(case, way.offset_um, way.bsl_um),
        bsl_um=way.bsl_um,
        pin_line_um=None if _pin_um(case) is None else way.offset_um,
        touched=touched,
    )


def _pin_um(case: SetCase) -> int | None:
    """Toe end to pin line, where the boot is mounted by it."""
    return case.boot.pin_um if any(p.follows is Follows.MARK for p in case.pattern.pieces) else None


def _centre_um(case: SetCase, offset_um: int, bsl_um: int) -> int:
    pin_um = _pin_um(case)
    return offset_um if pin_um is None else offset_um + pin_um - bsl_um // 2


def _as_mounted(case: SetCase, skis: list[SkiCase], mount: Mount) -> Iterator[Objection]:
    """No screw is touched: each piece stays where the ledger says, and slid as it says unless adjusted.

    A mount whose pieces were never recorded stands as its own figures say, with no slide.
    """
    recorded = {slide.piece: slide for slide in mount.slides}
    centre_um = _centre_um(case, mount.offset_um - skis[0].shift_um, mount.bsl_um)
    for ski in skis:
        planned = {p.piece: p for p in ski.planned.pieces}
        for piece in case.pattern.pieces:
            stand, known = planned.get(piece.name.value), recorded.get(piece.name.value)
            if stand is None:
                continue
            at_um, slide_um = meets_um(piece, centre_um, mount.bsl_um, None) + ski.shift_um, 0
            if known is not None:
                at_um, slide_um = known.reference_um - skis[0].shift_um + ski.shift_um, known.slide_um
            if stand.reference_um != at_um:
                yield ski.no(
                    "untouched",
                    f"the {piece.name} piece stands at {mm_text(at_um)} mm, the plan says"
                    f" {mm_text(stand.reference_um)} mm without touching a screw",
                )
            pins = piece.follows is Follows.MARK and _pin_um(case) is not None
            if case.planned.way.rung is Rung.AS_IS and not pins and stand.slide_um != slide_um:
                yield ski.no(
                    "untouched",
                    f"the {piece.name} piece is slid {mm_text(slide_um)} mm, 'as it is' says"
                    f" {mm_text(stand.slide_um)} mm",
                )


def shift_of(pair: Pair, side: Side) -> int:
    """The pair's reference as an x from this ski's own mark; marks never measured count as alike."""
    marks = {s: pair.skis[s].mark_from_tail_um for s in Side}
    reference = pair.reference_from_tail_um
    if reference is None:
        a, own = marks[Side.A], marks[side]
        return 0 if a is None or own is None else a - own
    known = next((m for m in (marks[side], marks[Side.A], marks[Side.B]) if m is not None), None)
    return 0 if known is None else reference - known


def _pieces_alike(case: SetCase, skis: list[SkiCase]) -> Iterator[Objection]:
    """Both skis of a pair are mounted alike, by distance from the pair's reference."""
    stands = [{p.piece: p.reference_um - ski.shift_um for p in ski.planned.pieces} for ski in skis]
    for piece in sorted(set(stands[0]) & set(stands[1])):
        apart = abs(stands[0][piece] - stands[1][piece])
        if apart > case.limits.alike_um:
            yield case.no("alike", f"the {piece} pieces stand {mm_text(apart)} mm apart on the two skis")


def _figures(case: SetCase, skis: list[SkiCase]) -> Iterator[Objection]:
    way = case.planned.way
    drilled = sum(h.do == "drill" for s in skis for h in s.planned.holes)
    plugged = sum(len(s.planned.plug) for s in skis)
    if drilled and case.pair.drilled_mounts + 1 > case.limits.mounts_max:
        had = f"{counted(case.pair.drilled_mounts, 'mount')}{case.pair.earlier_text}"
        yield case.no("mounts", f"the pair has had {had}; that is the most")
    found = [c for c in map(clearance_of, skis) if c is not None]
    truth = {
        "drilled": (drilled, way.drilled),
        "plugged": (plugged, way.plugged),
        "clearance_um": (min(found, default=None), way.clearance_um),
        "minutes": (_minutes(case, drilled, plugged), way.minutes),
        "way": (_rung(case, drilled), way.rung),
    }
    for name, (true, said) in truth.items():
        if true != said:
            yield case.no("figures", f"{name} is {true}, the plan says {said}")


def _minutes(case: SetCase, drilled: int, plugged: int) -> int:
    rung, policy = case.planned.way.rung, case.policy
    if rung is Rung.AS_IS:
        return 0
    if rung is Rung.ADJUST:
        return ceil(policy.number("minutes_adjust") + policy.number("minutes_check"))
    return work_minutes(
        policy, take_off=case.pair.current_mount is not None, drilled=drilled, plugged=plugged
    )


def _rung(case: SetCase, drilled: int) -> Rung:
    way = case.planned.way
    if way.rung in (Rung.AS_IS, Rung.ADJUST):
        mount = _mount_now(case)
        still = mount is not None and way.bsl_um == mount.bsl_um == mount.stands_for_um
        return Rung.AS_IS if still and mount is not None and not mount.set_elsewhere else Rung.ADJUST
    if drilled == 0:
        near = abs(way.offset_um) <= case.limits.offset_preferred_um
        return Rung.SAME_HOLES if near else Rung.CENTRE_MOVED
    return Rung.ALL_NEW if drilled == 2 * case.pattern.hole_count else Rung.PART_REUSED
