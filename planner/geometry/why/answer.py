"""The full answer to `mountbook why PAIR BOOT`."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fleet.base.units import um_to_mm
from fleet.facts.boots import Boot
from fleet.facts.pairs import Pair, to_measure
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.frames import stance_for
from planner.geometry.placement.intervals import Interval, union
from planner.geometry.placement.legal import LegalFinder, offsets_only
from planner.geometry.placement.rule import rule_for
from planner.geometry.placement.ways import WayFinder
from planner.geometry.why.changes import Question, changes, together
from planner.geometry.why.geometry import Blocking, blocked_by
from planner.geometry.why.paper import declared_patterns, on_paper
from planner.plan.values import Rung, Way

LOOK_BEYOND_UM = 30_000
"""The distance (µm) beyond the policy's limit within which the first legal offsets are looked for (our
choice, no source).
"""
_LENGTH_ALIKE_MM = 50
_OTHERS_SHOWN = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherMount:
    """Another pair or pattern that would serve the boot instead."""

    pair: str
    pattern: str
    way: Way


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyAnswer:
    """The answer for a pair and a boot. ``legal`` and ``beyond``: closed exact ranges of the offset, µm,
    sorted.

    ``beyond``: the first legal offset on either side outside the policy's limit. ``ways``: what a plan
    could do here, best first; the rule may allow an offset that no plan uses, because a reused piece
    stands where its holes are. ``to_measure``: without it nobody knows whether the brake that is on fits.
    """

    pair: str
    boot: str
    pattern: str | None
    blocking: tuple[Blocking, ...] = ()
    legal: tuple[Interval, ...] = ()
    beyond: tuple[Interval, ...] = ()
    changes: tuple[str, ...] = ()
    ways: tuple[Way, ...] = ()
    alternatives: tuple[OtherMount, ...] = ()
    to_measure: str = ""

    @property
    def possible(self) -> bool:
        """True if any offset is legal."""
        return bool(self.legal)

    @property
    def nearest_change(self) -> str:
        """The nearest change in words; where no change helps, the pairs that could serve instead."""
        if self.possible:
            return ""
        if self.changes:
            return self.changes[0]
        if self.alternatives:
            other = self.alternatives[0]
            what = f"pattern {other.pattern}" if other.pair == self.pair else f"pair {other.pair}"
            return f"take {what} instead: {other.way.rung.value}, {other.way.drilled} holes to drill"
        return "no change was found that would unblock it"

    def to_json(self) -> dict[str, Any]:
        """Return the JSON object of `why --json`: the promised keys, and pattern, ways, changes,
        alternatives.
        """
        return {
            "pair": self.pair,
            "boot": self.boot,
            "pattern": self.pattern,
            "possible": self.possible,
            "blocking": [each.to_json() for each in self.blocking],
            "legal_offsets_mm": [[um_to_mm(low), um_to_mm(high)] for low, high in self.legal],
            "beyond_policy": [[um_to_mm(low), um_to_mm(high)] for low, high in self.beyond],
            "nearest_change": self.nearest_change,
            "changes": list(self.changes),
            "ways": [way_json(way) for way in self.ways],
            "alternatives": [
                {"pair": a.pair, "pattern": a.pattern, **way_json(a.way)} for a in self.alternatives
            ],
            "to_measure": self.to_measure,
        }


def way_json(way: Way) -> dict[str, Any]:
    """Return a way as a short JSON object."""
    return {
        "way": way.rung.value,
        "offset_mm": um_to_mm(way.offset_um),
        "drilled": way.drilled,
        "minutes": way.minutes,
    }


def why(fleet: Fleet, *, pair_tag: str, boot_tag: str, pattern_name: str | None = None) -> WhyAnswer:
    """Return the legal offsets of the boot on the pair; where there are none, the reasons and what would
    help.

    Without a pattern: the declared one that asks for the least work; if none is possible, the one that
    is on the pair now, else the first by name. Refused where a tag or name is unknown.
    """
    pair, boot = fleet.pair(pair_tag), fleet.boot(boot_tag)
    if pattern_name is not None:
        wanted = [fleet.pattern(pattern_name)]
    else:
        wanted = _mounted_first(pair, declared_patterns(fleet, boot))
    if not wanted:
        return WhyAnswer(
            pair=pair.tag,
            boot=boot.tag,
            pattern=None,
            blocking=(Blocking(what=f"no pattern is declared by both makers for sole {boot.sole_type}"),),
            changes=(f"find the makers' sheets that declare sole {boot.sole_type}, and enter the fit",),
        )
    best = min((_looked_at(fleet, pair, boot, pattern) for pattern in wanted), key=_work)
    on = fleet.bindings_on(pair.tag).values()
    best = replace(best, to_measure=to_measure(pair, on, fleet.policy) if on else "")
    if best.possible:
        return best
    return _with_alternatives(fleet, pair, boot, _explained(fleet, pair, boot, best))


def _mounted_first(pair: Pair, patterns: list[Pattern]) -> list[Pattern]:
    on = None if pair.current_mount is None else pair.current_mount.pattern
    return sorted(patterns, key=lambda pattern: (pattern.name != on, pattern.name))


def _work(answer: WhyAnswer) -> tuple[bool, int, int]:
    """Return a sort key: possible answers first, then the least drilling and minutes. Equal ones keep their
    order.
    """
    way = answer.ways[0] if answer.ways else None
    far = 10**9
    return not answer.possible, far if way is None else way.drilled, far if way is None else way.minutes


def _looked_at(fleet: Fleet, pair: Pair, boot: Boot, pattern: Pattern) -> WhyAnswer:
    """Return the answer without reasons: possible or not."""
    found = WhyAnswer(pair=pair.tag, boot=boot.tag, pattern=pattern.name)
    paper = on_paper(fleet, pair, boot, pattern)
    if paper or boot.bsl_um is None:
        return replace(found, blocking=tuple(paper), changes=_paper_changes(fleet, pair, boot, pattern))
    finder = LegalFinder(pair=pair, pattern=pattern, policy=fleet.policy)
    roles = finder.offsets(boot.bsl_um, pin_um=boot.pin_um)
    ways = _ways(fleet, pair, pattern, boot)
    standing = [(w.offset_um, w.offset_um) for w in ways if w.rung in (Rung.AS_IS, Rung.ADJUST)]
    limit = finder.rule.limit_um
    wide = finder.offsets(boot.bsl_um, pin_um=boot.pin_um, limit_um=limit + LOOK_BEYOND_UM)
    return replace(
        found,
        legal=tuple(union([*offsets_only(roles), *standing])),
        beyond=_beyond(offsets_only(wide), limit),
        ways=ways,
    )


def _explained(fleet: Fleet, pair: Pair, boot: Boot, found: WhyAnswer) -> WhyAnswer:
    """Return the answer with the reasons that the geometry gave for a no."""
    if found.blocking or boot.bsl_um is None or found.pattern is None:
        return found
    pattern = fleet.patterns[found.pattern]
    rule = rule_for(fleet.policy, pair.construction)
    question = Question(
        pair=pair, pattern=pattern, bsl_um=boot.bsl_um, pin_um=boot.pin_um, policy=fleet.policy
    )
    blocking = blocked_by(pair, pattern, stance_for(pattern, boot.bsl_um, boot.pin_um), rule) or [
        Blocking(
            what="the pattern's own pieces come too near each other, or would claim one old hole,"
            " at this sole length",
            needs_um=rule.spacing_um,
        )
    ]
    single = tuple(changes(question, list(found.beyond)))
    if not single and (several := together(question)) is not None:
        single = (several,)
    return replace(found, blocking=tuple(blocking), changes=single)


def _ways(fleet: Fleet, pair: Pair, pattern: Pattern, boot: Boot) -> tuple[Way, ...]:
    mounted = pair.current_mount is not None and pair.current_mount.pattern == pattern.name
    finder = WayFinder(pair=pair, pattern=pattern, policy=fleet.policy, mounted=mounted)
    return () if boot.bsl_um is None else finder.ways(boot.bsl_um, pin_um=boot.pin_um)


def _beyond(wide: list[Interval], limit_um: int) -> tuple[Interval, ...]:
    """Return the first legal offset on either side outside the limit, each as a closed range of one point."""
    below = [min(high, -limit_um - 1) for low, high in wide if low < -limit_um]
    above = [max(low, limit_um + 1) for low, high in wide if high > limit_um]
    return tuple((u, u) for u in (*below[-1:], *above[:1]))


def _paper_changes(fleet: Fleet, pair: Pair, boot: Boot, pattern: Pattern) -> tuple[str, ...]:
    if boot.bsl_um is None:
        return (f"read or measure the sole length of boot {boot.tag} (never from its size)",)
    others = [
        other.name
        for other in declared_patterns(fleet, boot)
        if other.takes_bsl(boot.bsl_um) and other.name != pattern.name
    ]
    if not pair.plannable:
        return (f"settle what keeps pair {pair.tag} {pair.place.value} first",)
    return (f"another pattern: {', '.join(others)}",) if others else ()


def _with_alternatives(fleet: Fleet, pair: Pair, boot: Boot, best: WhyAnswer) -> WhyAnswer:
    found = [
        alternative
        for other in _similar(fleet.pairs, pair)
        for alternative in _best_on(fleet, other, boot, skip=best.pattern if other is pair else None)
    ]
    found.sort(key=lambda a: (a.pair != pair.tag, a.way.drilled, a.way.minutes, a.pair, a.pattern))
    return replace(best, alternatives=tuple(found[:_OTHERS_SHOWN]))


def _similar(pairs: Mapping[str, Pair], pair: Pair) -> list[Pair]:
    """Return the pair itself and the plannable pairs of its kind within 5 cm of its length."""
    return [
        other
        for other in pairs.values()
        if other.plannable
        and (
            other is pair
            or (other.kind is pair.kind and abs(other.length_mm - pair.length_mm) <= _LENGTH_ALIKE_MM)
        )
    ]


def _best_on(fleet: Fleet, pair: Pair, boot: Boot, *, skip: str | None) -> list[OtherMount]:
    """Return the answer of least work on this pair: with its own binding, else with any declared pattern."""
    declared = [pattern for pattern in declared_patterns(fleet, boot) if pattern.name != skip]
    on = None if pair.current_mount is None else pair.current_mount.pattern
    patterns = [p for p in declared if p.name == on] or declared
    found = [
        OtherMount(pair=pair.tag, pattern=pattern.name, way=ways[0])
        for pattern in patterns
        if (ways := _ways(fleet, pair, pattern, boot))
    ]
    return sorted(found, key=lambda a: (a.way.drilled, a.way.minutes, a.pattern))[:1]
