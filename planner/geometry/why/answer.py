"""The answers to `mountbook why PAIR BOOT`, `where` and `whatif`, as values and as lines for a person.

Lines have half millimetres and words, never a bare sign.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from fleet.base.errors import BadInput, or_bad_input
from fleet.base.units import BENCH_STEP_UM, half_mm_down, mm_text, mm_to_um, toward, um_to_mm
from fleet.facts.boots import Boot
from fleet.facts.holes import Side
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Pair, to_measure
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.frames import doubt_about_marks, stance_for
from planner.geometry.placement.intervals import Interval, union
from planner.geometry.placement.legal import LegalFinder, LegalOffsets, legal_offsets, offsets_only
from planner.geometry.placement.rule import rule_for
from planner.geometry.placement.ways import WayFinder, ways_for
from planner.geometry.why.geometry import Blocking, Question, blocked_by, changes, together
from planner.geometry.why.what_if import WhatIf
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
        return (f"settle what keeps pair {pair.tag} {pair.place.words} first",)
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


def declared_patterns(fleet: Fleet, boot: Boot) -> list[Pattern]:
    """Return the patterns that both makers declare for the boot's sole, by name. No row means no."""
    names = sorted({fit.pattern for fit in fleet.fits if fit.sole_type == boot.sole_type})
    return [fleet.patterns[name] for name in names if name in fleet.patterns]


def on_paper(fleet: Fleet, pair: Pair, boot: Boot, pattern: Pattern) -> list[Blocking]:
    """Return each fact that blocks by itself, whatever the holes are."""
    found = []
    if not pair.plannable:
        found.append(Blocking(what=f"pair {pair.tag} is {fleet.where(pair.tag)}: nothing is planned for it"))
    if not boot.plannable:
        why = boot.barred or f"a note on it asks: {boot.asks}?"
        found.append(Blocking(what=f"boot {boot.tag} is in no plan: {why}"))
    kinds = KindRule(fleet.policy).against(pair=(pair.kind,), boot=boot.kinds, binding=pattern.kinds)
    if kinds:
        found.append(Blocking(what=kinds))
    if boot.bsl_um is None:
        found.append(Blocking(what=f"the sole length of boot {boot.tag} is not known"))
    elif (short := pattern.too_short) is not None:
        found.append(
            Blocking(
                what=f"the {short.name} piece of {pattern.name} travels"
                f" {mm_text(short.travel_back_um + short.travel_forward_um)} mm in all;"
                f" the shop's rule leaves {mm_text(short.reserve_um)} mm at each end"
            )
        )
    elif not pattern.takes_bsl(boot.bsl_um):
        least = "" if pattern.bsl_min_um is None else f" from {mm_text(pattern.bsl_min_um)}"
        most = "" if pattern.bsl_max_um is None else f" to {mm_text(pattern.bsl_max_um)}"
        found.append(
            Blocking(
                what=f"pattern {pattern.name} takes soles{least}{most} mm,"
                f" boot {boot.tag} has {mm_text(boot.bsl_um)} mm"
            )
        )
    if not any(f.sole_type == boot.sole_type and f.pattern == pattern.name for f in fleet.fits):
        found.append(
            Blocking(
                what=f"sole {boot.sole_type} in pattern {pattern.name} is not declared by both makers"
                " (no row means no)"
            )
        )
    return found


CAUTION = (
    "Geometry from the ledger and the shop's policy, no statement about strength: makers' instructions,"
    " local rules and a qualified technician come first."
)


