"""The shops in which a road begins, made once from a workbook by the commands that everybody uses."""

from __future__ import annotations

import shutil
import tempfile
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any, Final

from tests.imports.books import BINDING, BOOT, FIT, HOLE, MOUNTED, SKI, STAFF, T4H4, WANTED
from tests.odd_data.front_door import FrontDoor

MANAGER, HEAD, TECHNICIAN, SECOND, COUNTER = PEOPLE = (
    "Wim Tarrowby",
    "Ida Fennweg",
    "Jory Malkin-Tor",
    "Sanne Oderbrook",
    "Nell Quarrie",
)
_ROLES: Final = ("manager", "head technician", "technician", "technician", "counter")
BINDING_NAME: Final = "Hirefold 4+4"
_BARE: Final = {"inspected": "bare", "inspected_on": date(2026, 10, 1)}
_MODEL: Final = {"model": "Marrow 72", "kind": "alpine", "waist_mm": 72, "length_cm": 170}
_SOLE: Final = "ISO 5355 A"
_PATTERN: Final = [
    row | {"pattern": BINDING_NAME, "binding_model": BINDING_NAME, "diameter_mm": 3.6}
    | {"travel_back_mm": 6, "travel_forward_mm": 6}
    for row in T4H4
]  # fmt: skip


def pair(tag: str, *, bsl_mm: int | None = 305) -> dict[str, Any]:
    """A pair that was seen bare, mounted for that sole; flat without one."""
    if bsl_mm is None:
        return SKI | _MODEL | _BARE | {"tag": tag, "rack": f"R{tag[-1]}"}
    on = {"binding_model": BINDING_NAME, "brake_mm": 80, "bsl_mm": bsl_mm}
    return MOUNTED | _MODEL | _BARE | on | {"tag": tag, "rack": f"R{tag[-1]}"}


def boot(tag: str, bsl_mm: int) -> dict[str, Any]:
    sole = {"bsl_mm": bsl_mm, "bsl_measured": "printed", "sole_type": _SOLE}
    return BOOT | sole | {"tag": tag, "model": "Strauss 80", "kind": "alpine", "mondopoint": 26.5}


def screws(tag: str, bsl_mm: int = 305, state: str = "screwed") -> list[dict[str, Any]]:
    """The holes of a mount with the boot centre on the mark, both skis, measured here."""
    return [
        HOLE | {
            "pair_tag": tag, "ski": side, "y_mm": row["y_mm"],
            "state": state, "knowledge": "measured here",
            "x_mm": (bsl_mm / 2 if row["piece"] == "toe" else -bsl_mm / 2) + row["x_mm"],
        }
        for side in "AB"
        for row in T4H4
    ]  # fmt: skip


def _begun(folder: Path, **sheets: list[dict[str, Any]]) -> FrontDoor:
    door = FrontDoor(folder, datetime.fromisoformat("2026-10-05T08:00:00+02:00"))
    door.begin(
        Patterns=_PATTERN,
        Fits=[FIT | {"sole_type": _SOLE, "pattern": BINDING_NAME}],
        Staff=[
            STAFF | {"name": name, "role": role, "valid_until": date(2028, 5, 31)}
            for name, role in zip(PEOPLE, _ROLES, strict=True)
        ],
        **sheets,
    )
    return door


@cache
def winter(pairs: int) -> Path:
    """So many pairs K-001 ..., mounted and passed in November, with boots B-001 ...; nobody set them."""
    tags = [f"K-{n:03}" for n in range(1, pairs + 1)]
    door = _begun(
        Path(tempfile.mkdtemp(prefix="winter")),
        Skis=[pair(tag) for tag in tags],
        Boots=[boot(f"B{tag[1:]}", 305) for tag in tags],
        Bindings=[],
        Holes=[hole for tag in tags for hole in screws(tag)],
        Wanted=[],
    )
    door.now = datetime.fromisoformat("2026-11-20T09:00:00+01:00")
    _do(door, "prep", "sign", *tags, "--all", "not-moved", by=SECOND)
    return door.folder


@cache
def autumn(pairs: int) -> Path:
    """So many pairs in October and a set wanted for each, but two boots fewer: they come late.

    The last two pairs are flat; the first of them has the open holes of a mount, the other none.
    """
    tags = [f"K-{n:03}" for n in range(1, pairs + 1)]
    flat = tags[-2:]
    door = _begun(
        Path(tempfile.mkdtemp(prefix="autumn")),
        Skis=[pair(tag, bsl_mm=None if tag in flat else 305) for tag in tags],
        Boots=[boot(f"B-{n:03}", (305, 311, 335)[n % 3]) for n in range(1, pairs - 1)],
        Bindings=[BINDING | {"model": BINDING_NAME, "brake_mm": 80, "quantity": 4}],
        Holes=[hole for tag in tags[:-1] for hole in screws(tag, state="open" if tag in flat else "screwed")],
        Wanted=[
            WANTED
            | {"wish": "W-1", "kind": "alpine", "length_min_cm": 165, "length_max_cm": 175, "quantity": pairs}
            | {"mondopoint_min": 26, "mondopoint_max": 27, "priority": 1}
        ],
    )
    return door.folder


@cache
def away(pairs: int) -> Path:
    """That shop in the new year: every pair set for its boot and out since 28 December, due on Saturday."""
    folder = Path(tempfile.mkdtemp(prefix="away"))
    shutil.copy(winter(pairs) / "mountbook.db", folder)
    door = FrontDoor(folder, datetime.fromisoformat("2026-12-28T08:00:00+01:00"))
    scans = [f"set K-{n:03} B-{n:03}" for n in range(1, pairs + 1)]
    _do(door, "--yes-today", "counter", "--mode", "out", by=SECOND, given="\n".join(["due 2.1.", *scans, ""]))
    return folder


def _do(door: FrontDoor, *typed: str, by: str, given: str = "") -> None:
    said = door(*typed, by=by, given=given)
    assert said.code == 0, said.all
    assert "REFUSED" not in said.all, said.all


def lay(name: str, folder: Path) -> None:
    """Put the ledger of a shop into the folder: ``winter 160``."""
    kind, number = name.split()
    made = {"winter": winter, "autumn": autumn, "away": away}[kind](int(number))
    shutil.copy(made / "mountbook.db", folder)
