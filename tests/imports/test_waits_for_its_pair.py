"""What is shown as taken is in the ledger: what hangs on a pair in question is shown as waiting with it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from fleet.facts.holes import Side
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.headers import Table
from planner.exchange.intake import apply, look_at
from tests.imports.books import HOLE, MOUNTED, SKI, T4H4, TODAY, table_rows, write_book, write_csv

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)


def verdicts(said: dict[str, Any]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for row in said["rows"]:
        found.setdefault(row["kind"], set()).add(row["verdict"])
    return found


def test_holes_sides_mounts_and_areas_of_a_new_pair_in_question_wait_with_it(tmp_path: Path) -> None:
    """Its length is in doubt, without which no pair is kept; nothing of it is in the ledger, or shown so."""
    skis = table_rows(Table.SKI, SKI | {"length_cm": "178?"}, SKI | {"tag": "K-032"})
    book = write_book(tmp_path / "own.xlsx", {"Skis": skis, "Holes": table_rows(Table.HOLE, HOLE)})
    sides = [["pair_tag", "ski", "mark_from_tail_mm"], ["K-031", "A", "812"], ["K-031", "B", "810"]]
    mounts = [
        ["pair_tag", "pattern", "binding_model", "bsl_mm", "offset_mm"],
        ["K-031", "", "Old", "305", "0"],
    ]
    areas = [["pair_tag", "ski", "from_mm", "to_mm", "how", "on"]]
    areas += [["K-031", "A", "-330", "280", "bare", "2026-10-20"]]
    more = [
        write_csv(tmp_path / f"{name}.csv", rows)
        for name, rows in (("skis", sides), ("mounts", mounts), ("areas", areas))
    ]
    said = look_at(None, [book, *more], today=TODAY).report()
    waiting = {kind: {"question"} for kind in ("hole", "side", "mount", "area")}
    assert verdicts(said) == {"ski": {"question", "good"}} | waiting
    assert {q["id"] for q in said["questions"]} == {"word/ski/length_cm/178?"}, "one question, not five"


TOE_AND_HEEL = [
    *((142.5, 18), (142.5, -18), (107.5, 20), (107.5, -20)),
    *((-137.5, 18), (-137.5, -18), (-97.5, 18), (-97.5, -18)),
]


def test_new_holes_of_a_pair_of_the_ledger_are_taken_though_its_mount_is_doubted(tmp_path: Path) -> None:
    """The second file says another sole, which a sheet cannot rewrite, and one more old hole of ski A.

    Kept from the ledger, it would lie under a ski that was seen bare and stands open for new holes.
    """
    mounted = MOUNTED | {"inspected": "bare", "inspected_on": date(2026, 10, 20)}
    holes = [
        HOLE | {"ski": side, "x_mm": x, "y_mm": y, "state": "screwed"}
        for side in "AB"
        for x, y in TOE_AND_HEEL
    ]
    at = tmp_path / "shop.db"
    for more, sole in (([], 305), ([HOLE | {"x_mm": 20}], 317)):
        skis = table_rows(Table.SKI, mounted | {"bsl_mm": sole})
        grid = {"Skis": skis, "Holes": table_rows(Table.HOLE, *holes, *more)}
        book = write_book(tmp_path / "own.xlsx", grid | {"Patterns": table_rows(Table.PATTERN, *T4H4)})
        ledger = Ledger.open(at) if at.exists() else None
        proposal = look_at(ledger, [book], today=TODAY)
        apply(at, proposal, ledger=ledger, by="Mara", now=NOW, shop="T", zone="UTC")
        if ledger is not None:
            ledger.connection.close()
    assert {f.code for f in proposal.findings if f.severity == "question"} == {"mount_differs"}
    with Ledger.open(at) as opened:
        pair = read_fleet(opened.connection).pairs["K-031"]
    assert (20_000, 18_000) in {(hole.x_um, hole.y_um) for hole in pair.skis[Side.A].holes}
    assert [len(pair.skis[side].holes) for side in Side] == [9, 8]
    assert pair.mounts[0].bsl_um == 305_000
