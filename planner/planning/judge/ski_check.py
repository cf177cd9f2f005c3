"""One ski of one set, judged by pairwise distances of its final coordinates, exact and as printed.

And how each piece comes to its place: what the ledger says of where it stands, and the jig hole by hole.
"""

from collections.abc import Iterator, Mapping
from math import isqrt

from fleet.base.units import mm_text, to_half_mm
from fleet.base.values import Value
from fleet.facts.holes import Hole, HoleState, Mount
from fleet.facts.pairs import Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece
from planner.plan.values import How, Jig, PlannedHole, PlannedSki
from planner.planning.judge.limits import Limits, Objection


class SkiCase(Value, frozen=True, kw_only=True):
    """Everything the judgement of one ski needs.

    ``shift_um``: the pair's reference as an x from this ski's own mark. ``centre_um``: the boot centre
    from the pair's reference. ``pin_line_um``: the pin line from it, None for a mid-sole mount.
    ``touched``: the binding comes off and on; else at most its slide changes.
    """

    about: str
    ski: Ski
    planned: PlannedSki
    pattern: Pattern
    limits: Limits
    shift_um: int
    centre_um: int
    bsl_um: int
    pin_line_um: int | None
    touched: bool

    def no(self, rule: str, message: str) -> Objection:
        """An objection to this ski."""
        return Objection(about=f"{self.about} ski {self.ski.side}", rule=rule, message=message)


def judge_ski(case: SkiCase) -> Iterator[Objection]:
    """Every objection to one ski."""
    yield from _pieces(case)
    yield from _tail(case)
    old: _Holes = {hole.hole_id: hole for hole in case.ski.holes}
    yield from _as_recorded(case, old)
    if case.touched:
        yield from _all_holes_there(case)
        places = _places(case)
        yield from _reuse(case, places, old)
        yield from _drilled_where_meant(case, places)
        yield from _distances(case)
        yield from _area(case)
        yield from _plugs(case)
    elif any(h.do != "reuse" for h in case.planned.holes) or case.planned.plug:
        yield case.no("untouched", "a way that leaves the screws alone drills or plugs a hole")
    yield from _nearest(case)


def _pieces(case: SkiCase) -> Iterator[Objection]:
    planned = {p.piece: p for p in case.planned.pieces}
    if sorted(planned) != sorted(piece.name.value for piece in case.pattern.pieces):
        yield case.no("pieces", f"pieces {sorted(planned)} are not those of pattern {case.pattern.name}")
        return
    misses = []
    for piece in case.pattern.pieces:
        stand = planned[piece.name.value]
        back, forward, left = piece.travel_back_um, piece.travel_forward_um, case.limits.travel_reserve_um
        if not back and not forward:
            left = 0
        if not left - back <= stand.slide_um <= forward - left:
            yield case.no(
                "travel",
                f"the {piece.name} piece slides {mm_text(stand.slide_um)} mm; it travels"
                f" {mm_text(back)} back and {mm_text(forward)} forward"
                + (f", and the shop's rule leaves {mm_text(left)} mm at each end" if left else ""),
            )
        off = stand.reference_um + stand.slide_um - case.shift_um
        off -= meets_um(piece, case.centre_um, case.bsl_um, case.pin_line_um)
        if piece.follows is not Follows.MARK:
            misses.append(off)
        if abs(off) > case.limits.tolerance_um:
            yield case.no("stands", f"the {piece.name} piece misses the boot by {mm_text(abs(off))} mm")
    if misses and (apart := max(misses) - min(misses)) > case.limits.tolerance_um:
        yield case.no(
            "sole", f"the pieces would hold a sole {mm_text(apart)} mm longer or shorter than this one"
        )


def meets_um(piece: Piece, centre_um: int, bsl_um: int, pin_line_um: int | None) -> int:
    """Return where the piece's end has to be, from the pair's reference."""
    if piece.follows is Follows.MARK:
        return 0 if pin_line_um is None else pin_line_um
    half = bsl_um // 2
    return centre_um + {Follows.TOE: half, Follows.HEEL: -half, Follows.CENTRE: 0}[piece.follows]


def _tail(case: SkiCase) -> Iterator[Objection]:
    mark = case.ski.mark_from_tail_um
    wanted = None if mark is None else mark + case.shift_um + case.centre_um
    if case.planned.from_tail_um != wanted:
        yield case.no(
            "from tail", f"boot centre from tail is {_mm(wanted)}, not {_mm(case.planned.from_tail_um)}"
        )


