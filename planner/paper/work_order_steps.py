"""The steps of a work order: read, do, answer, each with its expected value; at most ten.

Order and content are common practice of the trade, no source: the old holes are looked at before the first
new one; all screws are in before any is tight; then they are tightened diagonally and finished by hand; the
heel piece goes back until free, comes up to the boot, and is checked with the boot in.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from fleet.base.units import BENCH_STEP_UM, along_text, length_text, mm_text, mm_to_um
from fleet.facts.binding_kinds import BindingKinds
from fleet.facts.boots import Boot
from fleet.facts.holes import HoleState, Side
from fleet.facts.pairs import Brake, Pair
from fleet.facts.patterns import Follows, Pattern
from fleet.facts.policy import Policy
from planner.paper.ski_facts import SkiFact
from planner.plan.plan_words import (
    NO_JIG,
    jig_words,
    piece_words,
    place_words,
)
from planner.plan.values import How, Jig, PlannedSet, Rung, Way, screws_in_wood


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillFact:
    """The drill for the order's holes. A size None means *read the ski*."""

    construction: str
    diameter_um: int | None
    depth_um: int | None
    tap: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderStep:
    """One step: read, do, answer. ``lead`` is read at arm's length, ``detail`` close up.

    ``expects`` is the value that should come out, for ski A and ski B; ``stop``: the work may end here.
    ``brief``: the step in a sentence, for the sheet on which it is told with the step after it.
    ``begins``: the value before, where a piece is set, and ``measured_at`` where the ruler is read.
    ``within_um``: how far a measured length may lie from the one expected; None where none is measured.
    ``read`` False: no value is read, what is expected are the names of holes.
    """

    lead: str
    detail: str
    expects: tuple[str, str]
    stop: bool = False
    brief: str = ""
    begins: tuple[str, str] | None = None
    measured_at: str = ""
    within_um: int | None = None
    read: bool = True

    def against(self, side: Side, typed: str) -> str:
        """Return in words how a value that was read on a ski differs from the one expected; "" where not.

        Counts and sizes must be equal, lengths within ``within_um``; a place says toward which end it lies.
        """
        wanted = self.expects[list(Side).index(side)]
        asked, read = _NUMBER.findall(wanted), _NUMBER.findall(typed)
        if not asked:
            return ""
        if len(asked) != len(read):
            return f"{typed!r} is no answer: {wanted} is asked for"
        ends = {end for end in ("TIP", "TAIL") if end in wanted.upper()}
        if ends and ends != {end for end in ("TIP", "TAIL") if end in typed.upper()} and any(map(_um, asked)):
            return f"{wanted} is asked for: say toward which end, TIP or TAIL"
        if wanted.startswith("under"):
            return "" if _um(read[0]) < _um(asked[0]) else f"{wanted} is asked for, {typed.strip()} was read"
        if all(abs(_um(a) - _um(b)) <= (self.within_um or 0) for a, b in zip(asked, read, strict=True)):
            return ""
        return f"{wanted} is asked for, {typed.strip()} was read"

    def expected(self, sides: tuple[Side, ...]) -> str:
        """The value for this page's skis: one where they agree, else ``A 4 / B 5``."""
        values = dict(zip(Side, self.expects, strict=True))
        if len({values[side] for side in sides}) == 1:
            return values[sides[0]]
        return " / ".join(f"{side} {values[side]}" for side in sides)


MOST_STEPS: Final = 10
_NUMBER: Final = re.compile(r"(?<!\d)\d{1,6}(?:[.,]\d{1,3})?(?!\d)", re.ASCII)


def _um(number: str) -> int:
    return mm_to_um(number.replace(",", "."))


