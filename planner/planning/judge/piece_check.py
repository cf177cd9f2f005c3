"""The way of each piece to its place: what the ledger says of where it stands, and the jig hole by hole."""

from collections.abc import Iterator
from math import isqrt

from fleet.base.units import mm_text
from fleet.facts.mounts import Mount
from fleet.facts.patterns import Follows, Pattern
from planner.plan.values import How, Jig, PlannedHole
from planner.planning.judge.objection import Objection
from planner.planning.judge.ski_check import SkiCase


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
                f"the {piece.piece} piece is slid {_mm(now)} now, the plan says {_mm(piece.stands_um)}",
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


def _mm(value_um: int | None) -> str:
    return "not known" if value_um is None else f"{mm_text(value_um)} mm"
