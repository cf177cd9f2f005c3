"""The ways that touch no screw: as it is, and adjust."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.facts.holes import HoleState, Side
from fleet.facts.mounts import Mount
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Follows, Pattern, Piece
from fleet.rules.fitting import mount_as_set
from planner.geometry.placement.frames import PairFrame, Stance
from planner.geometry.placement.placed import PlacedPiece, planned_ski
from planner.geometry.placement.rule import Rule
from planner.geometry.placement.settle import candidates
from planner.geometry.placement.sweep import Claims
from planner.plan.values import PlannedSki, Rung, Way


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