def steps_of(
    *,
    pair: Pair,
    boot: Boot,
    pattern: Pattern,
    planned: PlannedSet,
    skis: tuple[SkiFact, ...],
    each: tuple[SkiFact, SkiFact],
    page: SkiFact | None,
    drill: DrillFact,
    policy: Policy,
    kinds: BindingKinds,
    takes_off: bool,
    gives: int,
) -> tuple[OrderStep, ...]:
    """Return the steps of this order, in the order of the work. The last one measures the boot's centre.

    ``each``: ski A and ski B apart. ``page``: the ski whose page it is, where each has its own: the steps
    have the same numbers on both, and say the values of that ski only; None: of both. ``gives``: how many
    screws come out of each ski of a pair that gives its binding. On the fullest sheets a step whose value
    stands elsewhere too joins the one after it, so that nobody reads more than ten.
    """
    steps: list[tuple[str, OrderStep]] = []
    told = skis if page is None else (page,)
    sides = tuple(side for ski in told for side in ski.sides)
    kind = pattern.binding_kind
    if planned.way.rung.rank > Rung.ADJUST.rank:
        if planned.binding_from not in ("own", "stock"):
            steps.append(("giver", _giver_step(planned.binding_from, gives)))
        steps += [("mark", _mark_step(pair, policy)), ("old holes", _old_holes_step(pair, told, takes_off))]
        if any(ski.plugs for ski in skis):
            steps.append(("plug", _plug_step(told, policy)))
        if any(ski.drilled for ski in skis):
            places = _places_step(planned.way, pattern, told, each[0].centre_from_mark_um)
            steps += _drill_steps(drill, places)
        steps.append(("below", _below_step(told, pattern)))
        glue = screws_in_wood(pair, planned) > 0
        steps.append(("screws", _screw_step(told, policy, kinds, kind=kind, glue=glue)))
    else:
        steps.append(("screws", _LOOK))
    steps += [
        (
            piece.piece,
            OrderStep(
                lead=piece.lead,
                detail=piece.detail,
                expects=piece.expects,
                begins=piece.begins,
                measured_at=piece.measured_at,
                within_um=policy.um("bench_error_mm"),
            ),
        )
        for piece in piece_words(pair, pattern, planned, kinds, sides)
    ]
    keeper = kinds.step(kind, "keeper")
    if planned.brake_um is Brake.UNKNOWN:
        steps.append(("brake", _unknown_brake_step(pair, policy)))
    elif isinstance(planned.brake_um, int):
        steps.append(("brake", _brake_step(planned.brake_um, pair)))
    elif keeper is not None:
        brief = f"{keeper.lead}. {keeper.words}"
        steps.append(
            ("brake", OrderStep(lead=keeper.lead, detail=keeper.words, expects=_both("fixed"), brief=brief))
        )
    stands = [ski for ski in each if ski.sides[0] in sides]
    centre = _centre_step(boot, stands[0], stands[-1], kinds.words(kind, "fit"))
    steps.append(("centre", replace(centre, within_um=policy.um("bench_error_mm"))))
    for first in ("brake", "bit", "below", "giver"):
        if len(steps) > MOST_STEPS:
            steps = _joined(steps, first)
    if len(steps) > MOST_STEPS:
        raise ValueError(f"{len(steps)} steps are more than {MOST_STEPS}")
    return tuple(step for _, step in steps)


_LOOK: Final = OrderStep(
    lead="Every screw looked at and tried by hand",
    detail="One that moves: HOLD.",
    expects=("none moves",) * 2,
)


def _joined(steps: list[tuple[str, OrderStep]], first: str) -> list[tuple[str, OrderStep]]:
    """Return the steps with the named one joined to the next, whose value is asked for."""
    at = next((index for index, (name, _) in enumerate(steps) if name == first), None)
    if at is None:
        return steps
    (_, one), (name, other) = steps[at : at + 2]
    if one.stop:  # what may end the work stays in front, and the box beside it stays loud
        other = replace(other, lead=one.lead, detail=f"{one.brief} {other.lead}. {other.detail}", stop=True)
    else:
        other = replace(other, detail=f"{one.brief} {other.detail}")
    return [*steps[:at], (name, other), *steps[at + 2 :]]


