"""Holes as witnesses: of their columns (from the tail, in centimetres, mirrored), and of their binding.

A column is one hand's work: what is in doubt for a part of it is in doubt for all of it. The witnesses are
the patterns that the file and the ledger know, the bindings on the skis, and what any binding looks like:
screws in pairs across the ski, some ahead of the mark and some behind it.

A binding that is on, for a sole that is known, in screwed holes that were seen: their places say where the
boot centre is, where a sheet does not say it. Nothing is guessed: each hole of the pattern is found, at one
place, on both skis, or nothing is said. And 265 may be a small boot's sole or a middling boot's shell: holes
listed for the pair that lie where the pattern would put them for that sole settle it; boots of that sole
length in the shop make it likely.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise
from typing import Any, Final, NamedTuple

from fleet.base.grouping import grouped
from fleet.base.units import mm_to_um
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from imports.directions import FROM_TAIL, MARK_TO_TAIL, MARK_TO_TIP, SWAPPED, TO_LEFT, TO_RIGHT
from imports.findings import Finding, Severity
from imports.headers import Table
from imports.rows import Row, ready, sides_of
from imports.sole import LEAST_OVER_SHELL_MM, SHELL_LOOKALIKE_MM, check_against_shell, spread_shell_doubt

_HALF_WIDTH: Final = Decimal(65)
"""A hole lies no farther from a ski's middle line, in mm (the widest skis are some 130 mm; from memory)."""
_IN_CM: Final = Decimal(40)
"""Places along a ski that all lie within this, in mm, hold no binding's toe and heel (from memory: two pieces
stand more than 100 mm apart)."""
_NARROWEST: Final = Decimal(8)
"""Two screws across a ski stand at least so far from its middle line (from memory)."""
_ONE_SIDE: Final = Decimal(150)
"""Screws of a toe and a heel do not all lie farther than this from the mark, in mm, on one side of it (from
memory)."""


def measure_from_mark(rows: Sequence[Row], fleet: Fleet | None = None) -> None:
    """Places counted from the tail, as their header says, become places from the mark where that is known.

    The mark of a ski is the one that the file says, else the one of that very ski in the ledger (``fleet``).
    """
    marks: dict[tuple[str, str], Decimal | None] = {}
    for row in rows:
        mark = row.values.get("mark_from_tail_mm")
        if row.table in (Table.SKI, Table.SIDE) and (
            isinstance(mark, Decimal)
            or any(f.key == "mark_from_tail_mm" and f.severity is not Severity.NOTE for f in row.findings)
        ):
            tag = str(row.values.get("tag") or row.values.get("pair_tag"))
            for side in ("A", "B") if row.values.get("ski") in (None, "both") else (row.values["ski"],):
                marks[tag, side] = marks.get((tag, side)) if mark is None else mark
    for row in rows:
        if row.table is not Table.HOLE or not row.place.from_tail:
            continue
        x, ski = row.values.get("x_mm"), row.values.get("ski")
        if not isinstance(x, Decimal):
            continue
        sides = ("A", "B") if ski in (None, "both") else (str(ski),)
        tag = str(row.values.get("pair_tag"))
        kept = [side for side in sides if (tag, side) not in marks]
        found = {_mark_kept(fleet, tag, side) if side in kept else marks[tag, side] for side in sides}
        mark = found.pop() if len(found) == 1 else None
        if mark is not None and kept:
            row.note(
                "mark_from_ledger",
                f"{x:f} mm is counted from the tail: the mark of {tag} {' and '.join(kept)} is {mark:f} mm"
                " from the tail in the ledger",
                key="x_mm",
            )
        if mark is None:
            row.ask(
                "mark_for_tail_unknown",
                f"{x:f} mm is counted from the tail, and nobody knows where the mark of this ski is",
                "enter mark_from_tail_mm of the ski, or the place from the mark",
                key="x_mm",
            )
        row.values["x_mm"] = None if mark is None else x - mark


def _mark_kept(fleet: Fleet | None, tag: str, side: str) -> Decimal | None:
    """The mark of a ski from its tail in the ledger, by the tag of its pair or one that it had before."""
    pair = fleet.pairs.get(fleet.renamed.get(tag, tag)) if fleet else None
    mark_um = pair.skis[Side(side)].mark_from_tail_um if pair is not None else None
    return None if mark_um is None else Decimal(mark_um) / 1000


