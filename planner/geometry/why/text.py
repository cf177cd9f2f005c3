"""The answers of `why` and `where` as lines for a person: half millimetres and words, never a bare sign."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from fleet.base.units import BENCH_STEP_UM, half_mm_down, mm_text, toward
from fleet.facts.holes import Side
from planner.geometry.placement.intervals import Interval
from planner.geometry.placement.legal import LegalOffsets
from planner.geometry.why.answer import WhyAnswer
from planner.plan.values import Way

if TYPE_CHECKING:  # it needs numpy, which the other answers do not
    from planner.geometry.why.what_if import WhatIf

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
        yield from _ways(answer.ways)
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
    yield from _ways(ways)
    yield CAUTION


def what_if_lines(found: WhatIf) -> Iterator[str]:
    """Yield the lines that `mountbook whatif` prints: counts, then the changes pair by pair."""
    changed = ", ".join(f"{name} {value}" for name, value in found.changed.items())
    yield f"with {changed}: {found.after} of {found.asked} positions possible, now {found.before}"
    for word, changes in (("gains", found.gained), ("loses", found.lost)):
        for pair, some in groupby(changes, key=lambda change: change.position.pair):
            yield f"  {pair} {word}"
            for change in some:
                where = "; ".join(range_text(each) for each in change.legal)
                sole = mm_text(change.position.bsl_um)
                yield f"    {change.position.pattern} for {sole} mm: boot centre {where}"
    yield "Nothing is changed: a manager decides on the shop's rules."
    yield CAUTION


def _ways(ways: tuple[Way, ...]) -> Iterator[str]:
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
