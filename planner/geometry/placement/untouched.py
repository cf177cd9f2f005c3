"""A settled placement as the values of a plan, and the ways that touch no screw: as it is, and adjust.

Coordinates, slides, plugs, nearest distances. And a way carried over to a twin: a pair whose skis are alike
hole by hole. Names differ, places do not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isqrt
from operator import attrgetter

from msgspec.structs import replace

from fleet.base.values import Value
from fleet.facts.holes import Hole, HoleState, Mount, Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Follows, Pattern, Piece
from fleet.rules.fitting import mount_as_set
from planner.geometry.placement.frames import PairFrame, Stance, frame_of
from planner.geometry.placement.rule import Rule
from planner.geometry.placement.settle import candidates
from planner.geometry.placement.sweep import Claims
from planner.plan.values import How, PlannedHole, PlannedPiece, PlannedSki, Rung, Way


class PlacedPiece(Value, frozen=True, kw_only=True):
    """One placed piece: r and slide on each ski, and the old hole, or None, of every screw.

    ``stands_um``: how it is slid now, where no screw is touched and the ledger says it.
    """

    r_um: Mapping[Side, int]
    slide_um: Mapping[Side, int]
    claims: Mapping[Side, Claims]
    stands_um: int | None = None


_ITSELF = 10**18
"""Stands for the square of a hole's distance from itself: more than any other."""
_Screw = tuple[str, int, int, int, Hole | None]
"""Piece, number, x and y of its hole, and the old hole that it goes into."""


def planned_ski(
    *,
    rule: Rule,
    pair: Pair,
    frame: PairFrame,
    pattern: Pattern,
    stance: Stance,
    offset_um: int,
    pieces: Sequence[PlacedPiece],
    side: Side,
    plug: tuple[str, ...],
    untouched: bool = False,
) -> PlannedSki:
    """Return one planned ski. ``untouched``: nothing is drilled; only screws with known holes are listed."""
    ski, shift = pair.skis[side], frame.shift_um[side]
    screws: list[_Screw] = []
    for piece, placed in zip(pattern.pieces, pieces, strict=True):
        name, at = piece.name.value, placed.r_um[side] + shift
        for number, (wanted, claim) in enumerate(zip(piece.holes, placed.claims[side], strict=True), start=1):
            if claim is not None:
                old = ski.holes[claim]
                screws.append((name, number, old.x_um, old.y_um, old))
            elif not untouched:
                screws.append((name, number, at + wanted.x_um, wanted.y_um, None))
    there = [(old.hole_id, old.x_um, old.y_um) for old in ski.holes]
    there += [(f"{name} {number}", x, y) for name, number, x, y, old in screws if old is None]
    there.sort()
    names, places = [name for name, _, _ in there], [(x, y) for _, x, y in there]
    return PlannedSki(
        from_tail_um=centre_from_tail(frame, stance, offset_um, side),
        pieces=tuple(
            PlannedPiece(
                piece=piece.name.value,
                reference_um=placed.r_um[side] + shift,
                slide_um=placed.slide_um[side],
                stands_um=placed.stands_um,
                how=_how(placed.claims[side], untouched=untouched),
            )
            for piece, placed in zip(pattern.pieces, pieces, strict=True)
        ),
        holes=tuple([_planned_hole(rule, screw, names, places) for screw in screws]),
        plug=plug,
    )


def _how(claims: Claims, *, untouched: bool) -> How:
    """Return the means that brings the piece there. A jig is looked for when both skis are placed."""
    if untouched:
        return How.SLIDE
    return How.TEMPLATE if None in claims else How.BY_HAND


def centre_from_tail(frame: PairFrame, stance: Stance, offset_um: int, side: Side) -> int | None:
    """Return the boot centre from the tail of this ski, µm; None where its mark was never measured."""
    tail = frame.from_tail_um[side]
    return None if tail is None else tail + offset_um + stance.centre_um


def _planned_hole(
    rule: Rule, screw: _Screw, names: Sequence[str], places: Sequence[tuple[int, int]]
) -> PlannedHole:
    """Return the hole of a screw with its nearest neighbour that will be in the ski, old or planned.

    ``names`` in order, so that of equals the first by name counts.
    """
    piece, number, at_x, at_y, old = screw
    squares = [(x - at_x) ** 2 + (y - at_y) ** 2 for x, y in places]
    squares[names.index(f"{piece} {number}" if old is None else old.hole_id)] = _ITSELF
    square = min(squares)
    return PlannedHole(
        piece=piece,
        number=number,
        x_um=at_x,
        y_um=at_y,
        diameter_um=rule.drill_um if old is None else old.diameter_um,
        depth_um=rule.depth_um if old is None else old.depth_um,
        do="drill" if old is None else "reuse",
        hole_id=None if old is None else old.hole_id,
        nearest_um=None if square == _ITSELF else isqrt(square),
        nearest_id=None if square == _ITSELF else names[squares.index(square)],
    )


_SIDES = tuple(Side)
_NAME = attrgetter("hole_id")


