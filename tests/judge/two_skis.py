"""A plan over pairs whose skis A and B differ: marks, zones, holes, how these are known. Ways to spoil it.

Pattern T4/H4, its heel with 15 mm of travel back and 12 mm forward. K-1 was mounted for a 305 mm sole: for
317 mm at +5.0 mm its heel goes into the old holes (slid 1 mm back) and its toe is drilled 11.0 mm ahead of
the old one. Ski B's mark of K-1 sits 3 mm nearer to the tail than ski A's, so x on ski B are 3 mm larger;
ski A's old holes are measured here (10.5 mm asked), ski B's measured bare (11.0 mm asked).

| set | boot on pair | way | binding |
|---|---|---|---|
| 0 | B-1 (317 mm) on K-1 | part reused | from stock |
| 1 | B-2 (315 mm) on K-2 | adjust | own |
| 2 | B-3 (305 mm) on K-3 | all new | off K-4, which then is flat |
| 3 | B-4 (305 mm) on K-5 | as it is | own |
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, PieceSlide, Side
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.ways import ways_for
from planner.plan.values import Plan, PlannedSet, Rung, Strip, Totals, UnplannedPair, Unserved, Way
from planner.planning.judge import judge_plan
from tests.assign import builders
from tests.assign.shop import HEEL, TOE, teaching_pattern

A, B = Side.A, Side.B
Spoil = Callable[[Fleet, Plan], tuple[Fleet, Plan]]
PATTERN = replace(
    teaching_pattern(),
    pieces=(
        teaching_pattern().pieces[0],
        replace(teaching_pattern().pieces[1], travel_back_um=15_000, travel_forward_um=12_000),
    ),
)


def hole(name: str, x_um: int, y_um: int, **more: Any) -> Hole:
    facts = {
        "diameter_um": 3600,
        "depth_um": 9000,
        "state": HoleState.OPEN,
        "knowledge": Knowledge.MEASURED_HERE,
    }
    return Hole(hole_id=name, x_um=x_um, y_um=y_um, **{**facts, **more})


def old_mount(name: str, shift_um: int, **more: Any) -> tuple[Hole, ...]:
    """What a mount for a 305 mm sole, centre on the pair's mark, left in a ski."""
    toe = [(152_500 + shift_um + x * 1000, y * 1000) for x, y in TOE]
    heel = [(-152_500 + shift_um + x * 1000, y * 1000) for x, y in HEEL]
    places = [*zip([f"{name}t{n}" for n in range(1, 5)], toe, strict=True)]
    places += zip([f"{name}h{n}" for n in range(1, 5)], heel, strict=True)
    return tuple(hole(hole_id, x, y, **more) for hole_id, (x, y) in places)


def ski(side: Side, mark_mm: int | None, zone_mm: tuple[int, int, int], *holes: Hole) -> Ski:
    back, front, half = (each * 1000 for each in zone_mm)
    area = InspectedArea(from_um=-back, to_um=front, how="bare", on="2026-10-01")
    return Ski(
        side=side,
        mark_from_tail_um=None if mark_mm is None else mark_mm * 1000,
        zone_back_um=back,
        zone_front_um=front,
        zone_half_width_um=half,
        inspected=(area,),
        holes=holes,
    )


def pair(tag: str, a: Ski, b: Ski, **more: Any) -> Pair:
    return replace(builders.pair(tag), skis={A: a, B: b}, **more)


def mounted(shift_a_um: int = 0) -> dict[str, Any]:
    """Mounted for a 305 mm sole, the heel slid 2 mm back."""
    slides = (
        PieceSlide(piece="toe", reference_um=152_500 + shift_a_um, slide_um=0),
        PieceSlide(piece="heel", reference_um=-150_500 + shift_a_um, slide_um=-2000),
    )
    mount = Mount(
        pattern="T4/H4", bsl_um=305_000, offset_um=shift_a_um, mounted_on="2025-10-01", slides=slides
    )
    return {"mounts": (mount,), "place": Place.BACK}


