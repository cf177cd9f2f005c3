"""A pair with another tag: found by both, one history, one ski; the old tag is given to no other."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

from fleet.audit.backup import backup, restore
from fleet.audit.full import audit_file
from fleet.base.errors import BadInput, Refused
from fleet.base.units import mm_to_um
from fleet.events.pairs import TAG_COLUMNS
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.facts.tags import known_tag
from fleet.ledger.corrections import correct, withdraw
from fleet.ledger.history import entries_about, pair_history
from fleet.ledger.ledger import Ledger
from fleet.rules.holds import hold
from fleet.rules.renaming import rename
from fleet.tables.layout import STATE
from fleet.tables.snapshot import read_fleet, read_pairs
from planner.bench.season import pair_seasons
from planner.exchange import intake
from planner.exchange.export.both import write_export
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, WIM, Shop


def _rename(shop: Shop, old: str, new: str, *, by: str = IDA, why: str = "the label was lost") -> int:
    with shop.desk(by) as desk:
        return rename(desk, old, new, why=why)


def test_every_column_that_says_which_pair_a_row_is_of_is_renamed() -> None:
    tables = re.findall(r"CREATE TABLE (\w+) \((.*?)\) STRICT", STATE, re.DOTALL)
    found = {
        (table, column)
        for table, columns in tables
        for column in ("tag", "on_pair", "giver")
        if re.search(rf"\b{column} TEXT", columns)
    }
    boots = {("boot", "tag"), ("boot_entry", "tag")}
    assert found - boots - {("waiting_stop", "tag")} == set(TAG_COLUMNS)


def test_a_renamed_pair_keeps_its_pass_its_setting_its_holes_and_its_binding(shop: Shop) -> None:
    before = read_pairs(shop.ledger.connection, "P-1")["P-1"]
    _rename(shop, "P-1", "N-1")
    after = read_pairs(shop.ledger.connection, "N-1")["N-1"]
    assert not read_pairs(shop.ledger.connection, "P-1")
    assert (after.skis, after.mounts, after.place) == (before.skis, before.mounts, Place.READY)
    shop.out("N-1", boot="B-305")
    shop.back("N-1")
    assert shop.place("N-1") is Place.BACK
    assert audit_file(shop.ledger.path, now=shop.now).clean


def test_the_old_tag_finds_it_and_its_history_is_one(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    before = [one.entry.seq for one in entries_about(shop.ledger.connection, "P-1")]
    renamed = _rename(shop, "P-1", "N-1")
    shop.back("N-1")
    back = shop.ledger.head.seq
    for tag in ("P-1", "N-1"):
        history = pair_history(shop.ledger, tag)
        assert history.pair.tag == "N-1"
        assert [one.entry.seq for one in history.entries] == [*before, renamed, back]
    assert known_tag(shop.ledger.connection, "p-1") == "N-1"
    assert read_fleet(shop.ledger.connection).pair("P-1").tag == "N-1"
    with pytest.raises(Refused, match="P-1 is called N-1 now") as refused:
        shop.standing("P-1")
    assert refused.value.cure == "name it N-1"


def test_as_of_a_day_before_it_is_called_as_it_was_then(shop: Shop) -> None:
    day = shop.today
    shop.tick(minutes=24 * 60)
    _rename(shop, "P-1", "N-1")
    assert pair_history(shop.ledger, "N-1", as_of=day).pair.tag == "P-1"
    assert pair_history(shop.ledger, "N-1", as_of=day).pair.place is Place.READY


def test_renamed_twice_and_back_it_is_one_ski(shop: Shop) -> None:
    _rename(shop, "P-1", "N-1")
    _rename(shop, "N-1", "N-2")
    assert known_tag(shop.ledger.connection, "P-1") == "N-2"
    _rename(shop, "N-2", "P-1")
    assert {known_tag(shop.ledger.connection, tag) for tag in ("N-1", "N-2", "P-1")} == {"P-1"}
    assert shop.place("P-1") is Place.READY
    assert audit_file(shop.ledger.path, now=shop.now).clean


def test_a_tag_is_given_once(shop: Shop) -> None:
    _rename(shop, "P-1", "N-1")
    for act in (lambda: shop.pair("P-1"), lambda: _rename(shop, "P-2", "P-1")):
        with pytest.raises(Refused) as refused:
            act()
        sentence = refused.value.sentence
        assert sentence.startswith("P-1 is called N-1 since entry ")
        assert sentence.endswith(", and a tag is not given twice")
        assert refused.value.cure == "name it N-1, or give another ski another tag"
    with pytest.raises(Refused, match="stands in the ledger already"):
        _rename(shop, "P-2", "P-3")
    with pytest.raises(Refused, match="is the tag of a boot"):
        _rename(shop, "P-2", "B-305")


@pytest.mark.parametrize(("by", "to", "why"), [(JORY, "N-1", "x"), (NELL, "N-1", "x"), (IDA, "N-1", " ")])
def test_a_head_signs_it_with_a_reason(shop: Shop, by: str, to: str, why: str) -> None:
    with pytest.raises((Refused, BadInput)):
        _rename(shop, "P-1", to, by=by, why=why)
    assert shop.place("P-1") is Place.READY


def test_what_was_entered_before_is_not_withdrawn_under_another_name(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        seq = desk.enter("note made", {"tag": "P-1", "proposes": ""}, note="scratched")
    _rename(shop, "P-1", "N-1")
    with pytest.raises(Refused) as refused, shop.desk(IDA) as desk:
        withdraw(desk.tx, seq, by=IDA, why="slip", today=shop.today)
    assert refused.value.sentence == f"entry {seq} is about P-1, which is called N-1 since entry {seq + 1}"
    assert refused.value.cure == "enter what is true now for N-1"


def test_a_stop_follows_the_ski_and_a_scan_is_not_undone_across_it(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="heel turned")
    _rename(shop, "P-1", "N-1")
    assert shop.place("N-1") is Place.HOLD
    with pytest.raises(Refused):
        shop.out("N-1", boot="B-305")
    assert shop.standing("N-1").undo_entry == 0


def test_a_copy_from_before_knows_the_new_tag_and_the_stop_since(shop: Shop, tmp_path: Path) -> None:
    copy = backup(shop.ledger.path, tmp_path / "copies", now=shop.tick(), keep=3)
    _rename(shop, "P-1", "N-1")
    with shop.desk(NELL) as desk:
        hold(desk, "N-1", why="heel turned")
    shop.ledger.connection.close()
    restore(copy.path, shop.ledger.path, by=WIM, now=shop.tick())
    with Ledger.open(shop.ledger.path) as ledger:
        assert {*read_pairs(ledger.connection)} >= {"N-1"}
        assert "P-1" not in read_pairs(ledger.connection)
        assert read_pairs(ledger.connection, "N-1")["N-1"].place is Place.HOLD


def test_an_export_says_the_new_tag_and_a_sheet_with_the_old_one_makes_no_second_pair(
    shop: Shop, tmp_path: Path
) -> None:
    write_export(shop.ledger, tmp_path / "before", None, None, at_entry=None)
    _rename(shop, "P-1", "N-1")
    write_export(shop.ledger, tmp_path / "after", None, None, at_entry=None)
    assert "N-1" in (tmp_path / "after" / "pairs.csv").read_text()
    assert "P-1" not in (tmp_path / "after" / "pairs.csv").read_text()
    today = date(2026, 12, 28)
    for folder in ("before", "after"):
        proposal = intake.look_at(shop.ledger, [tmp_path / folder], today=today)
        assert (proposal.outcome, proposal.entries) == ("import", ()), folder
        assert any(each.code == "renamed" for each in proposal.findings) == (folder == "before")


def test_at_the_counter_the_old_label_is_led_on(command: Command) -> None:
    assert command("rename", "P-1", "N-1", "--why", "label lost", "--by", IDA).returncode == 0
    out = command("out", "P-1", "--boot", "B-305", "--json")
    assert out.returncode == 0, out.stdout
    assert "N-1" in out.stdout
    assert "N-1" in command("back", "P-1").stdout
    shown = command("ski", "P-1").stdout
    assert shown.startswith("N-1")
    assert "pair renamed" in shown
    folder = command.ledger.parent / "case"
    assert command("case", "P-1", "--out", str(folder)).returncode == 0
    assert json.loads((folder / "case.json").read_text())["tag"] == "N-1"


def test_a_hole_that_keeps_its_id_is_corrected_by_the_new_tag_too(shop: Shop) -> None:
    hole = {"hole_id": "P-1/A7", "side": "A", "x_um": 1000, "y_um": 0, "diameter_um": 4100, "depth_um": 9000}
    hole |= {"state": "open", "knowledge": "measured bare"}
    shop.enter("holes recorded", {"tag": "P-1", "holes": [hole]})
    _rename(shop, "P-1", "N-1")
    for name, depth in (("N-1/A7", "8.5"), ("P-1/A7", "8")):
        with shop.desk(IDA) as desk:
            correct(desk.tx, name, {"depth_mm": depth}, by=IDA, why="misread", today=shop.today)
        (found,) = read_pairs(shop.ledger.connection, "N-1")["N-1"].skis[Side.A].holes
        assert found.depth_um == mm_to_um(depth)


def test_the_old_label_stops_the_ski_and_its_facts_are_corrected_under_any_name(command: Command) -> None:
    command("rename", "P-1", "N-1", "--why", "label lost", "--by", IDA)
    for name, field in (("P-1", "rack=R-9"), ("N-1/A", "mark_from_tail_mm=801")):
        said = command("correct", name, field, "--why", "misread", "--by", IDA, "--json").json
        assert "entry" in said, said
    assert command("hold", "P-1", "--why", "scratched").returncode == 0
    assert "hold" in command("ski", "N-1").stdout.splitlines()[1]
    assert command("quarantine", "p-1", "--why", "fall").returncode == 0
    assert "quarantine" in command("ski", "N-1").stdout.splitlines()[1]


def test_its_repairs_count_at_the_season_s_end_under_the_new_tag(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="scratched")
    for _ in range(2):
        shop.enter("repair done", {"tag": "P-1", "glued_with": []}, by=JORY)
    _rename(shop, "P-1", "N-1")
    shop.enter("repair done", {"tag": "N-1", "glued_with": []}, by=JORY)
    state = shop.ledger.connection
    (row,) = [each for each in pair_seasons(state, read_fleet(state), today=shop.today) if each.tag == "N-1"]
    assert row.repairs == 3
