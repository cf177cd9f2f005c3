"""Which bindings a recall reaches, piece by piece."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from fleet.base.errors import BadInput, MountbookError
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding
from fleet.facts.recalls import Reach, Recall, read_recalls, serial_key
from fleet.ledger.ledger import Ledger
from fleet.rules.counter import keep_longer
from fleet.rules.recall_desk import close_recall, open_recall, reached
from tests.counter.command import Command
from tests.counter.shop import IDA, NELL, Shop, binding_body


def recall(**fields: str) -> Recall:
    empty = dict.fromkeys(("pattern", "piece", "serial_from", "serial_to", "season"), "")
    return Recall(**(empty | {"recall": "R-7", "source": "invented notice"} | fields))


def binding(toe: str, heel: str, *, season: str = "2025", pattern: str = "Lark 4") -> Binding:
    return Binding(
        binding_id="X",
        model="Lark 4 binding",
        pattern=pattern,
        brake_um=None,
        season=season,
        serial_toe=toe,
        serial_heel=heel,
    )


IN, UNKNOWN, NOT = Reach.IN_RANGE, Reach.UNKNOWN, Reach.NOT
RANGE = {"serial_from": "TX-0450", "serial_to": "TX-1200"}


@pytest.mark.parametrize(
    ("fields", "toe", "heel", "reach"),
    [
        (RANGE, "TX-0450", "TX-1", IN),
        (RANGE, "TX-1200", "TX-1", IN),
        (RANGE, "TX-99", "TX-1201", NOT),
        (RANGE, "tx 500", "TX-1", IN),
        (RANGE, "", "TX-1", UNKNOWN),
        (RANGE, "", "TX-500", IN),
        (RANGE, "QQ-44-9", "TX-1", UNKNOWN),
        ({"serial_from": "TX-0450"}, "TX-450", "TX-1", IN),
        ({"serial_from": "TX-0450"}, "TX-451", "TX-449", NOT),
        (RANGE | {"piece": "toe"}, "TX-500", "TX-1", IN),
        (RANGE | {"piece": "toe"}, "TX-1", "TX-500", NOT),
        (RANGE | {"piece": "toe"}, "", "TX-500", UNKNOWN),
        (RANGE | {"piece": "heel"}, "TX-500", "TX-1", NOT),
        (RANGE | {"piece": "heel"}, "", "TX-1", NOT),
        (RANGE | {"piece": "heel"}, "TX-1", "", UNKNOWN),
        ({"pattern": "Other 4"}, "TX-500", "TX-500", NOT),
        ({"pattern": "Lark 4"}, "", "", IN),
        ({"season": "2024"}, "", "", NOT),
        ({"season": "2025"}, "", "", IN),
        ({"serial_from": "24W10", "serial_to": "24W30"}, "24W12", "25W12", IN),
    ],
)
def test_what_a_recall_reaches(fields: dict[str, str], toe: str, heel: str, reach: Reach) -> None:
    assert recall(**fields).reaches(binding(toe, heel)) is reach


@pytest.mark.parametrize(
    ("fields", "toe", "heel", "reach"),
    [
        ({"pattern": "Lark 4"}, "", "", UNKNOWN),
        ({"pattern": "Lark 4", "season": "2025"}, "", "", UNKNOWN),
        (RANGE | {"pattern": "Lark 4"}, "TX-500", "TX-1", UNKNOWN),
        (RANGE | {"pattern": "Lark 4"}, "", "TX-1", UNKNOWN),
        (RANGE | {"pattern": "Lark 4"}, "TX-1", "TX-2", NOT),  # whatever it is, its serials are out of range
        ({"pattern": "Lark 4", "season": "2024"}, "", "", NOT),
        (RANGE, "TX-500", "TX-1", IN),
    ],
)
def test_a_binding_of_no_known_pattern_may_be_the_one_that_is_recalled(
    fields: dict[str, str], toe: str, heel: str, reach: Reach
) -> None:
    assert recall(**fields).reaches(binding(toe, heel, pattern="")) is reach


def test_a_pair_whose_bindings_have_no_known_pattern_stays_in_under_a_recall_by_pattern(shop: Shop) -> None:
    """An import takes in a binding whose pattern the shop has not recorded."""
    for side in ("A", "B"):
        off = {"pattern": ["Lark 4", ""]}
        shop.enter("binding changed", {"binding_id": f"P-2/{side}", "changes": off})
    shop.look("P-2")
    with shop.desk(IDA) as desk:
        open_recall(desk, recall(pattern="Other 4"))
    with pytest.raises(MountbookError, match=r"may reach the binding of ski A, B: take off and read"):
        shop.out("P-2")
    shop.out("P-1")


def test_an_unknown_season_is_unknown_not_out_of_range() -> None:
    assert recall(season="2025").reaches(binding("1", "1", season="")) is UNKNOWN


def test_serials_sort_by_their_numbers() -> None:
    assert sorted(["TX-1200", "TX-99", "TX-0450"], key=serial_key) == ["TX-99", "TX-0450", "TX-1200"]


def test_a_recall_is_read_as_it_was_opened_and_closed(shop: Shop) -> None:
    connection = shop.ledger.connection
    opened = recall(pattern="Lark 4", piece="heel", season="2025", serial_from="500", serial_to="2000")
    with shop.desk(IDA) as desk:
        open_recall(desk, opened)
    by_entry = replace(opened, opened_entry=shop.ledger.head.seq)
    assert read_recalls(connection) == (by_entry,)
    with shop.desk(IDA) as desk:
        close_recall(desk, "R-7", how="all read, none in range")
    assert read_recalls(connection) == ()
    assert read_recalls(connection, closed=True) == (replace(by_entry, closed_entry=shop.ledger.head.seq),)


def test_those_out_come_first_by_their_due_day_then_the_stock_then_the_rest(shop: Shop) -> None:
    shop.enter("binding recorded", binding_body("Z-1"))
    shop.out("P-3", "P-2")
    with shop.desk(NELL) as desk:
        keep_longer(desk, "P-2", until=shop.today + timedelta(days=2))
    with shop.desk(IDA) as desk:
        rows = open_recall(desk, recall(pattern="Lark 4"))
    assert [(r.binding.on_pair, r.binding.on_ski, r.place) for r in rows] == [
        *(("P-2", side, "out") for side in Side),
        *(("P-3", side, "out") for side in Side),
        (None, None, "in stock"),
        *((tag, side, "ready") for tag in ("P-1", "P-4", "T-1") for side in Side),
    ]
    assert [r.due for r in rows] == [(shop.today + timedelta(days=2)).isoformat()] * 2 + [None] * 9
    with shop.desk(IDA) as desk:
        assert {r.recall for r in open_recall(desk, recall(recall="R-8", season="2025"))} == {"R-8"}
    with shop.desk(IDA) as desk:
        close_recall(desk, "R-7", how="all read, none in range")
    assert {r.recall for r in reached(shop.ledger.connection)} == {"R-8"}


_SOURCE = ("a recall needs a name and its source", 'add --source "maker\'s notice, date"')


@pytest.mark.parametrize(
    ("by", "fields", "said"),
    [
        (
            NELL,
            {"pattern": "Lark 4"},
            ("Nell Abres is counter staff and cannot open a recall", "a technician signs"),
        ),
        (IDA, {}, ("a recall of everything is no recall", "name a pattern, a season or serials")),
        (IDA, {"pattern": "Lark 4", "source": " "}, _SOURCE),
        (IDA, {"pattern": "Lark 4", "recall": " "}, _SOURCE),
        (
            IDA,
            {"pattern": "Lark 4", "piece": "ski"},
            ("'ski' is no piece", "toe or heel; leave it out for both"),
        ),
    ],
)
def test_a_recall_is_opened_by_a_listed_person_with_a_source_and_a_reach(
    shop: Shop, by: str, fields: dict[str, str], said: tuple[str, str]
) -> None:
    before = shop.dump()
    with pytest.raises(MountbookError) as refused, shop.desk(by) as desk:
        open_recall(desk, recall(**fields))
    assert (refused.value.sentence, refused.value.cure) == said
    assert shop.dump() == before


def test_a_recall_is_closed_by_a_listed_person_who_says_how_it_ended(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        open_recall(desk, recall(pattern="Lark 4"))
    for by, how, words in (
        (NELL, "all read", "Nell Abres is counter staff and cannot close a recall"),
        (IDA, " ", "how the recall ended needs to be named"),
    ):
        with pytest.raises(MountbookError, match=words), shop.desk(by) as desk:
            close_recall(desk, "R-7", how=how)
    assert len(reached(shop.ledger.connection)) == 10


@pytest.mark.parametrize(
    ("typed", "refused", "cure"),
    [
        (["--pattern", "Lark4"], "no binding of pattern 'Lark4'", "did you mean 'Lark 4'?"),
        (
            ["--pattern", "Quite other"],
            "no binding of pattern 'Quite other'",
            "Lark 4, Other 4; or leave out --pattern",
        ),
        (
            ["--pattern", "Other 4", "--season", "2025"],
            "no binding of season '2025'",
            "seasons here: none is on record; or leave out --season: that reaches more",
        ),
        (["--season", "2205"], "no binding of season '2205'", "did you mean '2025'?"),
        (["--pattern", "Lark 4", "--piece", "toes"], "'toes' is no piece", "toe or heel"),
        (["--from", "TX-0450", "--to", "TX-1200"], "has a serial like TX-0450", "they look like 1000"),
        (["--from", "1150²", "--to", "1999"], "have not one form", "read both ends again"),
        (["--from", "2000", "--to", "1000"], "comes after 1000", "the other way round"),
        (["--pattern", "Lark 4", "--to", "1000"], "has no first serial", "add --from"),
    ],
)
def test_a_recall_that_names_what_no_binding_has_is_refused_with_what_was_meant(
    command: Command, typed: list[str], refused: str, cure: str
) -> None:
    answer = command("recall", "open", "R-7", *typed, "--source", "notice", "--by", IDA, "--json")
    assert answer.returncode == 1
    assert refused in answer.json["refused"]
    assert cure in answer.json["cure"]
    assert command("recall", "list").stdout == "no open recall reaches anything here\n"


def test_the_cures_of_a_wrong_range_are_said_in_full(shop: Shop) -> None:
    """No more than three serials are shown of many."""
    for number, serial in enumerate(("1000", "1001", "1002", "1003")):
        shop.enter("binding recorded", binding_body(f"S{number}", serial=serial))
    for low, high, cure in (
        ("2000", "1000", "write them the other way round"),
        (
            "TX-0450",
            "TX-1200",
            "they look like 1000, 1001, 1002; or leave out --from and --to: that reaches more",
        ),
    ):
        with pytest.raises(BadInput) as refused, shop.desk(IDA) as desk:
            open_recall(desk, recall(serial_from=low, serial_to=high))
        assert refused.value.cure == cure


@pytest.mark.parametrize("serial", ["1150²", "１１５０", "²", "9" * 6000])
def test_a_serial_of_odd_digits_stops_neither_the_door_nor_the_recall(
    command: Command, shop: Shop, serial: str
) -> None:
    """Full-width digits are digits; a raised two is not, so that serial is taken off and read."""
    with Ledger.open(command.ledger) as ledger:
        Shop(ledger, now=shop.now).enter("binding recorded", binding_body("odd", serial=serial))
    opened = command("recall", "open", "R-7", "--from", "1100", "--to", "1999", "--source", "n", "--by", IDA)
    assert opened.returncode == 0
    found = {row["binding"]: row["reach"] for row in command("recall", "list", "--json").json["reached"]}
    assert found == {"odd": "in range" if serial == "１１５０" else "serial unknown"}
    assert command("out", "P-1").returncode == 0