class Twins:
    """A way of one pair for pairs that are alike.

    Alike means what `planner.planning.assign.classes` merges. Distances from the tail and depths of old
    holes, which it does not look at, are the twin's own.
    """

    def __init__(self, way: Way, stance: Stance, pair: Pair) -> None:
        self._way, self._stance = way, stance
        self._skis: list[tuple[Side, list[str], list[int], list[_TwinScrew], list[int]]] = []
        for side in _SIDES:
            planned, old = way.skis[side], [hole.hole_id for hole in pair.skis[side].holes]
            drilled = [f"{h.piece} {h.number}" for h in planned.holes if h.do == "drill"]
            at: dict[str | None, int] = {name: number for number, name in enumerate(old)}
            screws = [(hole, at.get(hole.hole_id), at.get(hole.nearest_id)) for hole in planned.holes]
            names = old + drilled
            order = sorted(range(len(names)), key=names.__getitem__)
            self._skis.append((side, drilled, order, screws, [at[name] for name in planned.plug]))

    def way_of(self, twin: Pair) -> Way | None:
        """Return the way for a twin; None where its names sort otherwise: names break ties."""
        frame = frame_of(twin)
        skis: dict[Side, PlannedSki] = {}
        for side, drilled, order, screws, plug in self._skis:
            holes = twin.skis[side].holes
            names = [*map(_NAME, holes), *drilled]
            if len(names) != len(order) or [names[k] for k in order] != sorted(names):
                return None
            skis[side] = PlannedSki(
                from_tail_um=centre_from_tail(frame, self._stance, self._way.offset_um, side),
                pieces=self._way.skis[side].pieces,
                holes=tuple([_of_twin(*screw, holes) for screw in screws]),
                plug=tuple([names[k] for k in plug]),
            )
        return replace(self._way, skis=skis)


_TwinScrew = tuple[PlannedHole, int | None, int | None]
"""A planned hole, and the numbers of the old hole that it is and of the old hole nearest to it."""


def _of_twin(hole: PlannedHole, own: int | None, near: int | None, holes: Sequence[Hole]) -> PlannedHole:
    nearest = hole.nearest_id if near is None else holes[near].hole_id
    if own is not None:
        return replace(hole, depth_um=holes[own].depth_um, hole_id=holes[own].hole_id, nearest_id=nearest)
    return hole if near is None else replace(hole, nearest_id=nearest)


@dataclass(frozen=True, slots=True, kw_only=True)
class UntouchedMount:
    """The current mount of a pair serving a sole without a screw being touched. ``places``: r of each
    piece.
    """

    rung: Rung
    minutes: int
    offset_um: int
    places: tuple[tuple[int, int], ...]
    slides: tuple[int, ...]


def untouched_mount(
    *, rule: Rule, pair: Pair, frame: PairFrame, pattern: Pattern, stance: Stance
) -> UntouchedMount | None:
    """Return *as it is* where the binding stands at this sole, else *adjust* where the travel reaches it.

    None where it does neither, or where the boot centre would lie beyond the policy's limit.
    """
    if pair.current_mount is None or pair.current_mount.pattern != pattern.name:
        return None
    if not pattern.takes_bsl(stance.bsl_um):
        return None
    mount = mount_as_set(pair.current_mount, pattern)
    places = places_of(pattern, mount, frame, stance)
    if mount.bsl_um == stance.bsl_um == mount.stands_for_um and not mount.set_elsewhere:
        offset = _offset_of(pattern, mount, frame, stance, places)
        slides = [
            offset if piece.follows is Follows.MARK and stance.pin_um is not None else slide
            for piece, (_, slide) in zip(pattern.pieces, places, strict=True)
        ]
        if abs(offset) > rule.limit_um or not _goes_together(rule, pattern, stance, offset, places, slides):
            return None
        rung, minutes = Rung.AS_IS, 0
    else:
        found = _adjusted(rule, pattern, stance, [r for r, _ in places])
        if found is None:
            return None
        offset, slides = found
        rung, minutes = Rung.ADJUST, rule.minutes_to_adjust
    return UntouchedMount(
        rung=rung, minutes=minutes, offset_um=offset, places=tuple(places), slides=tuple(slides)
    )


def untouched_way(
    *, rule: Rule, pair: Pair, frame: PairFrame, pattern: Pattern, stance: Stance
) -> Way | None:
    """Return `untouched_mount` as a way, with its skis."""
    found = untouched_mount(rule=rule, pair=pair, frame=frame, pattern=pattern, stance=stance)
    if found is None:
        return None
    skis = {
        side: _untouched_ski(
            rule, pair, frame, pattern, stance, found.offset_um, side, found.places, found.slides
        )
        for side in Side
    }
    return Way(
        rung=found.rung,
        pattern=pattern.name,
        bsl_um=stance.bsl_um,
        offset_um=found.offset_um,
        skis=skis,
        drilled=0,
        plugged=0,
        minutes=found.minutes,
        clearance_um=None,
    )