def _all_holes_there(case: SkiCase) -> Iterator[Objection]:
    wanted = sorted((p.name.value, n + 1) for p in case.pattern.pieces for n in range(len(p.holes)))
    if sorted((h.piece, h.number) for h in case.planned.holes) != wanted:
        yield case.no("holes", f"the holes are not those of pattern {case.pattern.name}, each once")


_Holes = Mapping[str | None, Hole]
"""The holes on record, by id."""


def _as_recorded(case: SkiCase, old: _Holes) -> Iterator[Objection]:
    """An old hole stands in the plan, and so on its sheet, as the ledger has it."""
    for hole in case.planned.holes:
        if hole.do != "reuse":
            continue
        found = old.get(hole.hole_id)
        if found is None:
            yield case.no("reuse", f"hole {hole.hole_id} is not on this ski")
            continue
        if (hole.x_um, hole.y_um) != (found.x_um, found.y_um):
            yield case.no("reuse", f"hole {found.hole_id} is recorded elsewhere than planned")
        if (hole.diameter_um, hole.depth_um) != (found.diameter_um, found.depth_um):
            yield case.no(
                "old hole",
                f"hole {found.hole_id} is recorded with {_mm(found.diameter_um)} x {_mm(found.depth_um)},"
                f" the plan says {_mm(hole.diameter_um)} x {_mm(hole.depth_um)}",
            )


_Places = Mapping[tuple[str, int], tuple[int, int, PatternHole]]


def _places(case: SkiCase) -> _Places:
    """Return where each screw is meant to be, own mark, and its hole in the pattern, by piece and number."""
    stands = {p.piece: p.reference_um for p in case.planned.pieces}
    return {
        (piece.name.value, number): (stands[piece.name.value] + hole.x_um, hole.y_um, hole)
        for piece in case.pattern.pieces
        if piece.name.value in stands
        for number, hole in enumerate(piece.holes, start=1)
    }


def _reuse(case: SkiCase, places: _Places, old: _Holes) -> Iterator[Objection]:
    claimed = [h.hole_id for h in case.planned.holes if h.do == "reuse"]
    if len(set(claimed)) != len(claimed):
        yield case.no("claimed twice", "two screws claim one old hole")
    for hole in case.planned.holes:
        if hole.do != "reuse":
            continue
        found = old.get(hole.hole_id)
        wanted = places.get((hole.piece, hole.number))
        if found is None:
            continue
        if wanted is None:
            yield case.no("reuse", f"{_name(hole)} is no hole of the pattern")
            continue
        x_um, y_um, listed = wanted
        gap = (found.x_um - x_um) ** 2 + (found.y_um - y_um) ** 2
        if gap > case.limits.tolerance_um**2:
            yield case.no(
                "reuse",
                f"hole {found.hole_id} is {mm_text(isqrt(gap - 1) + 1)} mm from where the screw is meant;"
                f" the shop's rule asks for {mm_text(case.limits.tolerance_um)} mm",
            )
        if not takes_screw(case.limits, found, listed):
            yield case.no(
                "reuse",
                f"hole {found.hole_id} is {found.state}, {found.knowledge},"
                f" diameter {_mm(found.diameter_um)}: no screw may be planned into it",
            )
        yield from _reuse_apart(case, found, (x_um, y_um), listed)


def _reuse_apart(case: SkiCase, own: Hole, at: tuple[int, int], listed: PatternHole) -> Iterator[Objection]:
    """The other old holes that the screw comes too near; one into which it may go as well is none."""
    asked = case.limits.reuse_spacing_um
    for other in case.ski.holes:
        if other is own or abs(other.x_um - at[0]) >= asked:
            continue
        gap = _square(at, (other.x_um, other.y_um))
        if gap >= asked**2:
            continue
        if gap > case.limits.tolerance_um**2 or not takes_screw(case.limits, other, listed):
            yield case.no(
                "reuse spacing",
                f"the screw in hole {own.hole_id} is {mm_text(isqrt(gap))} mm from the {other.state} hole"
                f" {other.hole_id}; the shop's rule asks for {mm_text(case.limits.reuse_spacing_um)} mm",
            )


def takes_screw(limits: Limits, old: Hole, listed: PatternHole) -> bool:
    """Return whether the screw of a listed hole may go into this old one, position apart."""
    if not old.knowledge.may_be_reused or old.diameter_um is None:
        return False
    if old.state is HoleState.INSERT:
        return old.diameter_um == listed.diameter_um and old.diameter_um not in limits.all_drills_um
    size = listed.diameter_um if limits.drill_um is None else limits.drill_um
    return old.state in (HoleState.OPEN, HoleState.SCREWED) and old.diameter_um == size


