"""A pair as the shop knew it on a day, and everything ever entered about it."""

from __future__ import annotations

import json
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fleet.base.days import typed_day
from fleet.base.errors import BadInput, Refused
from fleet.facts.holes import Side
from fleet.ledger.corrections import withdraw
from fleet.ledger.history import entries_about_boot, pair_history, state_at
from fleet.ledger.ledger import Ledger
from fleet.rules.boots import hold_boot
from planner.cli.main import app
from planner.paper.ski_view.ski_words import pair_json, pair_lines
from tests.counter.shop import IDA, MORNING, Shop
from tests.ledger.busy import SAID

DAY_ONE = date(2026, 12, 27)


def _lines(shop: Shop, tag: str, as_of: date | None = None) -> list[str]:
    return list(pair_lines(pair_history(shop.ledger, tag, as_of=as_of)))


def test_a_pair_tells_its_marks_holes_areas_mount_bindings_and_entries(shop: Shop) -> None:
    lines = _lines(shop, "P-1")
    text = "\n".join(lines)
    assert lines[0] == "P-1  Invented ski · alpine · 170 cm · waist 90 mm · no metal · rack R-1"
    assert lines[1].endswith(": out")
    for words in (
        "ski A  mark 800.0 mm from the tail; mounting zone 300.0 mm toward TAIL to 300.0 mm toward TIP",
        "  inspected bare from 300.0 mm toward TAIL to 300.0 mm toward TIP, Tue 1 Dec 2026, Ida Fennweg",
        "  A1    142.5 mm toward TIP  18.0 mm right  3.6 x 9.0 mm  screwed  measured here",
        "  Lark 4 for a sole of 305.0 mm, boot centre on the mark, from Thu 1 Oct 2026, still on, drilled",
        "  ski A: Lark 4 binding, brake 95 mm, serial toe 1000, heel 1000",
        "Makers' instructions, local rules and a qualified technician come first.",
    ):
        assert words in text
    told = lines[lines.index("history") + 1 : -2]
    kinds = [
        line.split(":")[1].split("  ")[-1] if line.count(":") > 1 else line.split("  ")[-1] for line in told
    ]
    assert kinds == [
        "pair recorded",
        "mount recorded",
        "binding recorded",
        "binding recorded",
        "binding set",
        "holes recorded",
        "area inspected",
        "area inspected",
        "pair looked at",
        "binding set",
        "pair out",
    ]


def test_what_a_person_said_stands_beside_its_entry_in_one_line(shop: Shop) -> None:
    assert f"          “{SAID}”" in _lines(shop, "P-2")
    shop.out("P-2")
    shop.back("P-2", said="line one\nP-1  forged line\r\nlast\x1b[2J")
    (line,) = [line for line in _lines(shop, "P-2") if "forged" in line]
    assert "⏎ P-1  forged line ⏎" in line


def test_as_of_a_day_is_what_the_shop_knew_then_whatever_came_later(shop: Shop) -> None:
    then = _lines(shop, "P-1", DAY_ONE)[2:]
    now_before = _lines(shop, "P-1")[2:]
    assert then == now_before
    shop.now = MORNING + timedelta(days=1)
    shop.enter("hole changed", {"hole_id": "P-1/A1", "changes": {"state": ["screwed", "plugged"]}}, by=IDA)
    shop.back("P-1", at=MORNING + timedelta(hours=9))
    assert [line for line in _lines(shop, "P-1") if "plugged" in line]
    lines = _lines(shop, "P-1", DAY_ONE)
    assert lines[1].startswith("as the shop knew it at the end of Sun 27 Dec 2026, entry ")
    assert lines[1].endswith(": out")
    assert not [line for line in lines if "plugged" in line]
    after = lines.index("entered after that day, about a time before its end")
    assert "pair back" in lines[after + 1]
    assert "entered later: written Mon 28 Dec 2026" in lines[after + 2]


def test_the_day_ends_by_the_shops_calendar_not_by_utc(shop: Shop) -> None:
    """23:30 UTC on the 27th is half past midnight of the 28th in Vienna."""
    shop.now = datetime(2026, 12, 27, 23, 30, tzinfo=UTC)
    shop.enter("hole changed", {"hole_id": "P-1/A1", "changes": {"state": ["screwed", "open"]}}, by=IDA)
    hole = pair_history(shop.ledger, "P-1", as_of=DAY_ONE).pair.skis[Side.A].holes[0]
    assert hole.state == "screwed"


