"""Boots are held, moved, counted and shown by the words of pairs; what bars one is said at the door.

Our own rules (no source). Driven through the command line.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tests.counter.command import Command
from tests.counter.shop import IDA, NELL, SANNE, WIM

BARRED = [
    ("hold", ("hold", "B-305", "--why", "buckle torn", "--by", NELL), "(hold: buckle torn)"),
    ("retired", ("move", "B-305", "--to", "retired", "--why", "sole worn", "--by", SANNE), "(retired)"),
    ("sold", ("move", "B-305", "--to", "sold", "--by", WIM), "(sold)"),
    ("missing", ("move", "B-305", "--to", "missing", "--by", NELL), "(missing)"),
    ("in transit", ("move", "B-305", "--to", "in-transit", "--by", NELL), "(in transit)"),
]


@pytest.mark.parametrize(("place", "done", "said"), BARRED, ids=[b[0] for b in BARRED])
def test_a_barred_boot_does_not_go_out_and_the_door_says_why(
    command: Command, place: str, done: tuple[str, ...], said: str
) -> None:
    """The pair itself goes with another boot of that sole."""
    answer = command(*done, "--json").json["done"][0]
    assert (answer["tag"], answer["place"]) == ("B-305", place)
    refused = command("out", "P-1", "--boot", "B-305", "--json")
    assert refused.returncode == 1
    assert f"boot B-305 is barred {said}" in refused.json["refused"]
    assert f": {place}" in command("boot", "B-305").stdout.splitlines()[1]


def test_who_may_hold_clear_retire_and_sell_a_boot(command: Command) -> None:
    """As for pairs: anybody holds, a technician clears and retires, a manager sells; held is not sold."""
    assert command("hold", "B-305", "--by", NELL, "--why", " ").returncode == 1
    assert command("hold", "B-305", "--by", NELL, "--why", "buckle").returncode == 0
    assert command("clear", "B-305", "--by", NELL).returncode == 1
    assert command("move", "B-305", "--to", "sold", "--by", WIM).returncode == 1
    assert command("clear", "B-305", "--by", SANNE).returncode == 0
    assert command("clear", "B-305", "--by", SANNE).returncode == 1
    assert command("move", "B-305", "--to", "sold", "--by", SANNE).returncode == 1
    assert command("move", "B-305", "--to", "retired", "--why", "sole worn", "--by", NELL).returncode == 1
    assert command("move", "B-305", "--to", "retired", "--why", "-", "--by", SANNE).returncode == 1
    assert command("out", "P-1", "--boot", "B-305").returncode == 0


@pytest.mark.parametrize("thing", ["B-305", "P-1"])
def test_a_pair_and_a_boot_are_retired_with_the_reason(command: Command, thing: str) -> None:
    """Both for good: the list of what was thrown away says why, for each."""
    for reason in ([], ["--why", " "], ["--why", "-"]):
        assert command("move", thing, "--to", "retired", *reason, "--by", SANNE).returncode == 1
    assert command("move", thing, "--to", "retired", "--why", "sole worn", "--by", SANNE).returncode == 0


def test_a_boot_is_out_with_its_pair_and_comes_back_with_it_or_alone(command: Command) -> None:
    """A hold laid while it is out waits for its return."""
    assert command("out", "P-1", "--boot", "B-305").returncode == 0
    assert command("boot", "B-305", "--json").json["place"] == "out"
    refused = command("out", "P-2", "--boot", "B-305", "--json").json["refused"]
    assert refused == "boot B-305 is out with P-1"
    assert command("hold", "B-305", "--why", "liner torn").returncode == 0
    assert command("boot", "B-305", "--json").json["place"] == "out"
    back = command("back", "B-305", "--said", "liner", "--json").json["done"][0]
    assert (back["place"], back["words"]) == ("hold", "HOLD: liner torn")
    assert command("ski", "P-1", "--json").json["place"] == "out"
    command("clear", "B-305", "--by", IDA)
    assert command("back", "P-1").returncode == 0
    assert command("boot", "B-305", "--json").json["place"] == "ready"


def test_a_pairs_return_brings_its_boot(command: Command) -> None:
    """And the next hire has it out again."""
    command("out", "P-1", "--boot", "B-305")
    command("back", "P-1")
    assert command("boot", "B-305", "--json").json["place"] == "ready"
    command("out", "P-2", "--boot", "B-305")
    assert command("boot", "B-305", "--json").json["place"] == "out"


def test_a_boot_with_the_tag_of_a_pair_is_named_as_one(command: Command) -> None:
    """A bare tag means the pair, so that no stop of a ski is lost on a boot."""
    from fleet.ledger.ledger import Ledger
    from tests.counter.shop import Shop

    with Ledger.open(command.ledger) as ledger:
        Shop(ledger, now=command._now).boot("P-1", 305, "alpine A")
    assert command("hold", "P-1", "--why", "toe", "--json").json["done"][0]["place"] == "hold"
    assert command("ski", "P-1", "--json").json["place"] == "hold"
    assert command("boot", "P-1", "--json").json["place"] == "ready"
    assert command("hold", "boot:P-1", "--why", "buckle", "--json").json["done"][0]["place"] == "hold"
    assert command("boot", "P-1", "--json").json["held"]["why"] == "buckle"


def test_kinds_at_the_door(command: Command) -> None:
    """Stated kinds that differ are refused, unless the shop's rule says so; not stated goes as before."""
    assert command("kind", "Invented boot", "touring", "--by", NELL).returncode == 1
    assert command("kind", "Invented boat", "touring", "--by", IDA).returncode == 1
    assert command("kind", "Invented boot", "hiking", "--by", IDA).returncode == 1
    assert command("kind", "Invented boot", "touring", "--yes", "--by", IDA).returncode == 0
    said = command("out", "P-1", "--boot", "B-305", "--json").json["refused"]
    assert "the pair is alpine and the boot touring: kinds meet only by the shop's rule" in said
    rule = (
        "policy",
        "set",
        "kinds_may_meet",
        "alpine+touring",
        "--origin",
        "head technician",
        "--yes",
        "--by",
        WIM,
    )
    assert command(*rule).returncode == 0
    assert command("out", "P-1", "--boot", "B-305").returncode == 0
    assert command("back", "P-1").returncode == 0
    assert command("kind", "Lark 4 binding", "junior", "--bindings", "--yes", "--by", IDA).returncode == 0
    said = command("out", "P-2", "--boot", "B-305", "--json").json["refused"]
    assert "the pair is alpine and the binding junior" in said