def marks_doubtful(pair: Pair, policy: Policy) -> bool:
    """Return True if mark-to-tail is unknown on a ski or differs by more than the shop's rule (1 mm)."""
    a, b = (pair.skis[side].mark_from_tail_um for side in Side)
    return a is None or b is None or abs(a - b) > policy.um("pair_difference_mm")


def _mark_step(pair: Pair, policy: Policy) -> OrderStep:
    tails = [pair.skis[side].mark_from_tail_um for side in Side]
    limit_um = policy.um("pair_difference_mm")
    limit = mm_text(limit_um)
    expects = _each(["?" if tail is None else length_text(tail) for tail in tails])
    if marks_doubtful(pair, policy):
        return OrderStep(
            lead="FIRST: measure mark to tail on both skis",
            detail=f"Not known in the ledger. A and B differ by more than {limit} mm: STOP."
            if None in tails
            else f"The printed marks may be wrong: a page for each ski. Over {limit} mm off these: STOP.",
            expects=expects,
            stop=True,
            within_um=None if None in tails else limit_um,
        )
    return OrderStep(
        lead="Mark to tail, both skis",
        detail=f"Ruler laid flat from the rearmost point. More than {limit} mm off, or A unlike B: STOP.",
        expects=expects,
        within_um=limit_um,
    )


def _old_holes_step(pair: Pair, skis: tuple[SkiFact, ...], takes_off: bool) -> OrderStep:
    reuse = any(ski.reused for ski in skis)
    dry = " Reused ones dry, of the drill's size, thread takes." if reuse else ""
    look = "Count and places as in the picture."
    if pair.earlier_mounts is None:
        look = "Earlier mounts not known: look for more holes."
    return OrderStep(
        lead="Old binding off; old holes as drawn" if takes_off else "Old holes as drawn",
        detail=f"{look}{dry} Differs: STOP.",
        expects=_each([f"{len(ski.old_holes) + len(ski.reused)} holes" for ski in skis]),
    )


def _giver_step(giver: str, screws: int) -> OrderStep:
    return OrderStep(
        lead=f"TAKE THE BINDING OFF {giver}, both skis",
        detail=f"Its open holes dried and sealed against water; {giver} goes back without a binding.",
        expects=_both(f"{screws} screws"),
        brief=f"TAKE THE BINDING OFF {giver} first, both skis; its open holes dried and sealed.",
    )


def _below_step(skis: tuple[SkiFact, ...], pattern: Pattern) -> OrderStep:
    """Return the step that compares a screw's length below its piece with the hole's depth, before driving
    one.
    """
    known = [f"{piece.name.value} {piece.screw}" for piece in pattern.pieces if piece.screw]
    length = f"Screws: {', '.join(known)} (maker's sheet)." if known else "Screw length: maker's sheet."
    least = _each([_under(ski) for ski in skis])
    return OrderStep(
        lead="Screw through each piece: measure what stands out below",
        detail=f"{length} Less than the hole is deep: else STOP.",
        expects=least,
        brief=f"{length} What stands out below the piece is {_of_both(least)}.",
    )


def _under(ski: SkiFact) -> str:
    """Return the depth that a screw of this ski must stay below; words where one hole's depth is not
    known.
    """
    depths_um = [screw.depth_um for screw in ski.screws]
    known_um = [depth_um for depth_um in depths_um if depth_um is not None]
    if not known_um or len(known_um) < len(depths_um):
        return "less than depth"
    return f"under {mm_text(min(known_um))} mm"


def _plug_step(skis: tuple[SkiFact, ...], policy: Policy) -> OrderStep:
    adhesive = policy.word("plug_adhesive")
    hours = policy.cure_hours(adhesive)
    cure = (
        f"cure {hours} hours"
        if hours is not None
        else "cure time: see its data sheet (not set in the policy)"
    )
    after = f"NOT BEFORE time filled + {hours} h" if hours is not None else "NOT BEFORE it has cured"
    labels = _each(
        [" ".join(["holes", *(hole.label for hole in ski.plugs)]) if ski.plugs else "none" for ski in skis]
    )
    return OrderStep(
        lead="Plug and fill flush. FIRST VISIT ENDS; write the time",
        detail=f"{adhesive.replace('_', ' ').capitalize()}, {cure}. Next step {after}. Wet core: STOP.",
        expects=labels,
        stop=True,
        read=False,
    )


