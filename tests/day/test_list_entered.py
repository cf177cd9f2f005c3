"""The evening in one line: all of a printed list was looked at and nothing moved, but these."""

from __future__ import annotations

import pytest

from fleet.base.errors import BadInput
from fleet.rules.looks import ListUsed, list_id_for
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE


def printed(command: Command, *more: str) -> str:
    return str(command("recheck", "list", *more, "--json").json["list"])


def place(command: Command, tag: str) -> str:
    return str(command("ski", tag, "--json").json["place"])


@pytest.fixture
def evening(command: Command) -> Command:
    """P-1, P-2, P-3 came back, then the list is printed."""
    command("out", "P-1", "P-2", "P-3", "P-4")
    command("back", "P-1", "P-2", "P-3")
    return command


def test_all_but_two_are_passed_by_one_signature(evening: Command) -> None:
    number = printed(evening)
    said = evening("recheck", "enter", number, "--but", "p-2", "--but", "P-3", "--by", IDA)
    assert said.returncode == 0
    assert said.stdout.splitlines() == [
        "P-1  ready         passed",
        "left out as said, still to be entered: P-2, P-3",
        '  mountbook recheck record TAG --found "B heel=WORD" --all not-moved --by NAME',
    ]
    assert [place(evening, tag) for tag in ("P-1", "P-2", "P-3", "P-4")] == ["ready", "back", "back", "out"]


def test_a_pair_that_came_back_after_the_list_was_printed_is_not_passed_by_it(evening: Command) -> None:
    number = printed(evening)
    evening("back", "P-4")
    said = evening("recheck", "enter", number, "--by", IDA, "--json")
    assert [row["tag"] for row in said.json["done"]] == ["P-1", "P-2", "P-3"]
    assert said.json["not_on_it"] == [{"tag": "P-4", "why": "came back after the list was printed"}]
    assert place(evening, "P-4") == "back"


def test_a_pair_that_came_back_once_more_was_not_seen_after_that(evening: Command) -> None:
    number = printed(evening)
    evening("recheck", "record", "P-1", "--all", "not-moved", "--by", IDA)
    evening("out", "P-1")
    evening("back", "P-1")
    evening("recheck", "enter", number, "--by", IDA)
    assert [place(evening, tag) for tag in ("P-1", "P-2", "P-3")] == ["back", "ready", "ready"]


def test_a_pair_whose_hold_was_lifted_since_did_not_stand_on_the_list(evening: Command) -> None:
    evening("hold", "P-2", "--why", "edge", "--by", NELL)
    number = printed(evening)
    evening("clear", "P-2", "--why", "a scratch", "--by", SANNE)
    said = evening("recheck", "enter", number, "--by", IDA, "--json").json
    assert [row["tag"] for row in said["done"]] == ["P-1", "P-3"]
    [left] = said["not_on_it"]
    assert left["tag"] == "P-2"
    assert left["why"].startswith("has an entry that is newer than the printed list (entry ")
    assert place(evening, "P-2") == "back"


@pytest.mark.parametrize("slip", ["P-4", "P-44", "T-1", "B-305"])
def test_an_exception_that_does_not_stand_on_the_list_stops_it_all(evening: Command, slip: str) -> None:
    """Whoever typed P-4 for P-2 would have passed P-2."""
    number = printed(evening)
    before = evening.ledger.read_bytes()
    refused = evening("recheck", "enter", number, "--but", slip, "--by", IDA, "--json")
    assert refused.returncode == 1
    assert refused.json["refused"] == f"{slip} does not stand on list {number}"
    assert refused.json["cure"] == "nothing was entered: check the tag on the paper"
    assert evening.ledger.read_bytes() == before


def test_an_exception_whose_fault_is_entered_already_is_known(evening: Command) -> None:
    number = printed(evening)
    evening("recheck", "record", "P-2", "--all", "not-moved", "--found", "A toe=turned", "--by", IDA)
    said = evening("recheck", "enter", number, "--but", "P-2", "--by", IDA)
    assert said.returncode == 0
    assert "still to be entered" not in said.stdout
    assert [place(evening, tag) for tag in ("P-1", "P-2", "P-3")] == ["ready", "hold", "ready"]


def test_a_supplement_passes_only_what_stands_on_it(evening: Command) -> None:
    """Its number says since which list, so that it never passes the pairs of the first paper."""
    first = printed(evening)
    evening("back", "P-4")
    late = printed(evening, "--since", first)
    assert (late.count("-"), late.split("-")[2]) == (3, first.split("-")[2])
    evening("recheck", "enter", late, "--by", IDA)
    assert [place(evening, tag) for tag in ("P-1", "P-4")] == ["back", "ready"]


def test_one_that_may_not_be_passed_by_this_signature_stops_no_other(evening: Command) -> None:
    evening("hold", "P-2", "--why", "heel", "--by", NELL)
    evening("repair", "begin", "P-2", "--by", JORY)
    evening("repair", "done", "P-2", "--did", "screw reset", "--by", JORY)
    number = printed(evening)
    listed = [row["tag"] for row in evening("recheck", "list", "--json").json["rows"]]
    said = evening("recheck", "enter", number, "--by", JORY, "--json")
    assert [row["tag"] for row in said.json["done"]] == [tag for tag in listed if tag != "P-2"]
    assert place(evening, "P-2") != "ready"


def test_the_number_of_another_ledger_and_of_no_list(evening: Command) -> None:
    for wrong in ("RC-20261227-9999", "RC-1", "K-031", "RC-20261227-50-40"):
        assert evening("recheck", "enter", wrong, "--by", IDA).returncode == 1
    assert evening("recheck", "enter", printed(evening), "--by", "Nobody Known").returncode == 1
    assert place(evening, "P-1") == "back"


def test_a_list_with_nothing_left_to_pass_is_said(evening: Command) -> None:
    number = printed(evening)
    evening("recheck", "enter", number, "--by", IDA)
    again = evening("recheck", "enter", number, "--by", IDA)
    assert (again.returncode, again.stdout) == (0, f"nothing on list {number} waits for a look any more\n")


@pytest.mark.parametrize(
    ("text", "entries"),
    [("RC-20261125-1284", (1284, 0)), ("rc-20261125-1284-1300 ", (1300, 1284))],
)
def test_a_number_reads_back(text: str, entries: tuple[int, int]) -> None:
    used = ListUsed.parse(text)
    assert (used.made_at_entry, used.since_entry) == entries
    assert list_id_for(used.day, used.made_at_entry, since=used.since_entry) == text.strip().upper()
    with pytest.raises(BadInput, match="not the number"):
        ListUsed.parse("RC-20261125-1300-1284-1")