def _drilled_where_meant(case: SkiCase, places: _Places) -> Iterator[Objection]:
    for hole in case.planned.holes:
        if hole.do == "reuse":
            continue
        wanted = places.get((hole.piece, hole.number))
        if hole.do != "drill" or wanted is None:
            yield case.no("holes", f"{_name(hole)} is neither reuse nor drill of a listed hole")
        elif (hole.x_um, hole.y_um) != wanted[:2]:
            yield case.no("holes", f"{_name(hole)} is not where the {hole.piece} piece puts it")
        elif (hole.diameter_um, hole.depth_um) != (case.limits.drill_um, case.limits.depth_um):
            yield case.no(
                "drill size",
                f"{_name(hole)}: drill {_mm(hole.diameter_um)} x {_mm(hole.depth_um)};"
                f" this ski takes {_mm(case.limits.drill_um)} x {_mm(case.limits.depth_um)}",
            )


def _versions(hole: PlannedHole) -> tuple[tuple[int, int], ...]:
    """The place as planned and as printed, to half a millimetre."""
    return ((hole.x_um, hole.y_um), (to_half_mm(hole.x_um), to_half_mm(hole.y_um)))


def _distances(case: SkiCase) -> Iterator[Objection]:
    drilled = [h for h in case.planned.holes if h.do == "drill"]
    olds = [(old, (old.x_um, old.y_um), case.limits.asked_um(old)) for old in case.ski.holes]
    for hole in drilled:
        versions = _versions(hole)
        for old, place, asked in olds:
            gap = min([_square(at, place) for at in versions])
            if gap < asked**2:
                yield case.no(
                    "spacing",
                    f"{_name(hole)} is {mm_text(isqrt(gap))} mm from the {old.state} hole {old.hole_id}"
                    f" ({old.knowledge}); the shop's rule asks for {mm_text(asked)} mm",
                )
    for index, hole in enumerate(drilled):
        for other in drilled[index + 1 :]:
            if other.piece == hole.piece:
                continue
            gap = min(map(_square, _versions(hole), _versions(other)))
            if gap < case.limits.spacing_um**2:
                yield case.no(
                    "spacing",
                    f"{_name(hole)} is {mm_text(isqrt(gap))} mm from the new {_name(other)};"
                    f" the shop's rule asks for {mm_text(case.limits.spacing_um)} mm",
                )


def _area(case: SkiCase) -> Iterator[Objection]:
    ski, edge = case.ski, case.limits.edge_um
    for hole in case.planned.holes:
        if hole.do != "drill":
            continue
        if ski.zone_back_um is None or ski.zone_front_um is None or ski.zone_half_width_um is None:
            yield case.no("zone", f"{_name(hole)}: the mounting zone is unknown, nothing may be drilled")
            continue
        back, front, side = edge - ski.zone_back_um, ski.zone_front_um - edge, ski.zone_half_width_um - edge
        if not all(back <= x <= front and abs(y) <= side for x, y in _versions(hole)):
            yield case.no("zone", f"{_name(hole)} lies outside the mounting zone or on its edge")
        if not all(any(a.from_um <= x <= a.to_um for a in ski.inspected) for x, _ in _versions(hole)):
            yield case.no("inspected", f"{_name(hole)} lies where nobody has looked for old holes")


def _plugs(case: SkiCase) -> Iterator[Objection]:
    reused = {h.hole_id for h in case.planned.holes if h.do == "reuse"}
    left = sorted(
        h.hole_id
        for h in case.ski.holes
        if h.state not in (HoleState.PLUGGED, HoleState.INSERT) and h.hole_id not in reused
    )
    if sorted(case.planned.plug) != left:
        yield case.no(
            "plug", f"to plug: {', '.join(left) or 'none'}; the plan says {list(case.planned.plug)}"
        )


def _nearest(case: SkiCase) -> Iterator[Objection]:
    """The distance printed beside a hole, and the hole that it is said to lead to."""
    others = [(old.hole_id, old.x_um, old.y_um) for old in case.ski.holes]
    others += [(_screw(h), h.x_um, h.y_um) for h in case.planned.holes if h.do == "drill"]
    for hole in case.planned.holes:
        own, at_x, at_y = hole.hole_id if hole.do == "reuse" else _screw(hole), hole.x_um, hole.y_um
        away = [((x - at_x) ** 2 + (y - at_y) ** 2, name) for name, x, y in others if name != own]
        least = min(away)[0] if away else None
        wanted = None if least is None else isqrt(least)
        if hole.nearest_um != wanted or (away and (least, hole.nearest_id) not in away):
            nearest = sorted(name for square, name in away if square == least)
            yield case.no(
                "nearest",
                f"{_name(hole)}: nearest is {' or '.join(nearest) or 'no hole'} at {_mm(wanted)},"
                f" the plan says {hole.nearest_id} at {_mm(hole.nearest_um)}",
            )


