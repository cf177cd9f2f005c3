"""Every command of the counter on a real ledger: exit code, one JSON object, and what a person reads."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM


def test_staff_is_listed_and_added(command: Command) -> None:
    added = command(
        "staff", "add", "New Hand", "--role", "head-technician", "--until", "2027-05-31", "--json"
    )
    assert added.json == {"name": "New Hand", "role": "head technician", "valid_until": "2027-05-31"}
    assert "New Hand" in command("staff", "list").stdout
    assert command("staff", "add", "X", "--role", "king", "--until", "2027-05-31").returncode == 1
    assert command("staff", "add", "X", "--role", "counter", "--until", "soon").returncode == 1


def test_policy_is_shown_and_set_with_an_origin(command: Command) -> None:
    assert command("policy", "set", "spacing_mm", "12").returncode == 1
    answer = command("policy", "set", "spacing_mm", "12", "--origin", "our sawn skis", "--yes", "--json").json
    assert (answer["old"], answer["new"], answer["below_the_rule_now"]) == ("10", "12", [])
    [row] = [r for r in command("policy", "list", "--json").json["policy"] if r["name"] == "spacing_mm"]
    assert (row["value"], row["origin"], row["since"]) == ("12", "our sawn skis", "2026-12-27")
    assert command("policy", "check").stdout == "every mount on record keeps today's policy\n"
    for bad in (("spacing", "12"), ("spacing_mm", "ten"), ("spacing_mm", "inf")):
        assert command("policy", "set", *bad, "--origin", "x").returncode == 1


@pytest.mark.parametrize(
    "words",
    [
        ("withdraw", "ENTRY", "--why", "a slip"),
        ("remark", "ENTRY", "--why", "seen again"),
        ("redact", "ENTRY", "--why", "asked for"),
        ("confirm-hour", "ENTRY", "--by", IDA),
        ("plan", "--minutes", "ENTRY", "--out", "FOLDER"),
    ],
)
def test_a_number_scanned_off_something_else_is_wrong_usage(
    command: Command, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Of 400 digits it was a fault of the program."""
    typed = {"ENTRY": "9" * 400, "FOLDER": str(tmp_path / "plan")}
    assert command(*(typed.get(word, word) for word in words)).returncode == 2


def test_a_hold_from_tag_to_second_person(command: Command, tmp_path: Path) -> None:
    assert command("hold", "P-1", "--why", "toe wobbles", "--by", NELL).returncode == 0
    tag = tmp_path / "hold.pdf"
    assert command("hold-tag", "--out", str(tag)).returncode == 0
    assert tag.read_bytes().startswith(b"%PDF")
    assert command("repair", "begin", "P-1", "--by", JORY).returncode == 0
    assert command("repair", "done", "P-1", "--did", "screw reset", "--by", JORY).returncode == 0
    own = command("recheck", "record", "P-1", "--all", "not-moved", "--by", JORY, "--json")
    assert (own.returncode, own.json["instead"]) == (1, [])
    passed = command("recheck", "record", "P-1", "--all", "not-moved", "--by", SANNE, "--json").json
    assert passed["done"][0]["place"] == "ready"


def test_a_moved_screw_on_the_command_line_needs_a_second_person_and_words(command: Command) -> None:
    command("recheck", "record", "P-1", "--all", "not-moved", "--found", "B heel=spins", "--by", IDA)
    own = command("clear", "P-1", "--why", "it was nothing", "--by", IDA, "--json")
    assert (own.returncode, own.json["refused"]) == (
        1,
        "Ida Fennweg found the moved screw of P-1 and cannot clear it too",
    )
    assert command("clear", "P-1", "--by", SANNE).returncode == 1
    assert command("clear", "P-1", "--why", "...", "--by", SANNE).returncode == 1
    assert command("clear", "P-1", "--why", "the driver slipped", "--by", SANNE).returncode == 0
    assert command("recheck", "record", "P-1", "--all", "not-moved", "--by", SANNE).returncode == 1
    assert command("recheck", "record", "P-1", "--all", "not-moved", "--by", IDA).returncode == 0
    assert command("out", "P-1").returncode == 0


