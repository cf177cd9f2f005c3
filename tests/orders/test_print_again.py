"""Sheets printed again: one, today's in the order of the bench, what was issued since; none that is past."""

from __future__ import annotations

import json
from pathlib import Path

import pymupdf
import pytest

from fleet.base.errors import MountbookError
from fleet.ledger.ledger import read_entries
from planner.bench.orders.book import find_order
from planner.bench.orders.close import done
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE
from tests.orders.bench_shop import BenchShop


def two_orders(shop: BenchShop) -> list[str]:
    shop.want("W-2")
    shop.boot("B-320", 320, "alpine A")
    shop.drilled_pair("K-2", bsl_mm=290)
    return [order.name for order in shop.issue().orders]


def titles(file: Path) -> list[str]:
    """The numbers on the pages, each once, in their order."""
    words = [page.get_text() for page in pymupdf.open(file)]
    numbers = [next(word for word in text.split() if word.startswith("WO-")) for text in words]
    return list(dict.fromkeys(numbers))


def test_all_one_and_those_since_an_entry(shop: BenchShop, command: Command, tmp_path: Path) -> None:
    first, second = two_orders(shop)
    out = tmp_path / "again.pdf"
    said = command("order", "print", "--out", str(out), "--json").json
    assert said == {"printed": [first, second], "moved_past": [], "file": str(out)}
    assert titles(out) == [first.split()[0], second.split()[0]]
    assert command("order", "print", second, "--out", str(out), "--json").json["printed"] == [second]
    entry = find_order(shop.ledger.connection, first).issued_entry
    later = command("order", "print", "--since", str(entry), "--out", str(out), "--json").json
    assert later["printed"] == [second]


def test_a_day_of_the_calendar_comes_in_the_order_of_the_bench(
    shop: BenchShop, command: Command, tmp_path: Path
) -> None:
    first, second = two_orders(shop)
    numbers = [name.split()[0] for name in (first, second)]
    visits = [
        {"order": numbers[0], "visit": 0, "start": "2026-12-29T10:00:00+01:00", "end": "x"},
        {"order": numbers[1], "visit": 0, "start": "2026-12-29T08:00:00+01:00", "end": "x"},
        {"order": numbers[1], "visit": 1, "start": "2026-12-30T08:00:00+01:00", "end": "x"},
    ]
    for row in visits:
        row["end"] = row["start"]
    (tmp_path / "bench.json").write_text(json.dumps({"visits": visits, "orders": [], "moved": []}))
    out = tmp_path / "day.pdf"
    by_bench = ("order", "print", "--bench", str(tmp_path), "--out", str(out), "--json")
    assert command(*by_bench).json["printed"] == [second, first]
    assert command(*by_bench, "--day", "2026-12-29").json["printed"] == [second, first]
    assert command(*by_bench, "--day", "2026-12-30").json["printed"] == [second]


def test_a_sheet_that_the_ledger_has_moved_past_is_said_and_not_printed_and_refused_when_typed_in(
    shop: BenchShop, command: Command, tmp_path: Path
) -> None:
    first, second = two_orders(shop)
    tag = find_order(shop.ledger.connection, first).tag
    hole = {"hole_id": f"{tag}/A90", "side": "A", "x_um": 200_000, "y_um": 0, "diameter_um": 3600}
    hole |= {"depth_um": 9000, "state": "plugged", "knowledge": "measured bare"}
    shop.enter("holes recorded", {"tag": tag, "holes": [hole]})
    out = tmp_path / "again.pdf"
    answer = command("order", "print", "--out", str(out))
    assert f"{first}: {tag} or its binding changed since; do not work by it, plan again" in answer.stdout
    assert titles(out) == [second.split()[0]]
    with pytest.raises(MountbookError, match="changed since"), shop.desk(JORY) as desk:
        done(desk, first, measured={}, glue="none")


def test_the_code_on_a_sheet_is_as_good_as_its_number(shop: BenchShop) -> None:
    shop.issue()
    for code in ("WO-2612-0001 A/K-1/A", "WO-2612-0001 A/K-1/AB", "wo-2612-0001 a/k-1/b"):
        assert find_order(shop.ledger.connection, code).name == "WO-2612-0001 A"
    with pytest.raises(MountbookError, match="is for K-1, and the code says K-7"):
        find_order(shop.ledger.connection, "WO-2612-0001 A/K-7/A")
    with pytest.raises(MountbookError, match="has no revision B"):
        find_order(shop.ledger.connection, "WO-2612-0001 B/K-1/A")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        (JORY, "did the work and cannot be who saw"),
        (NELL, "counter staff and cannot see the places"),
        ("Nobody Known", "is not on the staff list"),
    ],
)
def test_who_saw_the_places_is_another_person_of_the_list(shop: BenchShop, name: str, words: str) -> None:
    shop.issue()
    shop.first_visit()
    before = shop.dump()
    with pytest.raises(MountbookError, match=words), shop.desk(JORY) as desk:
        done(desk, "WO-2612-0001", measured={}, glue="none", seen_by=name)
    assert shop.dump() == before


def test_who_saw_the_places_stands_in_the_ledger(shop: BenchShop, command: Command) -> None:
    shop.issue()
    shop.first_visit(by=SANNE)
    late = ("order", "done", "WO-2612-0001", "--glue", "none", "--by", JORY)
    answer = command(*late, "--seen-by", IDA)
    assert "nobody is named" not in answer.stdout
    (entry,) = [each for each in read_entries(shop.ledger.connection) if each.what == "order done"]
    assert entry.body["seen_by"] == IDA


def test_nobody_named_is_said(shop: BenchShop, command: Command) -> None:
    shop.issue()
    shop.first_visit()
    answer = command("order", "done", "WO-2612-0001", "--glue", "none", "--by", JORY)
    assert "nobody is named who saw the places before the first hole" in answer.stdout