def clearance_of(case: SkiCase) -> int | None:
    """Smallest distance (rounded down) minus the spacing asked, over drilled holes; None if none."""
    drilled = [h for h in case.planned.holes if h.do == "drill"]
    olds = [(old.x_um, old.y_um, case.limits.asked_um(old)) for old in case.ski.holes]
    found: list[int] = []
    for hole in drilled:
        at = (hole.x_um, hole.y_um)
        found += [isqrt(_square(at, (x_um, y_um))) - asked for x_um, y_um, asked in olds]
        found += [
            isqrt(_square(at, (other.x_um, other.y_um))) - case.limits.spacing_um
            for other in drilled
            if other.piece != hole.piece
        ]
    return min(found, default=None)


def _square(a: tuple[int, int], b: tuple[int, int]) -> int:
    return (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2


def _screw(hole: PlannedHole) -> str:
    return f"{hole.piece} {hole.number}"


def _name(hole: PlannedHole) -> str:
    return f"{hole.piece} hole {hole.number} at ({mm_text(hole.x_um)}, {mm_text(hole.y_um)}) mm"


def _mm(value_um: int | None) -> str:
    return "unknown" if value_um is None else f"{mm_text(value_um)} mm"


def judge_pieces(case: SkiCase, *, jig: Jig | None, mount: Mount | None) -> Iterator[Objection]:
    """Every objection to how the pieces of one ski are brought to their places, and to its jig."""
    for piece in case.planned.pieces:
        drilled = any(h.do == "drill" and h.piece == piece.piece for h in case.planned.holes)
        by = How.SLIDE if not case.touched else _how(drilled=drilled, jig=jig is not None)
        if piece.how is not by:
            yield case.no("how", f"the {piece.piece} piece comes there by {by}, the plan says {piece.how}")
        now = None if case.touched or mount is None else mount.slid_um(piece.piece, case.pattern.travelling)
        if now is None and not case.touched:
            now = _unrecorded(case.pattern, piece.piece)
        if piece.stands_um != now:
            yield case.no(
                "stands now",
                f"the {piece.piece} piece is slid {_told(now)} now, the plan says {_told(piece.stands_um)}",
            )
    if jig is not None:
        yield from _jig(case, jig)


def _jig(case: SkiCase, jig: Jig) -> Iterator[Objection]:
    pattern, error = case.pattern, case.limits.bench_error_um
    ends = (pattern.bsl_min_um, pattern.bsl_max_um)
    if (ends[0] is not None and jig.sole_um < ends[0]) or (ends[1] is not None and jig.sole_um > ends[1]):
        yield case.no("jig", f"a jig of {pattern.name} is not set to {mm_text(jig.sole_um)} mm")
    for hole in case.planned.holes:
        if hole.do != "drill":
            continue
        gap = _beside_um2(pattern, hole, jig)
        if gap is None or gap > error**2:
            far = "nowhere near" if gap is None else f"{mm_text(isqrt(gap))} mm beside"
            yield case.no("jig", f"the jig drills {hole.piece} hole {hole.number} {far} where it is planned")


def _how(*, drilled: bool, jig: bool) -> How:
    if not drilled:
        return How.BY_HAND
    return How.JIG if jig else How.TEMPLATE


def _unrecorded(pattern: Pattern, name: str) -> int | None:
    piece = next((p for p in pattern.pieces if p.name.value == name), None)
    travels = piece is None or piece.travel_back_um or piece.travel_forward_um
    return None if travels else 0


def _beside_um2(pattern: Pattern, hole: PlannedHole, jig: Jig) -> int | None:
    for piece in pattern.pieces:
        if piece.name.value == hole.piece and 1 <= hole.number <= len(piece.holes):
            listed = piece.holes[hole.number - 1]
            half = {Follows.TOE: jig.sole_um // 2, Follows.HEEL: -(jig.sole_um // 2)}.get(piece.follows, 0)
            at = (jig.centre_um + half + listed.x_um, listed.y_um)
            return (at[0] - hole.x_um) ** 2 + (at[1] - hole.y_um) ** 2
    return None


def _told(value_um: int | None) -> str:
    return "not known" if value_um is None else f"{mm_text(value_um)} mm"
