"""Pairs ready at that length for this boot: what is listed goes out at the door, and nothing else does."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.counter.command import Command
from tests.counter.shop import NELL


def found(command: Command, *args: str) -> dict[str, list[str]]:
    """Tags by what may be done now."""
    rows: list[dict[str, Any]] = command("find", *args, "--json").json["pairs"]
    return {
        word: [row["tag"] for row in rows if row["now"] == word]
        for word in ("goes", "set it first", "not now")
    }


@pytest.fixture
def day(command: Command) -> Command:
    """P-1 170, P-2 172, P-3 175, P-4 176 and T-1 170 (telemark), all ready and set for 305 mm; then P-2 is
    out, P-3 came back, P-4 is held.
    """
    command("out", "P-2", "P-3")
    command("back", "P-3")
    command("hold", "P-4", "--why", "edge scratched", "--by", NELL)
    return command


def test_what_it_lists_as_ready_goes_out_and_the_rest_is_refused_at_the_door(day: Command) -> None:
    listed = found(day, "--boot", "B-305")
    assert "P-1" in listed["goes"]
    assert sorted(tag for tags in listed.values() for tag in tags) == ["P-1", "P-2", "P-3", "P-4", "T-1"]
    for word, tags in listed.items():
        for tag in tags:
            answer = day("out", tag, "--boot", "B-305", "--json")
            assert (answer.returncode == 0) is (word == "goes"), tag
            if answer.returncode == 0:
                day("undo", tag)


def test_what_would_need_a_setting_is_said_and_goes_out_once_it_is_set(day: Command) -> None:
    """310 mm lies within the heel's travel of a binding mounted for 305 mm; it is set for sole 305 mm."""
    assert found(day, "--boot", "B-310", "--ready")["set it first"][0] == "P-1"
    assert day("out", "P-1", "--boot", "B-310").returncode == 1
    said = day("find", "--boot", "B-310", "--ready").stdout
    assert "set the binding first, boot in, then hand out with --set" in said
    assert "  mountbook out P-1 --boot B-310 --set --by NAME\n" in said
    assert day("out", "P-1", "--boot", "B-310", "--set", "--by", NELL).returncode == 0


@pytest.mark.parametrize(
    ("length", "near"),
    [
        ("170", ["P-1", "T-1", "P-2", "P-3"]),
        ("165", ["P-1", "T-1"]),
        ("164.9", []),
        ("175", ["P-3", "P-4", "P-2"]),
    ],
)
def test_a_length_is_met_within_the_shops_rule_the_nearest_first(
    command: Command, length: str, near: list[str]
) -> None:
    """instead_length_mm is 50: 170 cm is near to 165, and 170 is not near to 164.9."""
    assert found(command, "--length", length)["goes"][: len(near)] == near
    if not near:
        assert found(command, "--length", length)["goes"] == []


def test_a_kind_and_without_ready_the_reasons_stand_beside_each(day: Command) -> None:
    assert found(day, "--kind", "telemark") == {"goes": ["T-1"], "set it first": [], "not now": []}
    said = day("find", "--length", "175").stdout
    assert re.search(r"^P-4 +176 +alpine +R-1 +Invented ski +it is on hold: edge scratched$", said, re.M)
    assert re.search(r"^P-1 +170 +alpine +R-1 +Invented ski +305 mm$", said, re.M)
    assert "P-4" not in day("find", "--length", "175", "--ready").stdout


def test_nothing_found_is_said_and_is_no_fault(day: Command) -> None:
    said = day("find", "--length", "120", "--ready")
    assert (said.returncode, said.stdout) == (0, "no pair within 5 cm of 120 cm goes out now\n")


def test_what_cannot_be_asked(day: Command) -> None:
    for wrong in (("--boot", "B-99"), ("--kind", "cheese"), ("--length", "1650"), ("--length", "long")):
        assert day("find", *wrong).returncode == 1
    day("out", "P-1", "--boot", "B-305")
    taken = day("find", "--boot", "B-305", "--json")
    assert (taken.returncode, taken.json["refused"]) == (1, "boot B-305 is out with P-1")