def check_hole_columns(holes: Iterable[Row], skis: Iterable[Row], patterns: Mapping[str, Pattern]) -> None:
    """Ask about all places of a table that together cannot be what their columns say."""
    asked = (row for row in holes if not row.left_out and not row.values.get("hole_id"))
    bindings = {row.values.get("tag"): row.values.get("binding_model") for row in skis}
    for rows in grouped(asked, lambda row: (row.file, row.sheet, row.place.shape)).values():
        doubt = _doubt(rows, bindings, patterns)
        if doubt is None:
            continue
        for row in rows:
            if doubt.code == "places_in_doubt":
                row.findings[:] = [f for f in row.findings if not _is_strange(f)]
            for key, guesses in doubt.columns:
                row.ask(doubt.code, doubt.words, doubt.cure, *guesses, key=key)


_Place = tuple[Decimal, Decimal]
_Places = dict[tuple[str, str], list[_Place]]
"""The places on each ski by its pair's tag and what it is called."""
_STRANGE: Final = ("implausible", "unit_doubtful", "hole_off_ski")


class _Doubt(NamedTuple):
    """``columns``: key and possible answers, the likeliest first, of each column that is in doubt."""

    code: str
    words: str
    cure: str
    columns: tuple[tuple[str, tuple[str, ...]], ...]


def _is_strange(finding: Finding) -> bool:
    return finding.code in _STRANGE and finding.key in ("x_mm", "y_mm")


def _doubt(
    rows: Sequence[Row], bindings: Mapping[Any, Any], patterns: Mapping[str, Pattern]
) -> _Doubt | None:
    """The first doubt about the places of a table."""
    by_ski: _Places = defaultdict(list)
    along = (FROM_TAIL, MARK_TO_TIP, MARK_TO_TAIL)
    strange = [row for row in rows if any(_is_strange(f) for f in row.findings)]
    answered = rows[0].answered("places_in_doubt", "x_mm")
    if len(strange) >= 3 and len(strange) * 4 >= len(rows) and not answered:
        only_across = {f.key for row in strange for f in row.findings if _is_strange(f)} == {"y_mm"}
        return _Doubt(
            "places_in_doubt",
            f"{len(strange)} of {len(rows)} places on the sheet are not plausible",
            "say unit, origin and direction in the headers",
            (("x_mm", (SWAPPED, *along) if only_across else (*along, SWAPPED)),),
        )
    for row in rows:
        x, y, tag, ski = (row.values.get(key) for key in ("x_mm", "y_mm", "pair_tag", "ski"))
        if tag and isinstance(x, Decimal) and isinstance(y, Decimal):
            by_ski[tag, f"{tag} {ski}" if ski in ("A", "B") else tag].append((x, y))
    whole = {ski: places for ski, places in by_ski.items() if len(places) >= 4}
    for (_, name), places in whole.items():
        xs, ys = [x for x, _ in places], [y for _, y in places]
        if all(abs(y) > _HALF_WIDTH for y in ys) or (
            max(map(abs, ys)) > _HALF_WIDTH and max(map(abs, xs)) <= _HALF_WIDTH
        ):
            return _Doubt(
                "places_swapped",
                f"the holes of {name} lie farther across the ski than along it: are x and y swapped?",
                "x is along the ski, y across: name the columns so",
                (("x_mm", (SWAPPED, MARK_TO_TIP, MARK_TO_TAIL)),),
            )
        if max(map(abs, xs)) <= _IN_CM and max(map(abs, ys)) <= _NARROWEST:
            return _Doubt(
                "places_in_cm",
                f"the holes of {name} lie within {max(xs) - min(xs):f} mm: are these centimetres?",
                'write the unit into the header, such as "x (cm)" and "y (cm)"',
                (("x_mm", ("cm", "mm")), ("y_mm", ("cm", "mm"))),
            )
        where = "ahead of" if min(xs) > _ONE_SIDE else "behind" if max(xs) < -_ONE_SIDE else ""
        if len(places) >= 6 and where:
            return _Doubt(
                "places_from_tail",
                f"all holes of {name} lie {where} the mark: from where is x counted?",
                'say it in the header, such as "x from tail (mm)", or "x from mark (mm, + to tip)"',
                (("x_mm", (FROM_TAIL, MARK_TO_TIP, MARK_TO_TAIL)),),
            )
    return _mirrored(whole, bindings, patterns, rows[0].place.turned)