def test_an_evening_is_recorded_from_a_file_of_scanned_tags(command: Command, tmp_path: Path) -> None:
    scanned = tmp_path / "evening.txt"
    scanned.write_text("P-2\n\np-3\nP-2\n", encoding="utf-8")
    command("back", "P-1", "P-2", "P-3")
    answer = command(
        "recheck", "record", "P-1", "--file", str(scanned), "--all", "not-moved", "--by", IDA, "--json"
    )
    assert [row["tag"] for row in answer.json["done"]] == ["P-1", "P-2", "P-3"]
    assert command("recheck", "record", "--all", "not-moved", "--by", IDA).returncode == 1


def test_a_screw_that_could_not_be_reached_keeps_a_ready_pair_in(command: Command) -> None:
    """P-1 never came back, so no time of a return stands beside it."""
    looked = command(
        *("recheck", "record", "P-1", "--all", "not-moved", "--found", "B heel=cannot-reach"),
        *("--by", IDA, "--json"),
    )
    assert looked.json["done"][0]["place"] == "back"
    refused = command("out", "P-1", "--json")
    assert (refused.returncode, refused.json["instead"]) == (1, ["P-2", "P-3"])
    assert refused.json["refused"].startswith("P-1 cannot go out: a look could not reach ski B heel ")
    listed = command("recheck", "list").stdout
    assert re.search(r"^P-1 +R-1 +could not reach last time: ski B heel; set for sole 305 mm$", listed, re.M)
    assert command("recheck", "record", "P-1", "--all", "not-moved", "--by", IDA).returncode == 0
    assert command("out", "P-1").returncode == 0


def test_quarantine_and_case(command: Command, tmp_path: Path) -> None:
    assert command("quarantine", "P-2", "--why", "fall reported").returncode == 0
    assert command("clear", "P-2", "--why", "seen", "--by", IDA).returncode == 1
    folder = tmp_path / "case"
    answer = command("case", "P-2", "--out", str(folder), "--json").json
    assert len(answer["sha256"]) == 64
    assert {path.name for path in folder.iterdir()} == {
        "case.json",
        "case.pdf",
        "case.proof.json",
        "check_case.py",
    }
    assert command("clear", "P-2", "--why", "insurer saw it", "--by", WIM).returncode == 0


def test_the_sample_on_the_command_line(command: Command) -> None:
    assert command("sample", "status", "--json").json["due"] is False
    assert command("sample", "odds", "--lot", "640", "--bad", "13", "--size", "64").stdout.endswith(
        "with probability 0.25\n"
    )
    assert command("sample", "odds", "--lot", "10", "--bad", "13", "--size", "6").returncode == 1
    plan = command("sample", "standard", "--lot", "150", "--aql", "1.5", "--json").json
    assert (plan["letter"], plan["arrow"], plan["size"], plan["accept"]) == ("F", "down", 32, 1)
    drawn = command("sample", "draw", "--seed", "s", "--by", IDA, "--json").json
    assert drawn["kinds"] == ["alpine", "junior"]
    assert " of 8 (alpine and junior), seed s," in command("sample", "status").stdout
    units = drawn["from_returns"] + drawn["from_rack"]
    assert (
        len(units) == drawn["size"] == 8
    )  # four alpine pairs are eight skis; the telemark pair is none of the rule's
    for unit in units:
        entered = command("sample", "result", unit, "--found", "in-order", "--device", "bench 1", "--by", IDA)
        assert entered.returncode == 0
    assert command("sample", "close", "--by", IDA, "--json").json["outcome"] == "PASS"


def test_a_recall_on_the_command_line(command: Command) -> None:
    opened = command(
        *("recall", "open", "R-7", "--pattern", "Lark 4", "--from", "900", "--to", "1100"),
        *("--source", "notice of 2026-12-20", "--by", IDA, "--json"),
    )
    assert {row["reach"] for row in opened.json["reached"]} == {"in range"}
    assert command("out", "P-1").returncode == 1
    assert command("recall", "close", "R-7", "--how", "all replaced", "--by", IDA).returncode == 0
    assert command("recall", "list").stdout == "no open recall reaches anything here\n"


