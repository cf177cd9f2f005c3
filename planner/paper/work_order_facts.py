"""What a work order says, worked out before anything is drawn: values in, values out.

The labels tie picture, table and steps together: screws are numbered in the order in which they are
tightened, old holes carry letters from the tip to the tail.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from string import ascii_lowercase

from fleet.equipment import Boot, Construction, InspectedArea, Pair, Ski
from fleet.holes import Hole, HoleState, Knowledge, Side
from fleet.policy import Policy, Setting
from fleet.snapshot import Fleet
from fleet.units import to_half_mm
from planner.paper.moments import moment_text, spoken_day, stale_text
from planner.paper.screw_order import sheet_numbers
from planner.plan_values import PlannedHole, PlannedSet, PlannedSki, Rung


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewFact:
    """One screw: its number in the tightening order, where it goes, and into what."""

    label: str
    piece: str
    x_um: int
    y_um: int
    do: str
    diameter_um: int | None
    depth_um: int | None
    nearest_um: int | None
    nearest_label: str
    old_state: HoleState | None
    knowledge: Knowledge | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OldHoleFact:
    """A hole that is in the ski and takes no screw of this order; ``plug`` where it is closed today."""

    label: str
    hole_id: str
    x_um: int
    y_um: int
    state: HoleState
    knowledge: Knowledge
    plug: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SkiFact:
    """One picture: ski A, ski B, or both where nothing on paper would differ.

    ``not_inspected``: stretches (from, to) between the outermost things drawn where nobody has looked.
    """

    sides: tuple[Side, ...]
    screws: tuple[ScrewFact, ...]
    old_holes: tuple[OldHoleFact, ...]
    mark_from_tail_um: int | None
    centre_from_tail_um: int | None
    centre_from_mark_um: int
    not_inspected: tuple[tuple[int, int], ...]
    zone_um: tuple[int, int, int] | None

    @property
    def drilled(self) -> tuple[ScrewFact, ...]:
        """The screws that need a new hole."""
        return tuple(screw for screw in self.screws if screw.do == "drill")

    @property
    def reused(self) -> tuple[ScrewFact, ...]:
        """The screws that go into old holes."""
        return tuple(screw for screw in self.screws if screw.do == "reuse")

    @property
    def plugs(self) -> tuple[OldHoleFact, ...]:
        """The old holes that are closed today."""
        return tuple(hole for hole in self.old_holes if hole.plug)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillFact:
    """What goes into the drill: None sizes mean *read the ski*. ``origins`` by policy name."""

    construction: str
    diameter_um: int | None
    depth_um: int | None
    tap: bool | None
    origins: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Read, do, answer. ``lead`` is read at arm's length, ``detail`` close up.

    ``expects`` is the value that should come out; ``stop``: the work may end here.
    """

    lead: str
    detail: str
    expects: str
    stop: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkOrderSheet:
    """Everything that one pair's work order says. ``number`` is None for a proposal."""

    shop: str
    number: str | None
    revision: str | None
    proposal: bool
    pair: Pair
    boot: Boot
    wish: str
    rung: Rung
    takes_off: str | None
    takes_off_brake_um: int | None
    mounts: str
    pattern: str
    brake_um: int | None
    bsl_um: int
    offset_um: int
    minutes: int
    drill: DrillFact
    skis: tuple[SkiFact, ...]
    steps: tuple[Step, ...]
    policy: tuple[Setting, ...]
    spacing_um: int
    head: str
    plan_hash: str
    printed_at: str
    stale_after: str
    needed_by: str | None

    @property
    def drills(self) -> bool:
        """Whether anything irreversible happens."""
        return any(ski.drilled for ski in self.skis)


