"""The facts of a work order, computed before anything is drawn: values in, values out.

The names of the holes tie picture, table and steps together, and this sheet to every other: 17 on the picture
of ski A is hole A17 in the ledger, and that of a hole to be drilled is the one it will have.

`planner.paper.work_order_steps` makes the steps.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from fleet.facts.boots import Boot
from fleet.facts.holes import Knowledge
from fleet.facts.pairs import BrakeWidth, Construction, Pair
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy, Setting
from fleet.tables.snapshot import Fleet
from planner.bench.orders.bench_record import Screw
from planner.bench.orders.book import WorkOrder
from planner.geometry.placement.frames import stance_for
from planner.paper.sheet_frame import Anchors, anchors_of, spoken_day
from planner.paper.ski_facts import SkiFact, each_ski, ski_facts
from planner.paper.work_order_steps import DrillFact, OrderStep, steps_of
from planner.plan.plan_words import (
    fit_of,
    jig_text,
    kinds_of,
    mounts_left,
    notes_of,
)
from planner.plan.values import PlannedSet, Rung, screws_in_wood


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkOrderSheet:
    """Everything that one pair's work order says. ``number`` is None for a proposal.

    ``pattern``: of what is mounted; ``glue``: whether a screw goes into wood; ``jig``: in
    words, None where nothing is drilled. ``steps``: of both skis; ``page_steps``: as the page of each of
    ``skis`` tells them. ``notes``: what was noted of its
    things; ``kinds``: of what no kind is stated; ``stands``: what a binding that stays is set for, where its
    pieces differ; ``room``: the further mounts that it keeps, where the plan counted them.
    """

    anchors: Anchors
    number: str | None
    revision: str | None
    proposal: bool
    pair: Pair
    boot: Boot
    planned: PlannedSet
    pattern: Pattern
    rung: Rung
    takes_off: str | None
    takes_off_brake_um: BrakeWidth
    glue: bool
    jig: str | None
    drill: DrillFact
    skis: tuple[SkiFact, ...]
    steps: tuple[OrderStep, ...]
    page_steps: tuple[tuple[OrderStep, ...], ...]
    policy: tuple[Setting, ...]
    needed_by: str | None
    notes: str = ""
    kinds: str = ""
    stands: str = ""
    room: str = ""

    @property
    def drills(self) -> bool:
        """True if the order drills a hole."""
        return any(ski.drilled for ski in self.skis)


def issued_order_sheet(fleet: Fleet, order: WorkOrder, *, printed_at: datetime) -> WorkOrderSheet:
    """Return the facts of an issued order, under the ledger's head of now."""
    return work_order_sheet(
        fleet,
        order.planned,
        number=order.number,
        revision=order.revision,
        proposal=False,
        plan_hash=str(order.body["plan_hash"]),
        printed_at=printed_at,
        needed_by=order.body["needed_by"],
        holes=order.holes,
    )


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
    holes: Mapping[Screw, str] | None = None,
) -> WorkOrderSheet:
    """Return the sheet of one planned set. Raises Refused where the ledger does not know what it names.

    ``holes``: the ids that the issued order gave its holes; None: those that they would get now.
    """
    pair, boot, pattern = (
        fleet.pair(planned.pair),
        fleet.boot(planned.boot),
        fleet.pattern(planned.way.pattern),
    )
    way, policy = planned.way, fleet.policy
    centre_um = stance_for(pattern, way.bsl_um, boot.pin_um).centre_um
    skis = ski_facts(pair, way, policy, centre_um=centre_um, holes=holes)
    a, b = each_ski(pair, way, centre_um=centre_um, holes=holes)
    drill = _drill_fact(pair.construction, skis, policy)
    on = fleet.bindings_on(pair.tag)
    old = next(iter(on.values()), None)
    comes_off = way.rung.rank > Rung.ADJUST.rank and (old is not None or pair.current_mount is not None)
    old_name = old.model if old is not None else _mounted_model(fleet, pair)
    told = partial(
        steps_of,
        pair=pair,
        boot=boot,
        pattern=pattern,
        planned=planned,
        skis=skis,
        each=(a, b),
        drill=drill,
        policy=policy,
        kinds=fleet.kinds,
        takes_off=comes_off,
        gives=pattern.hole_count,
    )
    return WorkOrderSheet(
        anchors=anchors_of(
            fleet,
            f"{number} {revision}" if number else f"proposal for {pair.tag}",
            printed_at=printed_at,
            plan_hash=plan_hash[:8],
        ),
        number=number,
        revision=revision,
        proposal=proposal,
        pair=pair,
        boot=boot,
        planned=planned,
        pattern=pattern,
        rung=way.rung,
        takes_off=old_name if comes_off else None,
        takes_off_brake_um=old.brake_um if comes_off and old is not None else None,
        glue=screws_in_wood(pair, planned) > 0,
        jig=jig_text(way),
        drill=drill,
        skis=skis,
        steps=told(page=None),
        page_steps=tuple(told(page=ski) for ski in skis),
        policy=_policy_used(policy, pair, skis),
        needed_by=spoken_day(needed_by) if needed_by else None,
        notes=notes_of(fleet, planned),
        kinds="; ".join(filter(None, (fit_of(fleet, planned), kinds_of(fleet, planned)))),
        stands="" if comes_off else pair.stands_at,
        room=mounts_left(way.room, earlier_known=pair.earlier_mounts is not None) if way.room else "",
    )


def _mounted_model(fleet: Fleet, pair: Pair) -> str | None:
    mount = pair.current_mount
    if mount is None:
        return None
    pattern = fleet.patterns.get(mount.pattern)
    return pattern.binding_model if pattern is not None else mount.pattern


def _drill_fact(construction: Construction | None, skis: tuple[SkiFact, ...], policy: Policy) -> DrillFact:
    sizes = {(screw.diameter_um, screw.depth_um) for ski in skis for screw in ski.drilled}
    if construction is None or len(sizes) != 1:
        return DrillFact(
            construction=construction.value if construction else "not known",
            diameter_um=None,
            depth_um=None,
            tap=None,
        )
    ((diameter_um, depth_um),) = sizes
    word = construction.value.replace(" ", "_")
    return DrillFact(
        construction=construction.value,
        diameter_um=diameter_um,
        depth_um=depth_um,
        tap=policy.word(f"tap_{word}") == "yes",
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