def _mirrored(
    by_ski: _Places,
    bindings: Mapping[Any, Any],
    patterns: Mapping[str, Pattern],
    turned: Collection[str],
) -> _Doubt | None:
    """A doubt where the holes of the binding that is on make its pattern only when x, or y, is turned.

    ``turned``: the columns that count the other way already.
    """
    along = (MARK_TO_TIP, MARK_TO_TAIL) if "x_mm" in turned else (MARK_TO_TAIL, MARK_TO_TIP)
    across = (TO_RIGHT, TO_LEFT) if "y_mm" in turned else (TO_LEFT, TO_RIGHT)
    for (tag, name), listed in by_ski.items():
        places = [(mm_to_um(x), mm_to_um(y)) for x, y in listed]
        model = bindings.get(tag)
        for pattern in patterns.values():
            if not model or model not in (pattern.name, pattern.binding_model):
                continue
            pieces = [
                tuple((h.x_um, h.y_um) for h in piece.holes)
                for piece in pattern.pieces
                if len(piece.holes) >= 2
            ]
            if not pieces or _holds(places, pieces):
                continue
            for turn_x, turn_y, words in ((True, False, "x"), (False, True, "y"), (True, True, "x and y")):
                if _holds([(-x if turn_x else x, -y if turn_y else y) for x, y in places], pieces):
                    ways = (("x_mm", along, turn_x), ("y_mm", across, turn_y))
                    return _Doubt(
                        "places_mirrored",
                        f"the holes of {name} make the pattern {pattern.name} only with {words} turned:"
                        " which way is plus?",
                        'say it in the header, such as "x (mm, + to tip)" and "y (mm, + right)"',
                        tuple((key, answers) for key, answers, turn in ways if turn),
                    )
    return None


Places = Sequence[tuple[int, int]]
"""x and y of holes from the mark, micrometres."""
_NEAR_UM: Final = 1_500
"""Listed and true place of a hole may lie so far apart to bear witness (our default)."""


def _holds(places: Places, pieces: Sequence[Places]) -> bool:
    """Return whether each piece stands somewhere among the places, the pattern's first foremost."""
    at: list[int] = []
    for piece in pieces:
        found = [x - piece[0][0] for x, _ in places if _stands(places, piece, x - piece[0][0])]
        if not found:
            return False
        at.append(max(found) if not at else min(found))
    return all(a > b for a, b in pairwise(at))


def _stands(places: Places, piece: Places, at: int) -> bool:
    return all(
        any(abs(x - at - px) <= _NEAR_UM and abs(y - py) <= _NEAR_UM for x, y in places) for px, py in piece
    )


_BESIDE_UM: Final = 1_000
"""A screwed hole lies so far from where its pattern puts it at most (our default: hands drilled it)."""
_WITNESS_UM: Final = 2_000
"""The distance from where the pattern puts a hole up to which a listed one bears witness (our default)."""
_STEP_UM: Final = 100
"""The boot centre is said to a tenth of a millimetre, as the holes are."""


def screwed_places(holes: Iterable[Row], fleet: Fleet) -> Mapping[tuple[str, Side], Places]:
    """The places of screwed holes that were seen, by pair and ski: the sheet's and the ledger's."""
    places: dict[tuple[str, Side], set[tuple[int, int]]] = defaultdict(set)
    for row in ready(holes):
        if row.sure("state") == HoleState.SCREWED and _seen(row.sure("knowledge")):
            for side in sides_of(row):
                places[str(row.values["pair_tag"]), side].add(_place_um(row))
    for tag, pair in fleet.pairs.items():
        for side, ski in pair.skis.items():
            places[tag, side] |= {
                (hole.x_um, hole.y_um)
                for hole in ski.holes
                if hole.state is HoleState.SCREWED and hole.knowledge.may_be_reused
            }
    return {ski: sorted(found) for ski, found in places.items()}


def _place_um(row: Row) -> tuple[int, int]:
    return mm_to_um(row.values["x_mm"]), mm_to_um(row.values["y_mm"])


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
    for column in grouped(skis, lambda row: row.sheet).values():
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
    for row in ready(holes):
        places[row.values["pair_tag"]].append(_place_um(row))
    for tag, pair in fleet.pairs.items():
        for ski in pair.skis.values():
            places[tag] += [(hole.x_um, hole.y_um) for hole in ski.holes]
    return places


def _holes_agree(
    row: Row, bsl: Decimal, patterns: Mapping[str, Pattern], places: Mapping[str, Places]
) -> bool:
    """Return whether every hole that some pattern of the named binding needs for this sole is listed."""
    name, listed = row.values.get("binding_model"), places.get(str(row.values.get("tag")), ())
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
