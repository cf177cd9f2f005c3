"""The read-do-answer steps of a work order: at most nine, each with the value that should come out.

Order and content are common practice of the trade, no source: the old holes are looked at before the first
new one; all screws are in before any is tight; then they are tightened diagonally and finished by hand; the
heel piece goes back until free, comes up to the boot, and is checked with the boot in.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from fleet.equipment import Boot, Pair
from fleet.holes import Side
from fleet.policy import Policy
from fleet.units import half_mm_text, mm_text, toward
from planner.paper.ski_facts import SkiFact
from planner.paper.work_order_facts import DrillFact, Step
from planner.plan_values import PlannedSet, Rung

MOST_STEPS: Final = 9


def steps_of(
    *,
    pair: Pair,
    boot: Boot,
    planned: PlannedSet,
    skis: tuple[SkiFact, ...],
    drill: DrillFact,
    policy: Policy,
    takes_off: bool,
) -> tuple[Step, ...]:
    """The steps of this order, in the order of the work. Raises ValueError for more than nine."""
    drilled = any(ski.drilled for ski in skis)
    steps: list[Step] = []
    if planned.way.rung.rank > Rung.ADJUST.rank:
        steps.append(_mark_step(pair, policy))
        steps.append(_old_holes_step(pair, skis, takes_off))
        if any(ski.plugs for ski in skis):
            steps.append(_plug_step(skis, policy))
        if drilled:
            steps += _drill_steps(skis, drill, policy)
        steps.append(_screw_step(skis))
    else:
        steps.append(
            Step(
                lead="Every screw looked at and tried by hand",
                detail="One that moves: HOLD.",
                expects=_both("none moves"),
            )
        )
    if any(piece.piece == "heel" for ski in planned.way.skis.values() for piece in ski.pieces):
        steps.append(_heel_step(boot, planned))
    if planned.brake_um is not None:
        steps.append(_brake_step(planned.brake_um, pair))
    if len(steps) > MOST_STEPS:
        raise ValueError(f"{len(steps)} steps are more than {MOST_STEPS}")
    return tuple(steps)


def marks_doubtful(pair: Pair, policy: Policy) -> bool:
    """Whether mark-to-tail is unknown on a ski or differs by more than the shop's rule (1 mm)."""
    a, b = (pair.skis[side].mark_from_tail_um for side in Side)
    return a is None or b is None or abs(a - b) > policy.um("pair_difference_mm")


def _mark_step(pair: Pair, policy: Policy) -> Step:
    tails = [pair.skis[side].mark_from_tail_um for side in Side]
    limit = mm_text(policy.um("pair_difference_mm"))
    if None in tails:
        return Step(
            lead="FIRST: measure mark to tail on both skis",
            detail=f"Not known in the ledger. A and B differ by more than {limit} mm: STOP.",
            expects=_each(["?" if tail is None else half_mm_text(tail) for tail in tails]),
            stop=True,
        )
    expects = _each([half_mm_text(tail) for tail in tails if tail is not None])
    if marks_doubtful(pair, policy):
        return Step(
            lead="FIRST: measure mark to tail on both skis",
            detail=f"The printed marks lie: each ski has its own page. Over {limit} mm off these: STOP.",
            expects=expects,
            stop=True,
        )
    return Step(
        lead="Mark to tail, both skis",
        detail=f"Rule laid flat from the rearmost point. More than {limit} mm off, or A unlike B: STOP.",
        expects=expects,
    )


def _old_holes_step(pair: Pair, skis: tuple[SkiFact, ...], takes_off: bool) -> Step:
    reuse = any(ski.reused for ski in skis)
    dry = " Reused ones dry, of the drill's size, thread takes." if reuse else ""
    look = "Count and places as in the picture."
    if pair.earlier_mounts is None:
        look = "Earlier mounts not known: look for more holes."
    return Step(
        lead="Old binding off; old holes as drawn" if takes_off else "Old holes as drawn",
        detail=f"{look}{dry} Differs: STOP.",
        expects=_each([f"{len(ski.old_holes) + len(ski.reused)} holes" for ski in skis]),
    )


def _plug_step(skis: tuple[SkiFact, ...], policy: Policy) -> Step:
    adhesive = policy.word("plug_adhesive")
    hours = policy.cure_hours(adhesive)
    cure = (
        f"cure {hours} hours"
        if hours is not None
        else "cure time: see its data sheet (not set in the policy)"
    )
    return Step(
        lead="Plug and fill flush, today",
        detail=f"{adhesive.replace('_', ' ').capitalize()}, {cure}. Wet core: STOP.",
        expects=_each([" ".join(hole.label for hole in ski.plugs) or "none" for ski in skis]),
    )


def _drill_steps(skis: tuple[SkiFact, ...], drill: DrillFact, policy: Policy) -> list[Step]:
    new = _each([f"{len(ski.drilled)} new" for ski in skis])
    if drill.diameter_um is None or drill.depth_um is None:
        bit = Step(
            lead="READ THE SKI: drill and depth, then set both",
            detail="Core not known: no size is printed. Measure the thickness at the hole. In doubt: STOP.",
            expects=_both("Ø × depth"),
            stop=True,
        )
    else:
        bit = Step(
            lead="Bit measured, depth stop tried on scrap",
            detail="What the maker prints on the ski comes first: where it differs, STOP.",
            expects=_both(f"{mm_text(drill.diameter_um)} × {mm_text(drill.depth_um)}"),
        )
    tapped = ", tapped" if drill.tap else ""
    glue = policy.word("mount_adhesive").replace("_", " ")
    return [
        bit,
        Step(
            lead="Positions marked, then measured again",
            detail="From the mark, along the centre line. Second person SIGNS before the first hole.",
            expects=new,
        ),
        Step(
            lead=f"Drilled to the stop, deburred{tapped}",
            detail=f"Square to the top sheet; {glue} in every hole, reused ones too.",
            expects=new,
        ),
    ]


def _screw_step(skis: tuple[SkiFact, ...]) -> Step:
    most = max(len(ski.screws) for ski in skis)
    return Step(
        lead=f"ALL screws in before any is tight, then 1 to {most}",
        detail="Numbers run diagonally; last turns by hand. Driver and torque: as on the maker's sheet.",
        expects=_each([f"{len(ski.screws)} screws" for ski in skis]),
    )


def _heel_step(boot: Boot, planned: PlannedSet) -> Step:
    slides = {p.slide_um for ski in planned.way.skis.values() for p in ski.pieces if p.piece == "heel"}
    slide = slides.pop() if len(slides) == 1 else 0
    where = f" Heel slid {toward(slide)} of its listed place." if slide else ""
    return Step(
        lead="Heel back until free, then up to the boot",
        detail=f"Checked with boot {boot.tag} in, sole {mm_text(planned.way.bsl_um)} mm.{where}",
        expects=_both(f"{mm_text(planned.way.bsl_um)} mm"),
    )


def _brake_step(brake_um: int, pair: Pair) -> Step:
    waist = "waist not known" if pair.waist_um is None else f"waist {mm_text(pair.waist_um)} mm"
    return Step(
        lead="Brake opens, closes and clears the edges",
        detail=f"{waist.capitalize()}; brake arms do not touch the other ski.",
        expects=_both(f"{mm_text(brake_um)} mm"),
    )


def _both(value: str) -> tuple[str, str]:
    """One value for ski A and ski B."""
    return (value, value)


def _each(values: Sequence[str]) -> tuple[str, str]:
    """A value for each ski; one picture of both skis gives both the same."""
    return (values[0], values[-1])