@cache
def shop() -> Fleet:
    bare, drops = Knowledge.MEASURED_BARE, Knowledge.BINDING_DROPS_IN
    plugged = hole("Ap", 20_000, 30_000, state=HoleState.PLUGGED)
    insert = hole("Ai", 30_000, -30_000, state=HoleState.INSERT, diameter_um=6000)
    filled = hole("Bs", 20_000, -25_000, state=HoleState.PLUGGED, knowledge=Knowledge.TEMPLATE)
    pairs = [
        pair(
            "K-1",
            ski(A, 780, (300, 310, 45), *old_mount("A", 0), plugged, insert),
            ski(B, 777, (290, 320, 44), *old_mount("B", 3000, knowledge=bare), filled),
        ),
        pair("K-2", ski(A, 760, (300, 310, 45)), ski(B, 762, (300, 310, 45)), **mounted()),
        pair("K-3", ski(A, 770, (300, 310, 45)), ski(B, 774, (290, 320, 44)), waist_um=88_000),
        pair("K-4", ski(A, 780, (300, 310, 45)), ski(B, 780, (300, 310, 45)), **mounted()),
        pair("K-5", ski(A, 750, (300, 310, 45)), ski(B, None, (300, 310, 45)), **mounted(-1500)),
        pair("K-6", ski(A, 780, (300, 310, 45)), ski(B, 780, (300, 310, 45)), place=Place.HOLD),
    ]
    screwed = {"state": HoleState.SCREWED, "knowledge": drops}
    heels_back = [replace(h, x_um=h.x_um + 2000 * ("h" in h.hole_id)) for h in old_mount("", 0, **screwed)]
    on_k2 = {side: replace(pairs[1].skis[side], holes=tuple(heels_back)) for side in Side}
    on_k2[B] = replace(on_k2[B], holes=tuple(replace(h, x_um=h.x_um - 2000) for h in heels_back))
    pairs[1] = replace(pairs[1], skis=on_k2)
    bindings = [
        *builders.kit(1, "T4/H4", 95),
        *builders.kit(2, "T4/H4", 95, "K-2"),
        *builders.kit(4, "T4/H4", 100, "K-4"),
        *builders.kit(5, "T4/H4", None, "K-5"),
    ]
    fleet = builders.fleet(
        pairs=pairs,
        boots=[builders.boot(f"B-{n}", bsl_mm=bsl) for n, bsl in enumerate((317, 315, 305, 305), start=1)],
        wishes=[
            builders.wish("W-1", quantity=2, length=(1600, 1700), size=(265, 270)),
            builders.wish("W-2", quantity=3, priority=2, length=(1700, 1800), size=(270, 275)),
        ],
        bindings=bindings,
        fits=(("sole", "T4/H4"),),
        patterns=(),
        policy=default_policy().with_values(
            price_new_hole="1.20", price_reused_hole="0.30", price_plug="0.15"
        ),
    )
    return replace(fleet, patterns={PATTERN.name: PATTERN})


def way(fleet: Fleet, tag: str, bsl_mm: int, rung: Rung) -> Way:
    pair = fleet.pairs[tag]
    ways = ways_for(
        pair=pair,
        pattern=PATTERN,
        bsl_um=bsl_mm * 1000,
        policy=fleet.policy,
        mounted=pair.current_mount is not None,
    )
    return next(each for each in ways if each.rung is rung)


def totals(fleet: Fleet, sets: tuple[PlannedSet, ...], parts_cents: int | None) -> Totals:
    cap = fleet.policy.um("clearance_counted_max_mm")
    rank = {w.wish: w.priority for w in fleet.wishes}
    return Totals(
        wanted=sum(w.quantity for w in fleet.wishes),
        served=len(sets),
        served_by_priority={p: sum(rank[s.wish] == p for s in sets) for p in set(rank.values())},
        drilled=sum(s.way.drilled for s in sets),
        minutes=sum(s.minutes for s in sets),
        offset_um=sum(abs(s.way.offset_um) for s in sets),
        clearance_um=sum(cap if (c := s.way.clearance_um) is None else min(c, cap) for s in sets),
        parts_cents=parts_cents,
    )


