"""Notes of a sheet are kept, what they propose is said, and every new column goes out and comes in again.

Our own rules (no source).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fleet.facts.kinds import Kind
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from imports.headers import Table
from planner.exchange.export.both import write_export
from planner.exchange.intake import apply, look_at
from planner.planning.assign.plan import plan_fleet
from tests.imports.books import (
    BINDING,
    BOOT,
    FIT,
    SKI,
    T4H4,
    TODAY,
    WANTED,
    clean_sheets,
    table_rows,
    write_book,
)
from tests.imports.test_three_ways import NOW, edit, exported, put, told

NEW = SKI | {"inspected": "new", "inspected_on": "2026-10-20"}
BOOTS = table_rows(
    Table.BOOT,
    BOOT | {"kind": "telemark", "wear": "worn", "notes": "left buckle replaced"},
    BOOT | {"tag": "B-211"},
)


def taken(tmp_path: Path, **sheets: Any) -> tuple[dict[str, Any], Path]:
    """The workbook applied to a new ledger, and what was said of it."""
    path = tmp_path / "shop.db"
    proposal = look_at(None, [write_book(tmp_path / "first.xlsx", clean_sheets(**sheets))], today=TODAY)
    said = proposal.report()
    assert apply(path, proposal, ledger=None, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC").applied
    return said, path


def fleet_of(path: Path) -> Fleet:
    with Ledger.open(path) as ledger:
        return read_fleet(ledger.connection)


def pair_with(note: str) -> list[list[Any]]:
    return table_rows(Table.SKI, NEW | {"tag": "K-5", "notes": note})


def test_a_pair_whose_note_says_heel_loose_is_not_planned(tmp_path: Path) -> None:
    """The note is kept and asked, and the pair waits for an answer; it was dropped, and the pair planned."""
    holes = table_rows(Table.HOLE)
    plain, _ = taken(tmp_path, Skis=pair_with("waxed"), Holes=holes)
    assert "alarm_word" not in {f["code"] for f in plain["findings"]}
    assert plan_fleet(fleet_of(tmp_path / "shop.db"), made_at="", ready_by=None, minutes_limit=None).sets
    (tmp_path / "shop.db").unlink()
    said, path = taken(tmp_path, Skis=pair_with("heel loose!!"), Holes=holes)
    [asked] = [f for f in said["findings"] if f["code"] == "alarm_word"]
    assert asked["severity"] == "note", "it stops no import"
    assert asked["message"] == "K-5: 'heel loose!!' - hold? It is in no plan until that is answered"
    assert asked["fix"] == "mountbook note K-5 --took-it --by NAME, or --not-so"
    fleet = fleet_of(path)
    assert [(n.name, n.text, n.proposes) for n in fleet.notes] == [("K-5", "heel loose!!", "hold")]
    plan = plan_fleet(fleet, made_at="", ready_by=None, minutes_limit=None)
    assert plan.sets == ()
    assert fleet.pairs["K-5"].place is Place.FLAT, "nothing is done by itself"


def test_notes_of_every_thing_are_kept_and_come_again_unchanged(tmp_path: Path) -> None:
    """Pair, one ski, boot, stock row; a second note beside the first; an export as it was changes nothing."""
    skis = table_rows(
        Table.SKI,
        NEW | {"notes": "waxed | base patched"},
        NEW | {"tag": "K-7", "ski": "A", "notes": "edge short"},
        NEW | {"tag": "K-7", "ski": "B"},
    )
    bindings = table_rows(Table.BINDING, BINDING | {"kind": "telemark", "notes": "from the old shop"})
    _, path = taken(tmp_path, Skis=skis, Boots=BOOTS, Bindings=bindings)
    fleet = fleet_of(path)
    assert [(n.name, n.text) for n in fleet.notes] == [
        ("K-031", "waxed"),
        ("K-031", "base patched"),
        ("K-7/A", "edge short"),
        ("B-210", "left buckle replaced"),
        ("T4/H4 105 2025/26 no. 1 A", "from the old shop"),
    ]
    assert fleet.patterns["T4/H4"].kinds == {"telemark"}
    assert fleet.boots["B-210"].kind is Kind.TELEMARK
    assert (fleet.boots["B-210"].wear, fleet.boots["B-211"].wear) == ("worn", "")
    assert fleet.boots["B-211"].kind is None
    again = told(path, exported(path, tmp_path))
    assert (again["changes"]["new"], again["changes"]["changed"]) == (0, 0)
    assert again["outcome"] == "import"
    (tmp_path / "later").mkdir()
    more = told(path, edit(exported(path, tmp_path / "later"), put("Boots", "B-211", "notes", "new liner")))
    assert more["changes"]["changed"] == 1
    assert fleet_of(path).notes[-1].name == "B-211"


def test_what_was_exported_makes_the_same_shop_anew(tmp_path: Path) -> None:
    """Kinds, wear, notes, and a boot that is held, sold or retired, into a new ledger."""
    _, path = taken(tmp_path, Skis=table_rows(Table.SKI, NEW | {"notes": "waxed"}), Boots=BOOTS)
    with Ledger.open(path) as ledger, ledger.transaction(by="Mara Oberlin", now=NOW) as tx:
        tx.enter("boot held", {"tag": "B-210"}, note="buckle torn")
        tx.enter("boot moved", {"tag": "B-211", "to": "retired"}, note="worn out")
        tx.enter("stock out", {"binding_ids": ["T4/H4 105 2025/26 no. 3 A", "T4/H4 105 2025/26 no. 3 B"]})
    with Ledger.open(path) as ledger:
        write_export(ledger, tmp_path / "csv", None, at_entry=None)
    proposal = look_at(None, [tmp_path / "csv"], today=TODAY)
    other = tmp_path / "other.db"
    assert apply(other, proposal, ledger=None, by="Mara Oberlin", now=NOW, shop="T", zone="UTC").applied
    was, now = fleet_of(path), fleet_of(other)
    assert (now.boots["B-210"].place, now.boots["B-211"].place) == (Place.HOLD, Place.RETIRED)
    assert now.boots["B-210"].hold_why == "as boots.csv has it: hold"
    for name in ("kind", "wear", "season", "sole_type"):
        assert getattr(now.boots["B-210"], name) == getattr(was.boots["B-210"], name)
    assert [(n.name, n.text) for n in now.notes] == [(n.name, n.text) for n in was.notes]
    assert set(now.bindings) == set(was.bindings)
    assert len(now.bindings) == 4, "what left the stock stays away"


@pytest.mark.parametrize("to", ["retired", "missing"])
def test_a_boot_that_is_away_and_held_is_held_in_a_new_ledger_too(tmp_path: Path, to: str) -> None:
    """What stops it goes along wherever it is; its column was left out, and the hold with it."""
    _, path = taken(tmp_path, Boots=BOOTS)
    with Ledger.open(path) as ledger, ledger.transaction(by="Mara Oberlin", now=NOW) as tx:
        tx.enter("boot held", {"tag": "B-210"}, note="sole cracked")
        tx.enter("boot moved", {"tag": "B-210", "to": to}, note="")
    with Ledger.open(path) as ledger:
        write_export(ledger, tmp_path / "csv", None, at_entry=None)
    proposal = look_at(None, [tmp_path / "csv"], today=TODAY)
    assert [f for f in proposal.report()["findings"] if f["code"] == "unknown_column"] == []
    other = tmp_path / "other.db"
    assert apply(other, proposal, ledger=None, by="Mara Oberlin", now=NOW, shop="T", zone="UTC").applied
    boot = fleet_of(other).boots["B-210"]
    assert boot.place is Place(to)
    assert boot.hold_why == "as boots.csv has it: hold"
    assert not fleet_of(other).boots["B-211"].hold_entry


def test_a_note_that_was_ended_is_not_brought_back_by_an_old_file(tmp_path: Path) -> None:
    """Nor does a file without it end one."""
    _, path = taken(tmp_path, Skis=table_rows(Table.SKI, NEW | {"notes": "waxed"}))
    file = exported(path, tmp_path)
    [note] = fleet_of(path).notes
    with Ledger.open(path) as ledger, ledger.transaction(by="Mara Oberlin", now=NOW) as tx:
        tx.enter(
            "note ended",
            {"tag": "K-031", "side": None, "boot": None, "binding_id": None} | {"note": note.entry},
        )
    assert told(path, file)["changes"]["changed"] == 0
    assert len(fleet_of(path).notes) == 1


@pytest.mark.parametrize(
    ("quantity", "outcome", "code"),
    [(2, "import", None), (3, "import", "stale_value"), (4, "questions", "stock_has_moved")],
)
def test_a_sheets_number_brings_no_stock_back(
    tmp_path: Path, quantity: int, outcome: str, code: str | None
) -> None:
    """Three came by the sheet, one left by an entry: two is right, three is what it was, four is asked."""
    _, path = taken(tmp_path)
    with Ledger.open(path) as ledger, ledger.transaction(by="Mara Oberlin", now=NOW) as tx:
        tx.enter("stock out", {"binding_ids": ["T4/H4 105 2025/26 no. 3 A", "T4/H4 105 2025/26 no. 3 B"]})
    sheets = clean_sheets(Bindings=table_rows(Table.BINDING, BINDING | {"quantity": quantity}))
    said = told(path, write_book(tmp_path / "first.xlsx", sheets))
    assert said["outcome"] == outcome
    found = {f["code"] for f in said["findings"] if f["sheet"] == "Bindings"}
    assert found == ({code} if code else set())
    assert len(fleet_of(path).bindings) == 4


def test_kinds_of_a_pattern_sheet(tmp_path: Path) -> None:
    """The model's kind as the patterns sheet says it; two on one pattern are asked."""
    rows = [row | {"kind": "telemark"} for row in T4H4]
    _, path = taken(tmp_path, Patterns=table_rows(Table.PATTERN, *rows))
    assert fleet_of(path).patterns["T4/H4"].kinds == {"telemark"}
    rows[0] |= {"kind": "alpine"}
    book = write_book(tmp_path / "b.xlsx", clean_sheets(Patterns=table_rows(Table.PATTERN, *rows)))
    said = look_at(None, [book], today=TODAY).report()
    assert said["outcome"] == "questions"
    assert (FIT["pattern"], WANTED["kind"]) == ("T4/H4", "telemark")


@pytest.mark.parametrize(("says", "place"), [("ok", "ready"), ("free", "ready"), ("hold", "hold")])
def test_a_status_of_boots_that_is_none_of_ours_is_not_shown_as_taken(
    tmp_path: Path, says: str, place: str
) -> None:
    """As of pairs: what the rows show as taken is in the ledger; a known boot is moved by no sheet."""
    rows = [[*row, said] for row, said in zip(table_rows(Table.BOOT, BOOT), ("Status", says), strict=True)]
    said, path = taken(tmp_path, Boots=rows)
    [boot] = [row["values"] for row in said["rows"] if row["kind"] == "boot"]
    assert boot["status"] == (says if says == place else None)
    assert bool(fleet_of(path).boots["B-210"].hold_entry) is (says == "hold")
    book = write_book(tmp_path / "again.xlsx", clean_sheets(Boots=rows))
    with Ledger.open(path) as ledger:
        again = look_at(ledger, [book], today=TODAY).report()
    [boot] = [row["values"] for row in again["rows"] if row["kind"] == "boot"]
    assert boot["status"] is None