@pytest.mark.parametrize("seq", [1, 10, 30, None])
def test_the_state_rebuilt_at_an_entry_is_the_state_a_copy_stopped_there_has(
    shop: Shop, tmp_path: Path, seq: int | None
) -> None:
    ledger = shop.ledger
    entry_number = seq or ledger.head.seq
    with Ledger.create(tmp_path / "stopped.db", shop="x", zone="UTC", by="x", now=MORNING) as other:
        other.connection.close()
    from fleet.checks.derived import compare_state, empty_state
    from fleet.events import derive

    stopped = empty_state()
    for entry in ledger.entries(until=entry_number):
        derive(stopped, entry)
    with closing(state_at(ledger, entry_number)) as state:
        assert list(compare_state(state, stopped)) == []
    stopped.close()


def test_every_entry_that_touches_the_pair_is_told_and_none_that_only_looks_like_it(shop: Shop) -> None:
    shop.pair("P-11")  # its tag begins like P-1
    with shop.desk(IDA) as desk:
        seq = desk.enter("area inspected", _area("P-1"))
    with shop.desk(IDA) as desk:
        back = withdraw(desk.tx, seq, by=IDA, why="wrong pair", today=shop.today)
    with shop.desk(IDA) as desk:
        desk.enter("binding changed", {"binding_id": "P-1/A", "changes": {"season": ["2025", "2026"]}})
    told = [one.entry for one in pair_history(shop.ledger, "P-1").entries]
    assert {seq, back} < {entry.seq for entry in told}
    assert told[-1].what == "binding changed"
    assert not [entry for entry in told if entry.body.get("tag") == "P-11"]


def _area(tag: str) -> dict[str, object]:
    return {"tag": tag, "side": "A", "from_um": -1, "to_um": 1, "how": "bare", "on": "2026-12-02"}


def test_the_entries_of_a_boot_are_those_whose_bodies_name_it_and_no_other_body_is_read(shop: Shop) -> None:
    with shop.desk() as desk:
        hold_boot(desk, "B-305", why="a buckle")
    shop.out("P-2", boot="B-310", set_now=True)
    load = {"run": "N to S", "other": "S", "leaves": True, "sha256": "f" * 64, "pairs": [], "binding_ids": []}
    shop.enter("load sent", load | {"boots": ["B-305", "B-TOUR"]})
    connection = shop.ledger.connection
    for tag in ("B-305", "B-310", "B-335", "B-TOUR", "P-1"):
        named = [
            entry.seq
            for entry in shop.ledger.entries()
            if entry.body.get("boot") == tag
            or tag in entry.body.get("boots", ())
            or (entry.what[:5] == "boot " and entry.body["tag"] == tag)
        ]
        assert [one.entry.seq for one in entries_about_boot(connection, tag)] == named
        assert bool(named) is tag.startswith("B")
    sent: list[str] = []
    connection.set_trace_callback(sent.append)
    list(entries_about_boot(connection, "B-305"))
    connection.set_trace_callback(None)
    plans = [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {sent[0]}")]
    assert not any(plan.startswith("SCAN entries") for plan in plans), plans


def test_a_pair_that_is_not_there_is_refused_with_the_nearest_tag(shop: Shop) -> None:
    with pytest.raises(Refused, match="no pair P-9") as refused:
        pair_history(shop.ledger, "P-9")
    assert "did you mean P-" in refused.value.cure
    with pytest.raises(Refused, match="not open yet"):
        pair_history(shop.ledger, "P-1", as_of=date(2020, 1, 1))
    with pytest.raises(BadInput, match="is not a day"):
        typed_day("yesterday")


def test_the_json_holds_exact_millimetres_and_the_whole_history(shop: Shop) -> None:
    answer = json.loads(json.dumps(pair_json(pair_history(shop.ledger, "P-1"))))
    assert answer["skis"]["A"]["holes"][0] == {
        "hole_id": "P-1/A2",
        "x_mm": 142.5,
        "y_mm": -18.0,
        "diameter_mm": 3.6,
        "depth_mm": 9.0,
        "state": "screwed",
        "knowledge": "measured here",
        "entry": answer["skis"]["A"]["holes"][1]["entry"],
    }
    assert answer["history"][0]["what"] == "pair recorded"


def test_the_command_prints_it(path: Path) -> None:
    result = CliRunner().invoke(app, ["--ledger", str(path), "ski", "P-1", "--as-of", "2026-12-27"])
    assert result.exit_code == 0
    assert "as the shop knew it at the end of Sun 27 Dec 2026" in result.stdout
