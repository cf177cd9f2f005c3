"""Commands that take many tags: one refused pair never stops the others, and is named with its cure."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.plan.fault_isolation import one_by_one
from tests.counter.command import Command
from tests.counter.shop import IDA, NELL


def tags(rows: list[dict[str, object]]) -> list[object]:
    return [row["tag"] for row in rows]


def test_what_may_go_goes_and_what_may_not_is_listed_with_why_and_what_instead(command: Command) -> None:
    command("hold", "P-2", "--why", "edge scratched", "--by", NELL)
    said = command("out", "P-1", "P-2", "P-99", "T-1", "--due", "31.12.")
    assert said.returncode == 1
    assert said.stdout.splitlines() == [
        "P-1  out           fit not checked; due Thu 31 Dec 2026",
        "T-1  out           fit not checked; due Thu 31 Dec 2026",
        "REFUSED  P-2 cannot go out: it is on hold: edge scratched; a listed person lifts the hold: mountbook"
        " clear P-2 --by NAME  INSTEAD: P-3, P-4",
        "REFUSED  there is no pair P-99 in the ledger; check the tag",
        "2 of 4 refused, the others are entered",
    ]


def test_a_program_gets_both_lists_and_the_promised_refusal(command: Command) -> None:
    """FORMATS: a refusal is ``refused`` and ``instead``; what was done stands beside it."""
    command("hold", "P-2", "--why", "edge scratched", "--by", NELL)
    answer = command("out", "P-1", "P-2", "--json").json
    assert tags(answer["done"]) == ["P-1"]
    assert answer["refused"] == "P-2 cannot go out: it is on hold: edge scratched"
    assert [(row["name"], row["instead"]) for row in answer["not_done"]] == [("P-2", ["P-3", "P-4"])]
    all_well = command("out", "P-3", "P-4", "--json")
    assert (all_well.returncode, "refused" in all_well.json) == (0, False)


def test_pairs_come_back_from_a_file_of_scans_though_one_came_back_before(
    command: Command, tmp_path: Path
) -> None:
    command("out", "P-1", "P-2", "P-3")
    command("back", "P-2")
    scans = tmp_path / "scans.txt"
    scans.write_text("P-1\nP-2\np-3\nP-1\n\n", encoding="utf-8")
    said = command("back", "--file", str(scans))
    assert said.returncode == 1
    assert [line.split()[:2] for line in said.stdout.splitlines()] == [
        ["P-1", "back"],
        ["P-3", "back"],
        ["REFUSED", "P-2"],
        ["1", "of"],
    ]


@pytest.mark.parametrize("sign", [("recheck", "record"), ("prep", "sign")])
def test_one_signature_for_many_passes_those_that_may_be_passed(
    command: Command, sign: tuple[str, str]
) -> None:
    command("back", "P-1", "P-3")
    command("quarantine", "P-2", "--why", "fall reported")
    answer = command(*sign, "P-1", "P-2", "P-3", "--all", "not-moved", "--by", IDA, "--json")
    assert (answer.returncode, tags(answer.json["done"])) == (1, ["P-1", "P-3"])
    assert "P-2" in answer.json["refused"]
    assert command("out", "P-1", "P-3").returncode == 0
    assert command("out", "P-2").returncode == 1


def test_a_reason_that_is_nobodys_own_is_said_once(command: Command) -> None:
    before = command.ledger.read_bytes()
    for wrong in (
        ("recheck", "record", "P-1", "P-2", "--all", "not-moved", "--by", "Nobody Known"),
        ("out", "P-1", "P-2", "--due", "12/31"),
        ("back", "P-1", "P-2", "--at", "soon"),
    ):
        answer = command(*wrong, "--json")
        assert (answer.returncode, "not_done" in answer.json) == (1, False), wrong
    assert command.ledger.read_bytes() == before


def test_a_fault_of_the_program_with_one_thing_costs_that_thing() -> None:
    def halved(number: int) -> float:
        return 1 / number

    done, faults = one_by_one([1, 0, 2], halved, what="number", name=str)
    assert done == [1, 0.5]
    assert [fault.name for fault in faults] == ["0"]
    with pytest.raises(FileNotFoundError):  # what the disk refuses is nobody's own
        one_by_one([1], lambda _: Path("/nowhere/at/all").read_text(encoding="utf-8"), what="file", name=str)