def why_lines(answer: WhyAnswer) -> Iterator[str]:
    """Yield the lines that `mountbook why` prints."""
    with_what = f" with {answer.pattern}" if answer.pattern else ""
    yield f"boot {answer.boot} on pair {answer.pair}{with_what}: {'yes' if answer.possible else 'no'}"
    if answer.possible:
        for each in answer.legal:
            yield f"  boot centre {range_text(each)}"
        yield from _way_lines(answer.ways)
    for fact in answer.blocking:
        yield f"  - {fact.what}"
    if answer.to_measure:
        yield f"  whether the brake fits, nobody knows: {answer.to_measure}"
    for low, _ in answer.beyond if not answer.possible else ():
        outward = -(-abs(low) // BENCH_STEP_UM) * BENCH_STEP_UM
        yield f"  first legal beyond the shop's limit: boot centre {toward(outward if low > 0 else -outward)}"
    if not answer.possible:
        yield f"  nearest change: {answer.nearest_change}"
        for other in answer.changes[1:]:
            yield f"  or: {other}"
    for alternative in answer.alternatives:
        yield (f"  instead: {alternative.pair} with {alternative.pattern}, {way_text(alternative.way)}")
    yield CAUTION


def where_lines(legal: tuple[LegalOffsets, ...], ways: tuple[Way, ...]) -> Iterator[str]:
    """Yield the lines that `mountbook where` prints."""
    if not legal:
        yield "nowhere within the shop's limit"
    lines = [
        f"  boot centre {range_text((each.low_um, each.high_um))}  ("
        + "; ".join(f"ski {s.value}: {each.reused(s)} reused, {each.drilled(s)} drilled" for s in Side)
        + ")"
        for each in legal
    ]
    yield from dict.fromkeys(lines)  # which holes are reused may differ, not how many
    yield from _way_lines(ways)
    yield CAUTION


def what_if_lines(found: WhatIf) -> Iterator[str]:
    """Yield the lines that `mountbook whatif` prints: counts, then the changes pair by pair."""
    changed = ", ".join(f"{name} {value}" for name, value in found.changed.items())
    yield f"with {changed}: {found.after} of {found.asked} positions possible, now {found.before}"
    for word, some_changes in (("gains", found.gained), ("loses", found.lost)):
        for pair, some in groupby(some_changes.items(), key=lambda change: change[0].pair):
            yield f"  {pair} {word}"
            for position, legal in some:
                where = "; ".join(map(range_text, legal))
                yield f"    {position.pattern} for {mm_text(position.bsl_um)} mm: boot centre {where}"
    yield "Nothing is changed: a manager decides on the shop's rules."
    yield CAUTION


def _way_lines(ways: tuple[Way, ...]) -> Iterator[str]:
    if not ways:
        yield "  no plan would use it: a reused piece stands where its holes are, and printed numbers count"
    for way in ways:
        yield f"  {way_text(way)}"


def way_text(way: Way) -> str:
    """Return a way in one line."""
    clear = "" if way.clearance_um is None else f", {half_mm_down(way.clearance_um)} mm to spare"
    return (
        f"{way.rung.value}: boot centre {toward(way.offset_um)}, {way.drilled} holes to drill,"
        f" {way.plugged} to plug, {way.minutes} min{clear}"
    )


def range_text(offsets: Interval) -> str:
    """Return a closed range for a person: the half millimetres inside it, else its approximate place."""
    low, high = offsets
    first = -(-low // BENCH_STEP_UM) * BENCH_STEP_UM
    last = high // BENCH_STEP_UM * BENCH_STEP_UM
    if first > last:
        return f"about {toward((low + high) // 2)} (less than half a millimetre wide)"
    if first == last:
        return toward(first)
    return f"from {toward(first)} to {toward(last)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Legal offsets with roles, and the ways a plan would choose from. ``doubt``: about the marks."""

    pair: Pair
    pattern: str
    bsl_um: int
    legal: tuple[LegalOffsets, ...]
    ways: tuple[Way, ...]
    doubt: str | None

    def to_json(self) -> dict[str, Any]:
        """Return the JSON object, lengths in millimetres; ``reused`` lists the hole ids of each ski."""
        return {
            "pair": self.pair.tag,
            "pattern": self.pattern,
            "bsl_mm": um_to_mm(self.bsl_um),
            "legal_offsets_mm": [[um_to_mm(a), um_to_mm(b)] for a, b in offsets_only(self.legal)],
            "roles": [
                {
                    "from_mm": um_to_mm(each.low_um),
                    "to_mm": um_to_mm(each.high_um),
                    "skis": {
                        side.value: {
                            "reused": [
                                self.pair.skis[side].holes[claim].hole_id
                                for piece in each.claims[side]
                                for claim in piece
                                if claim is not None
                            ],
                            "drilled": each.drilled(side),
                        }
                        for side in Side
                    },
                }
                for each in self.legal
            ],
            "ways": [way_json(way) for way in self.ways],
            "marks": self.doubt,
        }

    def lines(self) -> Iterator[str]:
        """Yield the answer as lines for a person."""
        yield f"{self.pattern} on pair {self.pair.tag} for a {mm_text(self.bsl_um)} mm sole"
        if self.doubt is not None:
            yield f"  first measure mark to tail on both skis: {self.doubt}"
        yield from where_lines(self.legal, self.ways)


def listing(
    fleet: Fleet, *, pair_tag: str, pattern_name: str, bsl_mm: str, pin_mm: str | None = None
) -> Listing:
    """Return the legal offsets. Raises Refused for an unknown tag or name, BadInput for a text that is no
    length.
    """
    pair, pattern = fleet.pair(pair_tag), fleet.pattern(pattern_name)
    bsl_um, pin_um = length_typed(bsl_mm, "315"), None if pin_mm is None else length_typed(pin_mm, "60")
    mounted = pair.current_mount is not None and pair.current_mount.pattern == pattern.name
    return Listing(
        pair=pair,
        pattern=pattern.name,
        bsl_um=bsl_um,
        legal=legal_offsets(pair=pair, pattern=pattern, bsl_um=bsl_um, policy=fleet.policy, pin_um=pin_um),
        ways=ways_for(
            pair=pair, pattern=pattern, bsl_um=bsl_um, policy=fleet.policy, mounted=mounted, pin_um=pin_um
        ),
        doubt=doubt_about_marks(pair, difference_um=fleet.policy.um("pair_difference_mm")),
    )


def length_typed(text: str, example: str) -> int:
    """Return a length typed in mm as micrometres. Raises BadInput, with an example, unless it is above 0."""
    with or_bad_input(f"{text!r} is not a length in mm", cure=f"write it like {example}"):
        value = mm_to_um(text)
    if value <= 0:
        raise BadInput(f"{text!r} is not a length from 0 up", cure=f"write it like {example}")
    return value
