"""The sole length a ski was mounted for: no shell size stands beside it, so its witnesses are heard.

265 may be a small boot's sole or a middling boot's shell. Holes listed for the pair that lie where the
pattern would put them for that sole settle it; boots of that sole length in the shop make it likely.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Final

from fleet.base.units import mm_to_um
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from imports.rows import Row
from imports.sole import LEAST_OVER_SHELL_MM, SHELL_LOOKALIKE_MM, check_against_shell, spread_shell_doubt

_WITNESS_UM: Final = 2_000
"""The distance from where the pattern puts a hole up to which a listed one bears witness (our default)."""

_Places = Mapping[str, Sequence[tuple[int, int]]]


def check_mounted_soles(
    skis: Sequence[Row],
    boots: Iterable[Row],
    holes: Iterable[Row],
    patterns: Mapping[str, Pattern],
    fleet: Fleet,
) -> None:
    """Ask about every mounted BSL that may be a shell size and has no witness; note those with a weak one."""
    soles = _known_soles(boots, fleet)
    places = _hole_places(holes, fleet)
    for row in skis:
        bsl = row.values.get("bsl_mm")
        if not isinstance(bsl, Decimal):
            continue
        if bsl <= SHELL_LOOKALIKE_MM and bsl % 5 == 0:
            if _holes_agree(row, bsl, patterns, places):
                continue
            if bsl in soles:
                row.note(
                    "bsl_may_be_shell",
                    f"{bsl:f} may be a shell size; taken as a sole: boots of that sole length are here",
                    key="bsl_mm",
                    taken=bsl,
                )
                continue
        check_against_shell(row, bsl, None)
    columns: dict[str, list[Row]] = defaultdict(list)
    for row in skis:
        columns[row.sheet].append(row)
    for column in columns.values():
        spread_shell_doubt(column)


def _known_soles(boots: Iterable[Row], fleet: Fleet) -> set[Decimal]:
    """Sole lengths of boots whose shell size stands beside them and agrees."""
    known = set()
    for row in boots:
        bsl, size = row.values.get("bsl_mm"), row.values.get("mondopoint")
        if row.usable and isinstance(bsl, Decimal) and isinstance(size, Decimal):
            known.add(bsl)
    for boot in fleet.boots.values():
        if (
            boot.bsl_um is not None
            and boot.mondopoint_mm is not None
            and boot.bsl_um / 1000 - boot.mondopoint_mm >= LEAST_OVER_SHELL_MM
        ):
            known.add(Decimal(boot.bsl_um) / 1000)
    return known


def _hole_places(holes: Iterable[Row], fleet: Fleet) -> _Places:
    places: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for row in holes:
        x, y = row.values.get("x_mm"), row.values.get("y_mm")
        if row.usable and isinstance(x, Decimal) and isinstance(y, Decimal):
            places[row.values["pair_tag"]].append((mm_to_um(x), mm_to_um(y)))
    for tag, pair in fleet.pairs.items():
        for ski in pair.skis.values():
            places[tag] += [(hole.x_um, hole.y_um) for hole in ski.holes]
    return places


def _holes_agree(row: Row, bsl: Decimal, patterns: Mapping[str, Pattern], places: _Places) -> bool:
    """Return whether every hole that some pattern of the named binding needs for this sole is listed."""
    name, listed = row.values.get("binding_model"), places.get(row.values.get("tag") or "", ())
    offset = row.values.get("mark_offset_mm")
    if not listed or not isinstance(offset, Decimal):
        return False
    for pattern in patterns.values():
        if name not in (pattern.name, pattern.binding_model):
            continue
        if len({piece.follows for piece in pattern.pieces}) < 2:
            continue
        wanted = [
            (piece.follows.reference_um(mm_to_um(offset), mm_to_um(bsl)) + hole.x_um, hole.y_um)
            for piece in pattern.pieces
            for hole in piece.holes
        ]
        if all(
            any(abs(x - a) <= _WITNESS_UM and abs(y - b) <= _WITNESS_UM for a, b in listed) for x, y in wanted
        ):
            return True
    return False