def test_what_loosens_as_text_drawing_and_workbook(command: Command, tmp_path: Path) -> None:
    import openpyxl

    command("recheck", "record", "P-1", "--all", "not-moved", "--found", "B heel=more", "--by", IDA)
    svg, xlsx = tmp_path / "curve.svg", tmp_path / "rates.xlsx"
    shown = command("loosens", "--svg", str(svg), "--xlsx", str(xlsx))
    assert re.match(r"pattern +moved +looks +rate % .*\nLark 4 +1 +6 ", shown.stdout)
    assert svg.read_text(encoding="utf-8").startswith("<svg")
    book = openpyxl.load_workbook(xlsx)
    assert book.sheetnames == ["rates", "curve"]
    assert [cell.value for cell in book["rates"][2]][:3] == ["Lark 4", 1, 6]
    assert command("loosens", "--group", "colour").returncode == 1


def test_the_shop_as_a_whole(command: Command, tmp_path: Path) -> None:
    count = tmp_path / "count.txt"
    count.write_text("P-1\nP-2\nP-3\nP-4\n", encoding="utf-8")
    counted = command("stocktake", str(count), "--json")
    assert (counted.returncode, counted.json["not_seen"]) == (1, ["T-1"])
    count.write_text("P-1\nP-2\nP-3\nP-4\nT-1\n", encoding="utf-8")
    assert command("stocktake", str(count)).returncode == 0
    assert command("singles", "lost", "P-3", "--ski", "B", "--by", IDA).returncode == 0
    assert command("singles", "lost", "P-4", "--ski", "A", "--by", IDA).returncode == 0
    assert command("singles", "match", "--json").json == {
        "pairs": [], "alone": ["P-3/A", "P-4/B"], "stopped": [],
    }  # fmt: skip
    rows = command("season-end", "--json").json["pairs"]
    assert {row["tag"] for row in rows} == {"P-1", "P-2", "T-1"}
    assert command("move", "P-1", "--to", "sold", "--by", WIM).stdout == (
        "P-1  sold          its hole map goes with it: mountbook hole-map\n"
    )
    drawn = tmp_path / "map.pdf"
    assert command("hole-map", "P-1", "--out", str(drawn)).returncode == 0
    assert drawn.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    "args",
    [
        ("move", "P-1", "--to", "the moon"),
        ("move", "P-1", "--to", "out"),
        ("later", "P-1", "--until", "2026-12-30"),
        ("later", "P-1", "--until", "soon"),
        ("undo",),
        ("undo", "P-1"),
        ("out", "P-1", "--due", "2026-12-01"),
        ("out", "P-1", "--at", "2027-12-01T10:00"),
        ("out", "P-1", "P-1"),
        ("counter", "--mode", "sideways"),
        ("recheck", "record", "P-1", "--all", "fine", "--by", IDA),
        ("recheck", "record", "P-1", "--all", "not-moved", "--list", "RC-1", "--by", IDA),
        ("recheck", "list", "--day", "today"),
        ("recheck", "print", "--out", "/nowhere/at/all.pdf"),
        (
            "release-test",
            "P-1",
            "--ski",
            "C",
            "--piece",
            "toe",
            "--device",
            "d",
            "--result",
            "r",
            "--by",
            IDA,
        ),
        ("sole", "B-305", "--bsl", "long", "--how", "x", "--by", IDA),
        ("stocktake", "/nowhere.txt"),
        ("order", "done", "WO-1"),
        ("order", "done", "WO-2612-0001"),
        ("order", "issue", "/nowhere"),
        ("case", "P-99"),
        ("hole-map", "P-99"),
        ("hold-tag",),
    ],
)
def test_nonsense_is_one_sentence_exit_code_1_and_leaves_the_file_as_it_was(
    command: Command, args: tuple[str, ...]
) -> None:
    before = command.ledger.read_bytes()
    answer = command(*args, "--json") if args[0] in ("out", "recheck", "order") else command(*args)
    assert answer.returncode == 1
    assert command.ledger.read_bytes() == before