def work_order_sheet(
    fleet: Fleet,
    planned: PlannedSet,
    *,
    number: str | None,
    revision: str | None,
    proposal: bool,
    plan_hash: str,
    printed_at: datetime,
    needed_by: str | None = None,
) -> WorkOrderSheet:
    """The sheet of one planned set. Raises Refused where the ledger does not know what it names."""
    from planner.paper.work_order_steps import steps_of

    pair, boot, pattern = (
        fleet.pair(planned.pair),
        fleet.boot(planned.boot),
        fleet.pattern(planned.way.pattern),
    )
    way, policy = planned.way, fleet.policy
    skis = _faces({s: _ski_fact(pair.skis[s], way.skis[s], way.offset_um) for s in Side}, policy)
    drill = _drill_fact(pair.construction, skis, policy)
    on = fleet.bindings_on(pair.tag)
    old = next(iter(on.values()), None)
    comes_off = way.rung.rank > Rung.ADJUST.rank and (old is not None or pair.current_mount is not None)
    old_name = old.model if old is not None else _mounted_model(fleet, pair)
    return WorkOrderSheet(
        shop=fleet.shop,
        number=number,
        revision=revision,
        proposal=proposal,
        pair=pair,
        boot=boot,
        wish=planned.wish,
        rung=way.rung,
        takes_off=old_name if comes_off else None,
        takes_off_brake_um=old.brake_um if comes_off and old is not None else None,
        mounts=pattern.binding_model,
        pattern=pattern.name,
        brake_um=planned.brake_um,
        bsl_um=way.bsl_um,
        offset_um=way.offset_um,
        minutes=way.minutes,
        drill=drill,
        skis=skis,
        steps=steps_of(
            pair=pair, boot=boot, planned=planned, skis=skis, drill=drill, policy=policy, takes_off=comes_off
        ),
        policy=_policy_used(policy, pair, skis),
        spacing_um=policy.um("spacing_mm"),
        head=str(fleet.head),
        plan_hash=plan_hash[:8],
        printed_at=moment_text(printed_at, fleet.zone),
        stale_after=stale_text(printed_at, fleet.zone, policy.count("sheet_stale_days")),
        needed_by=spoken_day(needed_by) if needed_by else None,
    )


def _mounted_model(fleet: Fleet, pair: Pair) -> str | None:
    mount = pair.current_mount
    if mount is None:
        return None
    pattern = fleet.patterns.get(mount.pattern)
    return pattern.binding_model if pattern is not None else mount.pattern


def old_hole_labels(count: int) -> list[str]:
    """``a`` to ``z``, then ``aa``, ``ab`` ...: l and o are left out, on paper they read as 1 and 0."""
    letters = [letter for letter in ascii_lowercase if letter not in "lo"]
    labels = list(letters)
    while len(labels) < count:
        labels += [first + second for first in letters for second in letters]
    return labels[:count]


def _ski_fact(ski: Ski, planned: PlannedSki, offset_um: int) -> SkiFact:
    known = {hole.hole_id: hole for hole in ski.holes}
    screw_labels = {key: str(number) for key, number in sheet_numbers(planned.holes).items()}
    used = {hole.hole_id for hole in planned.holes if hole.hole_id is not None}
    others = sorted(
        (hole for hole in ski.holes if hole.hole_id not in used), key=lambda h: (-h.x_um, h.y_um, h.hole_id)
    )
    old_labels = dict(zip((hole.hole_id for hole in others), old_hole_labels(len(others)), strict=True))
    names = old_labels | {
        hole.hole_id: screw_labels[hole.piece, hole.number]
        for hole in planned.holes
        if hole.hole_id is not None
    }
    names |= {f"{piece} {number}": label for (piece, number), label in screw_labels.items()}
    screws = sorted(
        (_screw(hole, screw_labels, names, known) for hole in planned.holes), key=lambda s: int(s.label)
    )
    return SkiFact(
        sides=(ski.side,),
        screws=tuple(screws),
        old_holes=tuple(_old_hole(hole, old_labels[hole.hole_id], planned.plug) for hole in others),
        mark_from_tail_um=ski.mark_from_tail_um,
        centre_from_tail_um=planned.from_tail_um,
        centre_from_mark_um=_centre_from_mark(ski, planned, offset_um),
        not_inspected=_not_inspected(ski, planned),
        zone_um=_zone(ski),
    )


def _screw(
    hole: PlannedHole,
    labels: Mapping[tuple[str, int], str],
    names: Mapping[str, str],
    known: Mapping[str, Hole],
) -> ScrewFact:
    old = known.get(hole.hole_id) if hole.hole_id is not None else None
    return ScrewFact(
        label=labels[hole.piece, hole.number],
        piece=hole.piece,
        x_um=hole.x_um,
        y_um=hole.y_um,
        do=hole.do,
        diameter_um=hole.diameter_um,
        depth_um=hole.depth_um,
        nearest_um=hole.nearest_um,
        nearest_label=names.get(hole.nearest_id, hole.nearest_id) if hole.nearest_id else "",
        old_state=old.state if old is not None else None,
        knowledge=old.knowledge if old is not None else None,
    )


def _old_hole(hole: Hole, label: str, plug: tuple[str, ...]) -> OldHoleFact:
    return OldHoleFact(
        label=label,
        hole_id=hole.hole_id,
        x_um=hole.x_um,
        y_um=hole.y_um,
        state=hole.state,
        knowledge=hole.knowledge,
        plug=hole.hole_id in plug,
    )