def places_of(pattern: Pattern, mount: Mount, frame: PairFrame, stance: Stance) -> list[tuple[int, int]]:
    """Return (r, slide) of each mounted piece, whatever sole is asked for."""
    return [_place_of(piece, mount, frame, stance) for piece in pattern.pieces]


def _place_of(piece: Piece, mount: Mount, frame: PairFrame, stance: Stance) -> tuple[int, int]:
    """Return (r, slide) of a mounted piece; where the ledger has none, the place that the mount says, slide
    0.
    """
    for slide in mount.slides:
        if slide.piece == piece.name.value:
            return slide.reference_um - frame.shift_um[Side.A], slide.slide_um
    end = Stance(bsl_um=mount.bsl_um, pin_um=stance.pin_um).end_um(piece.follows)
    offset = mount.offset_um - frame.shift_um[Side.A]
    return (0 if end is None else offset + end), 0


def _offset_of(
    pattern: Pattern, mount: Mount, frame: PairFrame, stance: Stance, places: list[tuple[int, int]]
) -> int:
    for piece, (r, slide) in zip(pattern.pieces, places, strict=True):
        end = stance.end_um(piece.follows)
        if end is not None:
            return r + slide - end
    return mount.offset_um - frame.shift_um[Side.A]


def _goes_together(
    rule: Rule,
    pattern: Pattern,
    stance: Stance,
    offset: int,
    places: list[tuple[int, int]],
    slides: list[int],
) -> bool:
    """Return True if every piece meets the boot within its travel, at the place the ledger has."""
    for piece, (r, _), slide in zip(pattern.pieces, places, slides, strict=True):
        end = stance.end_um(piece.follows)
        if end is not None and abs(r + slide - offset - end) > rule.reuse_um:
            return False
        if not -piece.back_um <= slide <= piece.forward_um:
            return False
    return True


def _adjusted(
    rule: Rule, pattern: Pattern, stance: Stance, places: list[int]
) -> tuple[int, list[int]] | None:
    """Return the offset nearest the mark that every travel reaches, and the slides."""
    low, high = -rule.limit_um, rule.limit_um
    for piece, r in zip(pattern.pieces, places, strict=True):
        own_low, own_high = stance.offsets_um(piece, rule.limit_um)
        low, high = max(low, own_low), min(high, own_high)
        end = stance.end_um(piece.follows)
        if end is not None:
            low = max(low, r - piece.back_um - end)
            high = min(high, r + piece.forward_um - end)
    if low > high:
        return None
    offset = next(iter(candidates((low, high), (low, high))))
    slides = []
    for piece, r in zip(pattern.pieces, places, strict=True):
        end = stance.end_um(piece.follows)
        slides.append((0 if stance.pin_um is None else offset) if end is None else offset + end - r)
    return offset, slides


def _untouched_ski(
    rule: Rule,
    pair: Pair,
    frame: PairFrame,
    pattern: Pattern,
    stance: Stance,
    offset_um: int,
    side: Side,
    places: Sequence[tuple[int, int]],
    slides: Sequence[int],
) -> PlannedSki:
    """Return the ski as it stands; its screws are listed where the ledger knows their holes."""
    mount = None if pair.current_mount is None else mount_as_set(pair.current_mount, pattern)
    shift, travelling = frame.shift_um[side], pattern.travelling
    held = [
        (hole.x_um - shift, hole.y_um, index)
        for index, hole in enumerate(pair.skis[side].holes)
        if hole.state in (HoleState.SCREWED, HoleState.INSERT)
    ]
    placed = [
        PlacedPiece(
            r_um={side: r},
            slide_um={side: slide},
            claims={side: _screws_at(rule, held, piece, r)},
            stands_um=_stands(piece, travelling, mount),
        )
        for piece, (r, _), slide in zip(pattern.pieces, places, slides, strict=True)
    ]
    return planned_ski(
        rule=rule,
        pair=pair,
        frame=frame,
        pattern=pattern,
        stance=stance,
        offset_um=offset_um,
        pieces=placed,
        side=side,
        plug=(),
        untouched=True,
    )


def _stands(piece: Piece, travelling: Sequence[str], mount: Mount | None) -> int | None:
    """Return the present slide of the piece as recorded; None if not known, 0 if it has no travel."""
    name = piece.name.value
    slid = mount.slid_um(name, travelling) if mount is not None else None
    return 0 if slid is None and name not in travelling else slid


def _screws_at(rule: Rule, held: Sequence[tuple[int, int, int]], piece: Piece, r_um: int) -> Claims:
    """Return the recorded holes under a mounted piece: within the reuse tolerance, with a screw or an
    insert (``held``: x, y and index of each on the ski).
    """
    claims: list[int | None] = []
    for wanted in piece.holes:
        own_um = r_um + wanted.x_um
        near = [
            ((x_um - own_um) ** 2 + (y_um - wanted.y_um) ** 2, index)
            for x_um, y_um, index in held
            if abs(x_um - own_um) <= rule.reuse_um and index not in claims
        ]
        square, index = min(near, default=(rule.reuse_um**2 + 1, 0))
        claims.append(index if square <= rule.reuse_um**2 else None)
    return tuple(claims)
