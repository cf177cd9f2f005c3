"""Holes of a ski bear witness to the binding on it: to its boot centre, and that its sole is no shell size.

A binding that is on, for a sole that is known, in screwed holes that were seen: their places say where the
boot centre is, where a sheet does not say it. Nothing is guessed: each hole of the pattern is found, at one
place, on both skis, or nothing is said.

265 may be a small boot's sole or a middling boot's shell. Holes listed for the pair that lie where the
pattern would put them for that sole settle it; boots of that sole length in the shop make it likely.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Final

from fleet.base.units import mm_to_um
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from imports.rows import Row, sides_of
from imports.sole import LEAST_OVER_SHELL_MM, SHELL_LOOKALIKE_MM, check_against_shell, spread_shell_doubt

Places = Sequence[tuple[int, int]]
"""x and y of holes from the mark, micrometres."""
_BESIDE_UM: Final = 1_000
"""A screwed hole lies so far from where its pattern puts it at most (our default: hands drilled it)."""
_WITNESS_UM: Final = 2_000
"""The distance from where the pattern puts a hole up to which a listed one bears witness (our default)."""
_STEP_UM: Final = 100
"""The boot centre is said to a tenth of a millimetre, as the holes are."""


def screwed_places(holes: Iterable[Row], fleet: Fleet) -> Mapping[tuple[str, Side], Places]:
    """The places of screwed holes that were seen, by pair and ski: the sheet's and the ledger's."""
    places: dict[tuple[str, Side], set[tuple[int, int]]] = defaultdict(set)
    for row in holes:
        x, y = row.values.get("x_mm"), row.values.get("y_mm")
        if not row.usable or not isinstance(x, Decimal) or not isinstance(y, Decimal):
            continue
        if row.sure("state") == HoleState.SCREWED and _seen(row.sure("knowledge")):
            for side in sides_of(row):
                places[str(row.values["pair_tag"]), side].add((mm_to_um(x), mm_to_um(y)))
    for tag, pair in fleet.pairs.items():
        for side, ski in pair.skis.items():
            places[tag, side] |= {
                (hole.x_um, hole.y_um)
                for hole in ski.holes
                if hole.state is HoleState.SCREWED and hole.knowledge.may_be_reused
            }
    return {ski: sorted(found) for ski, found in places.items()}


def _seen(said: str | None) -> bool:
    return said is not None and Knowledge(said).may_be_reused


def boot_centre_um(pattern: Pattern, bsl_um: int, skis: Mapping[Side, Places]) -> int | None:
    """The boot centre from the mark, micrometres; None where the holes do not say it, or say two."""
    first, second = (_of_ski(pattern, bsl_um, skis.get(side, ())) for side in Side)
    if first is None or second is None or abs(first - second) > _BESIDE_UM:
        return None
    return first


def _drilled_at(pattern: Pattern, mark_um: int, bsl_um: int) -> list[tuple[int, int]]:
    return [
        (piece.follows.reference_um(mark_um, bsl_um) + hole.x_um, hole.y_um)
        for piece in pattern.pieces
        for hole in piece.holes
    ]


def _of_ski(pattern: Pattern, bsl_um: int, places: Places) -> int | None:
    listed = _drilled_at(pattern, 0, bsl_um)
    if not listed or len(places) < len(listed):
        return None
    middles = set()
    for begin_um in {x - listed[0][0] for x, y in places if abs(y - listed[0][1]) <= _BESIDE_UM}:
        beside = [_nearest(x + begin_um, y, places) for x, y in listed]
        if all(b is not None for b in beside):
            off = [b for b in beside if b is not None]
            middle_um = begin_um + (min(off) + max(off)) // 2
            middles.add(round(middle_um / _STEP_UM) * _STEP_UM)
    return middles.pop() if len(middles) == 1 else None


def _nearest(x_um: int, y_um: int, places: Places) -> int | None:
    """The distance by which the nearest hole lies ahead of that place; None where none lies there."""
    there = [x - x_um for x, y in places if abs(x - x_um) <= _BESIDE_UM and abs(y - y_um) <= _BESIDE_UM]
    return min(there, key=abs) if there else None


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


def _hole_places(holes: Iterable[Row], fleet: Fleet) -> Mapping[str, Places]:
    places: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for row in holes:
        x, y = row.values.get("x_mm"), row.values.get("y_mm")
        if row.usable and isinstance(x, Decimal) and isinstance(y, Decimal):
            places[row.values["pair_tag"]].append((mm_to_um(x), mm_to_um(y)))
    for tag, pair in fleet.pairs.items():
        for ski in pair.skis.values():
            places[tag] += [(hole.x_um, hole.y_um) for hole in ski.holes]
    return places


def _holes_agree(
    row: Row, bsl: Decimal, patterns: Mapping[str, Pattern], places: Mapping[str, Places]
) -> bool:
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
        wanted = _drilled_at(pattern, mm_to_um(offset), mm_to_um(bsl))
        if all(
            any(abs(x - a) <= _WITNESS_UM and abs(y - b) <= _WITNESS_UM for a, b in listed) for x, y in wanted
        ):
            return True
    return False