@cache
def plan() -> Plan:
    fleet = shop()
    sets = (
        PlannedSet(
            wish="W-1",
            boot="B-1",
            pair="K-1",
            brake_um=95_000,
            way=way(fleet, "K-1", 317, Rung.PART_REUSED),
            binding_from="stock",
        ),
        PlannedSet(
            wish="W-1", boot="B-2", pair="K-2", brake_um=95_000, way=way(fleet, "K-2", 315, Rung.ADJUST)
        ),
        PlannedSet(
            wish="W-2",
            boot="B-3",
            pair="K-3",
            brake_um=100_000,
            way=way(fleet, "K-3", 305, Rung.ALL_NEW),
            binding_from="K-4",
            strip_minutes=8,
        ),
        PlannedSet(wish="W-2", boot="B-4", pair="K-5", brake_um=None, way=way(fleet, "K-5", 305, Rung.AS_IS)),
    )
    return Plan(
        made_at="",
        ledger_entry=7,
        ledger_head="f" * 64,
        ready_by=None,
        minutes_limit=None,
        policy={s.name: s.value for s in fleet.policy},
        status="best found",
        gap_percent=0.0,
        totals=totals(fleet, sets, 24 * 120 + 8 * 30 + 8 * 15),
        sets=sets,
        strip=(Strip(pair="K-4", pattern="T4/H4", brake_um=100_000),),
        unserved=(Unserved(wish="W-2", missing=1, reason="no pair is left", remedy="buy one"),),
        unplanned_pairs=(
            UnplannedPair(pair="K-4", reason="its binding goes to K-3"),
            UnplannedPair(pair="K-6", reason="it is on hold"),
        ),
    )


def said(rule: str, spoil: Spoil) -> list[str]:
    """What the judge says under this rule of the spoilt plan, in its words."""
    return [str(o) for o in judge_plan(*spoil(shop(), plan())) if o.rule == rule]


def ledger_pair(tag: str, **changes: Any) -> Spoil:
    return lambda f, p: (replace(f, pairs={**f.pairs, tag: replace(f.pairs[tag], **changes)}), p)


def ledger_ski(tag: str, side: Side, change: Callable[[Ski], Ski]) -> Spoil:
    def spoil(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        skis = {**f.pairs[tag].skis, side: change(f.pairs[tag].skis[side])}
        return ledger_pair(tag, skis=skis)(f, p)

    return spoil


def with_holes(tag: str, side: Side, *holes: Hole) -> Spoil:
    """More old holes in a ski."""
    return ledger_ski(tag, side, lambda s: replace(s, holes=(*s.holes, *holes)))


def ledger_hole(tag: str, side: Side, name: str, **changes: Any) -> Spoil:
    def change(s: Ski) -> Ski:
        return replace(s, holes=tuple(replace(h, **changes) if h.hole_id == name else h for h in s.holes))

    return ledger_ski(tag, side, change)


def ledger_boot(tag: str, **changes: Any) -> Spoil:
    return lambda f, p: (replace(f, boots={**f.boots, tag: replace(f.boots[tag], **changes)}), p)


def ledger_pattern(**changes: Any) -> Spoil:
    return lambda f, p: (replace(f, patterns={"T4/H4": replace(f.patterns["T4/H4"], **changes)}), p)


def policy(**values: str) -> Spoil:
    return lambda f, p: (replace(f, policy=f.policy.with_values(**values)), p)


def in_plan(**changes: Any) -> Spoil:
    return lambda f, p: (f, replace(p, **changes))


def in_set(index: int, **changes: Any) -> Spoil:
    def spoil(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        sets = (*p.sets[:index], replace(p.sets[index], **changes), *p.sets[index + 1 :])
        return f, replace(p, sets=sets)

    return spoil


def in_way(index: int, **changes: Any) -> Spoil:
    return lambda f, p: in_set(index, way=replace(p.sets[index].way, **changes))(f, p)


def in_ski(index: int, side: Side, **changes: Any) -> Spoil:
    def spoil(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        skis = p.sets[index].way.skis
        return in_way(index, skis={**skis, side: replace(skis[side], **changes)})(f, p)

    return spoil


def in_hole(index: int, side: Side, name: str, **changes: Any) -> Spoil:
    """``name``: ``toe 2`` style."""

    def spoil(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        holes = tuple(
            replace(h, **changes) if f"{h.piece} {h.number}" == name else h
            for h in p.sets[index].way.skis[side].holes
        )
        return in_ski(index, side, holes=holes)(f, p)

    return spoil


def in_piece(index: int, side: Side, name: str, **changes: Any) -> Spoil:
    def spoil(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        pieces = p.sets[index].way.skis[side].pieces
        return in_ski(
            index, side, pieces=tuple(replace(q, **changes) if q.piece == name else q for q in pieces)
        )(f, p)

    return spoil


def also(*spoils: Spoil) -> Spoil:
    """One after the other."""

    def spoil(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        for each in spoils:
            f, p = each(f, p)
        return f, p

    return spoil
