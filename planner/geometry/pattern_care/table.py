"""A pattern read from a csv with the columns of the inventory's pattern sheet."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

from fleet.base.errors import BadInput
from fleet.base.units import mm_to_um
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName

_NEEDED = ("pattern", "binding_model", "piece", "follows", "x_mm", "y_mm")


def patterns_of_csv(path: Path) -> list[Pattern]:
    """Return all patterns of the file, in its order. Raises BadInput with the line and the cure."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            missing = [name for name in _NEEDED if name not in (reader.fieldnames or ())]
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise BadInput(f"cannot read {path}: {fault}", cure="give a csv in UTF-8") from fault
    if missing or not rows:
        raise BadInput(
            f"{path} is not a table of patterns"
            + (f": {', '.join(missing)} missing" if missing else ": no rows"),
            cure=f"use the columns {', '.join(_NEEDED)}, and where known diameter_mm, travel_*_mm, bsl_*_mm",
        )
    grouped: dict[str, dict[str, list[Mapping[str, str]]]] = {}
    for number, row in enumerate(rows, start=2):
        clean = {name: (value or "").strip() for name, value in row.items() if name}
        clean["line"] = str(number)
        grouped.setdefault(clean["pattern"], {}).setdefault(clean["piece"], []).append(clean)
    return [_pattern(path, name, pieces) for name, pieces in grouped.items()]


def _pattern(path: Path, name: str, pieces: Mapping[str, list[Mapping[str, str]]]) -> Pattern:
    line = "?"
    try:
        made = []
        for piece, rows in pieces.items():
            line = rows[0]["line"]
            holes = []
            for row in rows:
                line = row["line"]
                holes.append(
                    PatternHole(
                        x_um=mm_to_um(row["x_mm"]),
                        y_um=mm_to_um(row["y_mm"]),
                        diameter_um=_um(row, "diameter_mm"),
                    )
                )
            made.append(
                Piece(
                    name=PieceName(piece),
                    follows=Follows(rows[0]["follows"]),
                    holes=tuple(holes),
                    travel_back_um=_um(rows[0], "travel_back_mm") or 0,
                    travel_forward_um=_um(rows[0], "travel_forward_mm") or 0,
                    screw=rows[0].get("screw", ""),
                    screw_origin=rows[0].get("screw_origin", ""),
                )
            )
        first = next(iter(pieces.values()))[0]
        return Pattern(
            name=name,
            binding_model=first["binding_model"],
            pieces=tuple(made),
            bsl_min_um=_um(first, "bsl_min_mm"),
            bsl_max_um=_um(first, "bsl_max_mm"),
            binding_kind=first.get("binding_kind", ""),
        )
    except ValueError as fault:
        raise BadInput(
            f"{path}, line {line}, pattern {name!r}: {fault}",
            cure="piece is toe, heel or plate; follows is toe, heel, centre or mark; lengths in mm",
        ) from fault


def _um(row: Mapping[str, str], column: str) -> int | None:
    return mm_to_um(row[column]) if row.get(column) else None