def test_a_sole_measured_again_has_a_day_and_the_wear(command: Command) -> None:
    """Both stand on the boot, and its history shows who entered them."""
    first = command("boot", "B-305").stdout
    assert "sole 305 mm (printed, day not stated)" in first
    assert "season not stated · wear not stated" in first
    measured = ("sole", "B-305", "--bsl", "303.5", "--how", "caliper", "--wear", "worn", "--by", SANNE)
    assert command(*measured).returncode == 0
    lines = command("boot", "B-305").stdout
    assert "sole 303.5 mm (measured again: caliper, measured Sun 27 Dec 2026)" in lines
    assert "wear worn" in lines
    assert f"{SANNE}  boot changed" in lines
    assert "303.5" not in command("boot", "B-305", "--as-of", "2026-12-26", "--json").stdout


def test_boots_are_counted_where_any_was_scanned(command: Command, tmp_path: Path) -> None:
    """A shop that counts its skis alone misses no boots; stock is counted by the sorts that are named."""
    file = tmp_path / "count.txt"
    pairs = ["P-1", "P-2", "P-3", "P-4", "T-1"]
    file.write_text("\n".join(pairs))
    assert command("stocktake", str(file)).returncode == 0
    file.write_text("\n".join([*pairs, "B-305", "B-310", "B-335", "B-TOUR"]))
    counted = command("stocktake", str(file), "--json")
    assert counted.returncode == 1
    assert counted.json["not_seen"] == ["B-NONE"]
    command("move", "B-NONE", "--to", "missing")
    assert command("stocktake", str(file)).returncode == 0
    command("stock", "in", "Lark 4", "--quantity", "3", "--brake", "95", "--why", "delivery", "--by", IDA)
    file.write_text("\n".join([*pairs, "2 x Lark 4 95", "1 x Lark 5"]))
    counted = command("stocktake", str(file), "--json").json
    assert counted["stock"] == [
        {"sort": "Lark 4 95", "counted": 2, "ledger": 3},
        {"sort": "Lark 5", "counted": 1, "ledger": 0},
    ]


def test_stock_comes_and_goes_by_signed_entries(command: Command) -> None:
    """At the limits: none, all, one more than all; a reason in words; a technician."""
    into = ("stock", "in", "Lark 4", "--brake", "95", "--season", "2026", "--why", "delivery 118", "--by")
    assert command(*into, NELL, "--quantity", "2").returncode == 1
    assert command(*into, SANNE, "--quantity", "0").returncode == 1
    assert command(*into, SANNE, "--quantity", "2", "--json").json["in_stock"] == 2
    sort = "Lark 4 95 2026"
    out = ("stock", "out", sort, "--by", SANNE, "--json")
    assert command(*out, "--quantity", "1", "--why", "lent out").returncode == 0
    assert command(*out, "--quantity", "1", "--why", "x").returncode == 1
    assert command(*out, "--quantity", "2", "--why", "heel cracked").returncode == 1
    assert command(*out, "--quantity", "1", "--why", "heel cracked").json["in_stock"] == 0
    assert command(*out, "--quantity", "1", "--why", "heel cracked").returncode == 1
    assert command(*into, SANNE, "--quantity", "1", "--json").json["in_stock"] == 1
    with sqlite3.connect(command.ledger) as file:
        ids = [name for (name,) in file.execute("SELECT binding_id FROM binding WHERE gone_entry = 0")]
    assert f"{sort} no. 3 A" in ids, "a number that left is not given again"
    assert command("audit").returncode == 0


def test_a_fit_is_taken_back(command: Command) -> None:
    """From then on the door refuses the boot; only a head technician or manager, with a reason."""
    back = ("fit", "take-back", "alpine A", "Lark 4", "--yes")
    assert command(*back, "--why", "withdrawn by the maker", "--by", SANNE).returncode == 1
    assert command(*back, "--by", IDA).returncode == 1
    assert "alpine A   Lark 4   L-1                    S-1\n" in command("fit", "list").stdout
    assert command(*back, "--why", "withdrawn by the maker", "--by", IDA).returncode == 0
    assert command(*back, "--why", "withdrawn by the maker", "--by", IDA).returncode == 1
    assert command("fit", "list").stdout == "no fit is declared\n"
    assert "not declared by both makers" in command("out", "P-1", "--boot", "B-305", "--json").json["refused"]