def _drill_steps(drill: DrillFact, places: OrderStep) -> list[tuple[str, OrderStep]]:
    if drill.diameter_um is None or drill.depth_um is None:
        bit = OrderStep(
            lead="READ THE SKI: drill and depth, then set both",
            detail="Core not known: no size is printed. Measure the thickness at the hole. In doubt: STOP.",
            expects=_both("Ø × depth"),
            stop=True,
            brief="Core not known: no size is printed. Measure the thickness at the hole. In doubt: STOP.",
        )
    else:
        bit = OrderStep(
            lead="Bit measured, depth stop tried on scrap",
            detail="What the maker prints on the ski comes first: where it differs, STOP.",
            expects=_both(size := f"{mm_text(drill.diameter_um)} × {mm_text(drill.depth_um)}"),
            brief=f"Bit and stop tried on scrap, {size}; print on the ski differs: STOP.",
        )
    tapped = ", tapped" if drill.tap else ""
    return [
        ("bit", bit),
        ("places", places),
        (
            "drilled",
            OrderStep(
                lead=f"Drilled to the stop, deburred{tapped}",
                detail="Square to the top sheet.",
                expects=places.expects,
            ),
        ),
    ]


def _places_step(way: Way, pattern: Pattern, skis: tuple[SkiFact, ...], centre_um: int) -> OrderStep:
    """Return the step that places the new holes: by the one jig that drills them all, or without a jig.

    ``centre_um``: the boot centre from ski A's mark; where the jig's lies elsewhere, the sheet says why. It
    also says where its holes lie half a millimetre beside the sheet's rows, since both are measured.
    """
    jig, new = way.jig, _each([f"{len(ski.drilled)} new" for ski in skis])
    if jig is None:
        return OrderStep(
            lead=f"{NO_JIG}: positions marked, then measured again",
            detail="By template or by hand, from the mark along the centre line."
            " Second person SIGNS before the first hole.",
            expects=new,
        )
    beside = " Not at the boot centre: the pieces slide there later." if jig.centre_um != centre_um else ""
    miss = _jig_miss_um(way, pattern, jig)
    allowed = (
        f" It drills up to {length_text(miss)} mm beside the rows; bench_error_mm allows it."
        if miss >= BENCH_STEP_UM
        else ""
    )
    return OrderStep(
        lead=f"JIG {jig_words(jig)}",
        detail=f"From that ski's own mark; only the new holes. Measured again.{allowed}{beside}"
        " Second person SIGNS before the first hole.",
        expects=new,
    )


def _jig_miss_um(way: Way, pattern: Pattern, jig: Jig) -> int:
    """Return how far along the ski the jig, so set, drills a piece from its place in the plan, at most."""
    at = {
        piece.name.value: (Follows.CENTRE if piece.follows is Follows.MARK else piece.follows).reference_um(
            jig.centre_um, jig.sole_um
        )
        for piece in pattern.pieces
    }
    pieces = (piece for ski in way.skis.values() for piece in ski.pieces if piece.how is How.JIG)
    return max((abs(at[piece.piece] - piece.reference_um) for piece in pieces), default=0)