def _zone(ski: Ski) -> tuple[int, int, int] | None:
    if ski.zone_back_um is None or ski.zone_front_um is None or ski.zone_half_width_um is None:
        return None
    return (-ski.zone_back_um, ski.zone_front_um, ski.zone_half_width_um)


def _not_inspected(ski: Ski, planned: PlannedSki) -> tuple[tuple[int, int], ...]:
    xs = [hole.x_um for hole in planned.holes] + [hole.x_um for hole in ski.holes] + [0]
    pad = 30_000
    gaps = [(min(xs) - pad, max(xs) + pad)]
    for area in ski.inspected:
        gaps = [piece for gap in gaps for piece in _without(gap, area)]
    return tuple(gaps)


def _without(gap: tuple[int, int], area: InspectedArea) -> list[tuple[int, int]]:
    start, end = gap
    parts = [(start, min(end, area.from_um)), (max(start, area.to_um), end)]
    return [part for part in parts if part[0] < part[1]]


def _centre_from_mark(ski: Ski, planned: PlannedSki, offset_um: int) -> int:
    """Where the boot centre stands from this ski's OWN mark, which may differ from the pair's offset."""
    if planned.from_tail_um is None or ski.mark_from_tail_um is None:
        return offset_um
    return planned.from_tail_um - ski.mark_from_tail_um


def _faces(facts: Mapping[Side, SkiFact], policy: Policy) -> tuple[SkiFact, ...]:
    """One picture for both skis, or one each where anything a bench could see differs."""
    a, b = facts[Side.A], facts[Side.B]
    tail_a, tail_b = a.mark_from_tail_um, b.mark_from_tail_um
    far_apart = (
        tail_a is not None and tail_b is not None and abs(tail_a - tail_b) > policy.um("pair_difference_mm")
    )
    if far_apart or _looks(a) != _looks(b):
        return (a, b)
    alike = tail_a == tail_b
    return (
        replace(
            a,
            sides=(Side.A, Side.B),
            mark_from_tail_um=tail_a if alike else None,
            centre_from_tail_um=a.centre_from_tail_um if alike else None,
        ),
    )


def _looks(ski: SkiFact) -> tuple[object, ...]:
    """What the sheet would print of this ski, so that two skis can be compared."""
    return (
        to_half_mm(ski.centre_from_mark_um),
        tuple(
            (s.label, to_half_mm(s.x_um), to_half_mm(s.y_um), s.do, s.diameter_um, s.depth_um, s.old_state)
            for s in ski.screws
        ),
        tuple((to_half_mm(h.x_um), to_half_mm(h.y_um), h.state, h.plug) for h in ski.old_holes),
        ski.not_inspected,
    )


def _drill_fact(construction: Construction | None, skis: tuple[SkiFact, ...], policy: Policy) -> DrillFact:
    sizes = {(screw.diameter_um, screw.depth_um) for ski in skis for screw in ski.drilled}
    if construction is None or len(sizes) != 1:
        return DrillFact(
            construction=construction.value if construction else "not known",
            diameter_um=None,
            depth_um=None,
            tap=None,
            origins={},
        )
    ((diameter_um, depth_um),) = sizes
    word = construction.value.replace(" ", "_")
    names = (f"drill_{word}_mm", f"depth_{word}_mm", f"tap_{word}")
    return DrillFact(
        construction=construction.value,
        diameter_um=diameter_um,
        depth_um=depth_um,
        tap=policy.word(names[2]) == "yes",
        origins={name: policy.setting(name).origin for name in names},
    )


def _policy_used(policy: Policy, pair: Pair, skis: tuple[SkiFact, ...]) -> tuple[Setting, ...]:
    """The settings whose figures stand on this sheet, those of the holes' knowledge included."""
    names = ["spacing_mm", "bench_error_mm", "reuse_tolerance_mm"]
    seen = {hole.knowledge for ski in pair.skis.values() for hole in ski.holes}
    names += [knowledge.policy_name for knowledge in Knowledge if knowledge in seen]
    if pair.construction is not None and any(ski.drilled for ski in skis):
        word = pair.construction.value.replace(" ", "_")
        names += [f"drill_{word}_mm", f"depth_{word}_mm", f"tap_{word}"]
    adhesives = {policy.word("mount_adhesive")}
    if any(ski.plugs for ski in skis):
        adhesives.add(policy.word("plug_adhesive"))
    names += [f"cure_{adhesive}_hours" for adhesive in sorted(adhesives)]
    names += ["pair_difference_mm", "offset_limit_mm"]
    return tuple(policy.settings[name] for name in names if name in policy.settings)
