"""The tables of plan.xlsx as plain rows, before any cell is written."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.base.days import stored_day_text, time_text
from fleet.base.units import BENCH_STEP_UM, mm_text, to_half_mm, toward, um_to_mm
from fleet.facts.holes import Side
from fleet.facts.pairs import EARLIER_UNKNOWN, BrakeWidth, planned_brake_text
from fleet.facts.policy import Setting
from fleet.tables.snapshot import Fleet
from planner.paper.cautions import CLAIM, DEFER, NO_SETTING, SPACING
from planner.paper.sheet_frame import moment_text
from planner.plan.plan_words import (
    FIT_NOT_KNOWN,
    FrontierPoint,
    bar_of,
    fit_of,
    jig_text,
    kinds_of,
    left_open,
    left_unserved,
    notes_of,
    result_of,
    room_lines,
    room_text,
    ski_words,
    what_is_proved,
)
from planner.plan.values import Plan, PlannedSet, Rung
from planner.planning.assign.classes import BindingSort

Cell = str | int | float | None


@dataclass(frozen=True, slots=True)
class Column:
    """A column head, its width in characters, and True if a total stands under it."""

    title: str
    width: float = 12
    total: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkbookTable:
    """One sheet. ``frozen``: columns that stay in view. Units stand in the column heads."""

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    frozen: int = 1
    landscape: bool = True


def plan_tables(fleet: Fleet, plan: Plan, *, printed_at: datetime | None) -> Iterator[WorkbookTable]:
    """All sheets of the workbook, in reading order."""
    yield _overview(fleet, plan, printed_at)
    yield _sets(fleet, plan)
    yield _work_orders(fleet, plan)
    yield _pieces(fleet, plan)
    yield _holes(plan)
    yield _parts(fleet, plan)
    yield WorkbookTable(
        name="Unserved",
        title="Wishes not served, and why",
        columns=(
            Column("wish", 10),
            Column("sets missing", 10, True),
            Column("why", 70),
            Column("nearest remedy", 70),
        ),
        rows=tuple((u.wish, u.missing, u.reason, u.remedy) for u in plan.unserved),
    )
    yield WorkbookTable(
        name="Pairs not used",
        title="Pairs that no set uses, and why",
        columns=(Column("pair", 12), Column("why", 110)),
        rows=tuple((u.pair, u.reason) for u in plan.unplanned_pairs),
    )
    yield WorkbookTable(
        name="Policy",
        title="Policy in force",
        columns=(
            Column("name", 32),
            Column("value", 12),
            Column("unit", 10),
            Column("origin", 80),
            Column("since", 14),
        ),
        rows=tuple((s.name, _policy_value(s), s.unit, s.origin, s.since) for s in fleet.policy),
    )


def _overview(fleet: Fleet, plan: Plan, printed_at: datetime | None) -> WorkbookTable:
    t = plan.totals
    return WorkbookTable(
        name="Plan",
        title="Plan of the fleet",
        columns=(Column("what", 42), Column("value", 80)),
        rows=(
            ("shop", fleet.shop),
            ("made at", time_text(plan.made_at, fleet.zone)),
            *([] if printed_at is None else [("written at", moment_text(printed_at, fleet.zone))]),
            ("ledger", f"entry {plan.ledger_entry}, head {plan.ledger_head[:16]}"),
            ("ready by", stored_day_text(plan.ready_by) or "no date given"),
            ("bench minutes limit", "none" if plan.minutes_limit is None else plan.minutes_limit),
            *(
                []
                if plan.parts_limit_cents is None
                else [("parts budget, money", plan.parts_limit_cents / 100)]
            ),
            ("result", result_of(plan)),
            *(("proved", line) for line in what_is_proved(plan)),
            *(("not proved", line) for line in left_open(plan)),
            ("sets wanted", t.wanted),
            ("sets served", t.served),
            *((f"served, priority {p}", n) for p, n in sorted(t.served_by_priority.items())),
            ("holes drilled, both skis", t.drilled),
            ("bench minutes", t.minutes),
            *([] if t.parts_cents is None else [("screws, glue and plugs, money", t.parts_cents / 100)]),
            ("boot centres off the mark, summed, mm", _mm(t.offset_um)),
            *(
                ("left out of the wants, as asked or because no plan serves them", f"{wish}: {n}")
                for wish, n in left_unserved(fleet, plan).items()
            ),
            *(("further mounts", line) for line in room_lines(fleet, plan)),
            *((EARLIER_UNKNOWN, ", ".join(tags)) for tags in [earlier_unknown(fleet, plan)] if tags),
            *((FIT_NOT_KNOWN, count) for count in [t.fit_not_known] if count),
            ("pairs to strip", ", ".join(strip.pair for strip in plan.strip) or "none"),
            ("note", DEFER),
            ("note", NO_SETTING),
            ("note", SPACING),
            ("note", CLAIM),
        ),
    )


def last_sets(points: Sequence[FrontierPoint]) -> WorkbookTable:
    """The sheet of what the last sets cost."""
    return WorkbookTable(
        name="Last sets",
        title="What the last sets cost: fewest holes, then fewest minutes, for so many sets (--spare N)",
        columns=(
            Column("sets served", 12),
            Column("left unserved", 14),
            Column("holes drilled, both skis", 14),
            Column("bench minutes", 14),
            Column("drilled mounts", 14),
            Column("known how", 18),
            Column("gap", 12),
            Column("holes, as a bar", 40),
        ),
        rows=tuple(
            (p.sets, p.unserved, p.holes, p.minutes, p.mounts, p.known, p.gap_text, bar_of(p, points))
            for p in points
        ),
    )


def earlier_unknown(fleet: Fleet, plan: Plan) -> tuple[str, ...]:
    """Return the drilled pairs with an unknown number of earlier mounts: more holes may be in them."""
    return tuple(s.pair for s in plan.sets if s.way.drilled and fleet.pair(s.pair).earlier_mounts is None)


def _sets(fleet: Fleet, plan: Plan) -> WorkbookTable:
    return WorkbookTable(
        name="Sets",
        title="Sets: which boot on which pair",
        frozen=2,
        rows=tuple(_set_row(fleet, planned) for planned in plan.sets),
        columns=(
        Column("wish", 8), Column("boot", 10), Column("boot model", 18), Column("mondopoint, cm", 11),
        Column("sole, mm", 9), Column("pair", 11), Column("pair model", 18), Column("length, cm", 9),
        Column("rack", 8), Column("way", 14), Column("pattern", 12), Column("brake, mm", 10),
        Column("boot centre, from the mark", 21), Column("holes drilled, both skis", 12, True),
        Column("minutes", 9, True), Column("to know", 40), Column("further mounts left", 40),
        ),
    )  # fmt: skip


def _set_row(fleet: Fleet, planned: PlannedSet) -> tuple[Cell, ...]:
    pair, boot, way = fleet.pair(planned.pair), fleet.boot(planned.boot), planned.way
    to_know = (notes_of(fleet, planned), fit_of(fleet, planned), kinds_of(fleet, planned))
    return (
        planned.wish,
        boot.tag,
        boot.model,
        None if boot.mondopoint_mm is None else boot.mondopoint_mm / 10,
        _mm(way.bsl_um),
        pair.tag,
        pair.model,
        pair.length_mm / 10,
        pair.rack,
        way.rung.value,
        way.pattern,
        _brake(planned.brake_um),
        toward(way.offset_um),
        way.drilled,
        way.minutes,
        "; ".join(filter(None, to_know)) or None,
        None if way.room is None else room_text(way.room, earlier_known=pair.earlier_mounts is not None),
    )


def _work_orders(fleet: Fleet, plan: Plan) -> WorkbookTable:
    rows = []
    for planned in plan.touched:
        way = planned.way
        pair = fleet.pair(planned.pair)
        on = fleet.bindings_on(pair.tag)
        old = next(iter(on.values())).model if on and way.rung.rank > Rung.ADJUST.rank else None
        reused = sum(hole.do == "reuse" for hole in planned.way.screws.values())
        rows.append(
            (
                pair.tag,
                pair.rack,
                planned.boot,
                way.rung.value,
                old,
                fleet.pattern(way.pattern).binding_model,
                _brake(planned.brake_um),
                pair.construction.value if pair.construction else "not known",
                _drill(planned),
                *(_from_tail(planned, side) for side in Side),
                jig_text(way),
                pair.mounts_text,
                way.drilled,
                reused,
                way.plugged,
                way.minutes,
            )
        )
    return WorkbookTable(
        name="Work orders",
        title="Work orders: what the bench does",
        columns=(
        Column("pair", 11), Column("rack", 8), Column("boot", 10), Column("way", 14), Column("takes off", 22),
        Column("mounts", 22), Column("brake, mm", 10), Column("construction", 12), Column("drill, mm", 14),
        Column("boot centre from tail, ski A, mm", 14), Column("boot centre from tail, ski B, mm", 14),
        Column("jig", 30), Column("mounts so far", 18), Column("new holes, both skis", 10, True),
        Column("reused", 9, True), Column("to plug", 9, True), Column("minutes", 9, True),
        ),
        rows=tuple(rows),
    )  # fmt: skip


def _pieces(fleet: Fleet, plan: Plan) -> WorkbookTable:
    """Return the table of the place that each piece of each ski must have, in the words of its order."""
    rows: list[tuple[Cell, ...]] = []
    for planned in plan.touched:
        pattern, pair = fleet.pattern(planned.way.pattern), fleet.pair(planned.pair)
        for side in Side:
            mark = pair.skis[side].mark_from_tail_um
            for at in planned.way.skis[side].pieces:
                moved, place, measured_at = ski_words(pattern, planned, at)
                tail = "not known" if mark is None else um_to_mm(round(mark + at.end_um, -2))
                rows.append((pair.tag, side.value, at.piece, at.how.value, moved, place, measured_at, tail))
    return WorkbookTable(
        name="Pieces",
        title="Pieces: where each must stand",
        frozen=2,
        columns=(
        Column("pair", 11), Column("ski", 5), Column("piece", 8), Column("comes there by", 11),
        Column("moved", 40), Column("must stand", 34), Column("measured at", 20),
        Column("from the tail, mm", 12),
        ),
        rows=tuple(rows),
    )  # fmt: skip


def _holes(plan: Plan) -> WorkbookTable:
    rows: list[tuple[Cell, ...]] = []
    for planned in plan.touched:
        for side in Side:
            ski = planned.way.skis[side]
            for hole in ski.holes:
                rows.append(
                    (
                        planned.pair,
                        side.value,
                        hole.piece,
                        hole.number,
                        hole.do,
                        _mm(hole.x_um),
                        _mm(hole.y_um),
                        _size(hole.diameter_um),
                        _size(hole.depth_um),
                        hole.hole_id,
                        _apart(hole.nearest_um),
                        hole.nearest_id,
                    )
                )
            rows += [
                (planned.pair, side.value, None, None, "plug", *[None] * 4, hole_id, None, None)
                for hole_id in ski.plug
            ]
    return WorkbookTable(
        name="Holes",
        title="Holes: every screw and every plug",
        frozen=2,
        columns=(
        Column("pair", 11), Column("ski", 5), Column("piece", 8), Column("screw", 7), Column("do", 8),
        Column("x from the ski's own mark, + to the tip, mm", 16),
        Column("y, + right seen to the tip, mm", 14),
        Column("diameter, mm", 10), Column("depth, mm", 9), Column("old hole", 18),
        Column("nearest other hole, mm", 12), Column("which", 18),
        ),
        rows=tuple(rows),
    )  # fmt: skip


def _parts(fleet: Fleet, plan: Plan) -> WorkbookTable:
    """Bindings by pattern and brake, then plugs: needed, there already, to fetch, in stock."""
    needed: Counter[tuple[str, BrakeWidth]] = Counter()
    stays: Counter[tuple[str, BrakeWidth]] = Counter()
    for planned in plan.sets:
        key = (planned.way.pattern, planned.brake_um)
        needed[key] += 1
        on = fleet.bindings_on(planned.pair)
        stays[key] += bool(on) and all((b.pattern, b.brake_to_plan) == key for b in on.values())
    comes_off = Counter((strip.pattern, strip.brake_um) for strip in plan.strip)
    stock = Counter((b.pattern, b.brake_to_plan) for b in fleet.bindings.values() if b.may_be_mounted)
    rows: list[tuple[Cell, ...]] = []
    for key in sorted(needed, key=lambda k: BindingSort.named(*k)):
        pattern, brake = key
        rows.append(
            (
                fleet.pattern(pattern).binding_model,
                pattern,
                _brake(brake),
                needed[key],
                stays[key],
                needed[key] - stays[key],
                stock[key] // 2,
                comes_off[key],
                None,
            )
        )
    plugs = sum(planned.way.plugged for planned in plan.sets)
    if plugs:
        # In a column of their own: single plugs and pairs of bindings do not add up to anything.
        rows.append(("plugs, single", None, None, None, None, None, None, None, plugs))
    return WorkbookTable(
        name="Parts",
        title="Parts: bindings and plugs",
        columns=(
        Column("part", 28), Column("pattern", 16), Column("brake, mm", 10), Column("pairs needed", 10, True),
        Column("on their pair already", 12, True), Column("to fetch", 10, True), Column("pairs in stock", 10),
        Column("off stripped pairs", 12), Column("plugs needed", 10, True),
        ),
        rows=tuple(rows),
    )  # fmt: skip


def _drill(planned: PlannedSet) -> str | None:
    sizes = {(h.diameter_um, h.depth_um) for h in planned.way.screws.values() if h.do == "drill"}
    if not sizes:
        return None
    if len(sizes) > 1 or None in next(iter(sizes)):
        return "read the ski"
    diameter, depth = next(iter(sizes))
    return f"{mm_text(diameter or 0)} x {mm_text(depth or 0)}"


def _from_tail(planned: PlannedSet, side: Side) -> Cell:
    tail = planned.way.skis[side].from_tail_um
    return "not known" if tail is None else _mm(tail)


def _brake(brake: BrakeWidth) -> Cell:
    return _mm(brake) if isinstance(brake, int) else planned_brake_text(brake, lead="")


def _policy_value(setting: Setting) -> Cell:
    """Return a figure as a number, so that a spreadsheet compares it; a word or a day as it stands."""
    try:
        number = float(setting.value)
    except ValueError:
        return setting.value or "not set"
    return int(number) if number.is_integer() else number


def _mm(value_um: int | None) -> int | float | None:
    """Return a length for people: to half a millimetre, whole millimetres as whole numbers."""
    if value_um is None:
        return None
    mm = um_to_mm(to_half_mm(value_um))
    return int(mm) if mm.is_integer() else mm


def _size(value_um: int | None) -> int | float | None:
    """Return the exact size of a bit or a stop: a bit is 3.6, not 3.5."""
    return None if value_um is None else um_to_mm(value_um)


def _apart(value_um: int | None) -> int | float | None:
    """Return a distance to keep, rounded down to the half millimetre, never up."""
    return None if value_um is None else _mm(value_um // BENCH_STEP_UM * BENCH_STEP_UM)