def _screw_step(
    skis: tuple[SkiFact, ...], policy: Policy, kinds: BindingKinds, *, kind: str, glue: bool
) -> OrderStep:
    turns = _of_both(_each([_in_turn(ski) for ski in skis]))
    first, with_glue = "ALL", ""
    old = [screw.old for ski in skis for screw in ski.screws if screw.old is not None]
    inserts = any(hole.state is HoleState.INSERT for hole in old)
    if glue:
        adhesive = policy.word("mount_adhesive").replace("_", " ") or "the glue of the maker's sheet"
        reused = ", reused ones too" if any(ski.reused for ski in skis) else ""
        where = "in every hole in wood, none in an insert" if inserts else f"in every hole{reused}"
        first, with_glue = "Glue, then ALL", f"{adhesive.capitalize()} {where}. "
    return OrderStep(
        lead=f"{first} screws in before any is tight, then in turn",
        detail=f"{with_glue}{kinds.words(kind, 'insert') if inserts else ''}"
        f"In turn, diagonally: {turns}; last turns by hand. {kinds.words(kind, 'driver')}".strip(),
        expects=_each([f"{len(ski.screws)} screws" for ski in skis]),
    )


def _in_turn(ski: SkiFact) -> str:
    """The holes in the order in which their screws are tightened, piece by piece: ``17 20 18 19, 21 24``."""
    pieces: dict[str, list[str]] = {}
    for screw in ski.screws:
        pieces.setdefault(screw.piece, []).append(screw.label)
    return ", ".join(" ".join(labels) for labels in pieces.values())


def _centre_step(boot: Boot, one: SkiFact, other: SkiFact, fit: str) -> OrderStep:
    a, b = one.centre_from_mark_um, other.centre_from_mark_um
    tails_um = [ski.centre_from_tail_um for ski in (one, other)]
    tails = [length_text(tail_um) for tail_um in tails_um if tail_um is not None]
    tail = f" ({_of_both((tails[0], tails[1]))} from the tail)" if len(tails) == len(tails_um) else ""
    middle = f", {words}" if (words := mid_sole_words(boot)) else ""
    return OrderStep(
        lead=f"Boot in: boot centre {place_words(a, b)}",
        detail=f"Mark to mid-sole{tail}{middle}, boot {boot.tag}. Off: set again. {fit}".strip(),
        expects=(along_text(a), along_text(b)),
    )


def mid_sole_words(boot: Boot) -> str:
    """Return where the mid-sole is on a sole that does not count whole; "" for any other. What does not count
    lies at the toe, so the middle of the whole sole is another place.
    """
    if not (boot.bsl_um and boot.read_on_sole):
        return ""
    return f"{length_text(boot.bsl_um // 2)} mm from the sole's heel end"


def _brake_step(brake_um: int, pair: Pair) -> OrderStep:
    waist = "waist not known" if pair.waist_um is None else f"waist {mm_text(pair.waist_um)} mm"
    return OrderStep(
        lead="Brake opens, closes and clears the edges",
        detail=f"{waist.capitalize()}; brake arms do not touch the other ski.",
        expects=_both(f"{mm_text(brake_um)} mm"),
        brief=f"Brake {mm_text(brake_um)} mm opens, closes and clears the edges.",
    )


def _unknown_brake_step(pair: Pair, policy: Policy) -> OrderStep:
    over = policy.um("brake_over_waist_max_mm")
    low, high = ("waist", "waist") if pair.waist_um is None else (mm_text(pair.waist_um),) * 2
    high = f"waist + {mm_text(over)}" if pair.waist_um is None else mm_text((pair.waist_um or 0) + over)
    return OrderStep(
        lead="Measure the brake: not known. It opens, closes and clears the edges",
        detail=f"The rule asks for {low} to {high} mm. Outside it: STOP.",
        expects=_both("____ mm"),
        brief=f"Measure the brake, {low} to {high} mm, else STOP; it opens, closes and clears the edges.",
    )


def _of_both(values: tuple[str, str]) -> str:
    a, b = values
    return a if a == b else f"A {a}, B {b}"


def _both(value: str) -> tuple[str, str]:
    """One value for ski A and ski B."""
    return (value, value)


def _each(values: Sequence[str]) -> tuple[str, str]:
    """A value for each ski; one picture of both skis gives both the same."""
    return (values[0], values[-1])
