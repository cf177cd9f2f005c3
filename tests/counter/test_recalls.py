"""Which bindings a recall reaches, piece by piece."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.counter import keep_longer
from fleet.equipment import Binding
from fleet.errors import MountbookError
from fleet.recall_desk import close_recall, open_recall, reached
from fleet.recalls import Reach, Recall, serial_key
from tests.counter.shop import IDA, NELL, Shop


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


def test_an_unknown_season_is_unknown_not_out_of_range() -> None:
    assert recall(season="2025").reaches(binding("1", "1", season="")) is UNKNOWN


def test_serials_sort_by_their_numbers() -> None:
    assert sorted(["TX-1200", "TX-99", "TX-0450"], key=serial_key) == ["TX-99", "TX-0450", "TX-1200"]


def test_those_out_come_first_by_their_due_day(shop: Shop) -> None:
    shop.out("P-3", "P-2")
    with shop.desk(NELL) as desk:
        keep_longer(desk, "P-2", until=shop.today + timedelta(days=2))
    with shop.desk(IDA) as desk:
        rows = open_recall(desk, recall(pattern="Lark 4"))
    assert [(r.pair, r.place) for r in rows[:4]] == [("P-2", "out")] * 2 + [("P-3", "out")] * 2
    assert rows[0].due == (shop.today + timedelta(days=2)).isoformat()
    assert len(rows) == 10
    with shop.desk(IDA) as desk:
        close_recall(desk, "R-7", how="all read, none in range")
    assert reached(shop.ledger.connection) == []


@pytest.mark.parametrize(
    ("by", "fields"),
    [
        (NELL, {"pattern": "Lark 4"}),
        (IDA, {}),
        (IDA, {"pattern": "Lark 4", "source": " "}),
        (IDA, {"piece": "ski"}),
    ],
)
def test_a_recall_is_opened_by_a_listed_person_with_a_source_and_a_reach(
    shop: Shop, by: str, fields: dict[str, str]
) -> None:
    with pytest.raises(MountbookError), shop.desk(by) as desk:
        open_recall(desk, recall(**fields))
