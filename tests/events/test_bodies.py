"""The bodies of entries: whom they name, how a wrong one is told, and which classes are no kind."""

from __future__ import annotations

import sqlite3
from datetime import date
from typing import Any, ClassVar

import pytest

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import (
    LEFT_OUT,
    BindingChanges,
    BindingId,
    BootTag,
    EntryPart,
    Event,
    HoleId,
    Later,
    OfOnePair,
    PairTag,
    SkiTag,
    by_words,
    cannot_be_withdrawn,
    change_columns,
    delete_made,
    facts_of,
    insert,
    kinds,
    place_of,
    with_names,
)
from fleet.facts.standing import Place
from tests.counter.shop import IDA, Shop


class _Nothing(Event, frozen=True, kw_only=True):
    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        pass


class _Inside(EntryPart, frozen=True, kw_only=True):
    tag: PairTag
    how: str = ""


class _Named(_Nothing, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "all names at once"
    tag: PairTag | None = None
    ski: SkiTag = ""
    hole_id: HoleId = ""
    binding_id: BindingId | Later = LEFT_OUT
    boot: BootTag = ""
    on: BindingChanges = {}
    inside: _Inside | None = None
    many: tuple[_Inside, ...] = ()
    listed: list[PairTag] = []
    by_side: dict[str, PairTag | None] = {}
    pairs: tuple[tuple[PairTag, PairTag], ...] = ()
    plain: tuple[str, ...] = ()


NAMES: dict[str, tuple[dict[str, Any], set[str]]] = {
    "nothing": ({}, {""}),
    "a pair": ({"tag": "P-1"}, {"", "P-1"}),
    "one ski of a pair": ({"ski": "P-1 A"}, {"", "P-1"}),
    "the other ski": ({"ski": "P-1 B"}, {"", "P-1"}),
    "a pair whose tag ends in another letter": ({"ski": "P-1 C"}, {"", "P-1 C"}),
    "a pair whose tag ends in A": ({"ski": "P-A"}, {"", "P-A"}),
    "a hole": ({"hole_id": "P-1/A7"}, {"", "P-1"}),
    "a hole of a pair with a stroke in its tag": ({"hole_id": "X/1/A7"}, {"", "X/1"}),
    "a hole that says nothing of its pair": ({"hole_id": "H7"}, {"", "H7"}),
    "a binding": ({"binding_id": "X-1"}, {"", "X-1"}),
    "a boot names nothing": ({"boot": "P-1"}, {""}),
    "a binding put on": ({"on": {"on_pair": (None, "P-1")}}, {"", "P-1"}),
    "a binding moved": ({"on": {"on_pair": ("P-2", "P-1"), "on_ski": ("A", "B")}}, {"", "P-1", "P-2"}),
    "a binding changed": ({"on": {"model": ("M", "N")}}, {""}),
    "a part": ({"inside": _Inside(tag="P-1", how="P-9")}, {"", "P-1"}),
    "parts": ({"many": (_Inside(tag="P-1"), _Inside(tag="P-2"))}, {"", "P-1", "P-2"}),
    "a list": ({"listed": ["P-1", "P-2"]}, {"", "P-1", "P-2"}),
    "by side": ({"by_side": {"A": "P-1", "B": None}}, {"", "P-1"}),
    "pairs, each with another": ({"pairs": (("P-1", "P-3"), ("P-2", "P-1"))}, {"", "P-1", "P-2", "P-3"}),
    "plain words": ({"plain": ("P-1",)}, {""}),
}  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_whom_an_entry_names(name: str) -> None:
    said, names = NAMES[name]
    assert _Named(**said).names() == names


def test_a_kind_without_names_names_nobody(shop: Shop) -> None:
    class _Plain(_Nothing, frozen=True, kw_only=True):
        WHAT: ClassVar[str] = "nothing named"
        day: date

    event = _Plain(day=date(2026, 12, 27))
    assert event.names() == set()
    assert list(event.names_in_state(shop.ledger.connection)) == []


class _Typed(EntryPart, frozen=True, kw_only=True):
    number: int = 0
    text: str = ""
    maybe: int | None = None
    yes: bool = False
    rate: float = 0.0
    day: date = date(2026, 1, 1)
    words: tuple[str, ...] = ()
    two: tuple[int, int] = (0, 0)
    by_key: dict[str, int] = {}
    place: Place = Place.OUT


WRONG: dict[str, tuple[dict[str, Any], str]] = {
    "number": ({"number": "5"}, "number: a text stands where a whole number is asked for"),
    "fraction": ({"number": 0.5}, "number: a number with a fraction stands where a whole number is asked for"),
    "text": ({"text": 5}, "text: a whole number stands where a text is asked for"),
    "true": ({"text": True}, "text: true or false stands where a text is asked for"),
    "nothing": ({"text": None}, "text: nothing stands where a text is asked for"),
    "one of two": ({"maybe": "x"}, "maybe: a text stands where a whole number or nothing is asked for"),
    "yes": ({"yes": 1}, "yes: a whole number stands where true or false is asked for"),
    "list": ({"words": "x"}, "words: a text stands where a list is asked for"),
    "in a list": ({"words": ["x", 1]}, "words[1]: a whole number stands where a text is asked for"),
    "a list too long": ({"two": [1, 2, 3]}, "two: a list of 3 values stands where 2 are asked for"),
    "a list too short": ({"two": [1]}, "two: a list of 1 values stands where 2 are asked for"),
    "a group of fields": ({"by_key": []}, "by_key: a list stands where a group of fields is asked for"),
    "a text for a group": ({"text": {}}, "text: a group of fields stands where a text is asked for"),
    "inside a group": ({"by_key": {"a": "x"}}, "by_key[...]: a text stands where a whole number is asked for"),
    "a word there is not": ({"place": "moon"}, "place: 'moon' is none of the words there are"),
    "a field there is not": ({"colour": 1}, "it has no field colour"),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_body_is_told_in_plain_words(name: str) -> None:
    body, words = WRONG[name]
    with pytest.raises(ValueError, match=r".+") as wrong:
        _Typed.read(body)
    assert str(wrong.value) == words


def test_what_is_missing_is_named_with_its_place() -> None:
    with pytest.raises(ValueError, match=r"^tag is missing$"):
        _Inside.read({})
    with pytest.raises(ValueError, match=r"^many\[1\]: tag is missing$"):
        _Named.read({"many": [{"tag": "P-1"}, {}]})


def test_a_row_is_read_as_a_part() -> None:
    assert _Inside.read({"tag": "P-1"}) == _Inside(tag="P-1")
    assert _Inside.read(_Inside(tag="P-1", how="x").body()) == _Inside(tag="P-1", how="x")


# classes that are no kind


class _WithoutWhat(_Nothing, frozen=True, kw_only=True):
    pass


class _First(_Nothing, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair waxed"


class _Second(_Nothing, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair waxed"


class _NoChange(Event, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair polished"


class _NoAlter(OfOnePair, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair brushed"


class _AboutNothing(_Nothing, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "entry praised"
    ABOUT_ENTRY: ClassVar[str] = "entry"


class _UntypedTag(_Nothing, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair lent"
    giver: str


NO_KIND: dict[str, tuple[list[type[Event]], str]] = {
    "no words": ([_WithoutWhat], "_WithoutWhat does not say WHAT it is called in the ledger"),
    "one name twice": ([_First, _Second], "_Second and _First are both called 'pair waxed'"),
    "no change": ([_NoChange], "_NoChange does not say how it changes the state: it has no change()"),
    "no altering": ([_NoAlter], "_NoAlter does not say how it changes the state: it has no alter()"),
    "about a field it has not": (
        [_AboutNothing], "_AboutNothing is about another entry by a field that it does not have",
    ),
    "an untyped tag": (
        [_UntypedTag],
        "_UntypedTag.giver needs a type that says what is named by it: PairTag, SkiTag, BindingId, HoleId or BootTag",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NO_KIND)
def test_a_class_that_is_not_whole_is_told_with_its_name(name: str) -> None:
    classes, words = NO_KIND[name]
    with pytest.raises(TypeError) as wrong:
        by_words(classes)
    assert str(wrong.value) == words


def test_every_kind_is_found_by_its_words() -> None:
    assert by_words([_First, _Named]) == {"pair waxed": _First, "all names at once": _Named}
    assert all(what == kind.WHAT for what, kind in kinds().items())
    assert {"pair out", "order done", "order stopped", "sample drawn", "policy set"} <= set(kinds())


def test_a_kind_that_is_not_withdrawn_says_what_to_do(shop: Shop) -> None:
    refused = cannot_be_withdrawn("pair held")
    assert refused.sentence == "an entry 'pair held' cannot be withdrawn"
    assert refused.cure == "enter what is true now; a scan is undone at the counter"
    seq = shop.enter("pair held", {"tag": "P-1"})
    with pytest.raises(Refused, match="an entry 'pair held' cannot be withdrawn"):
        shop.enter("entry withdrawn", {"entry": seq, "what": "pair held", "body": {"tag": "P-1"}})


# the small writers


def test_one_column_is_set_from_the_old_value_to_the_new(shop: Shop) -> None:
    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE TABLE ski (tag, side, zone, mark, entry)")
    for tag, side in (("P-1", "A"), ("P-1", "B"), ("P-2", "A")):
        insert(connection, "ski", {"tag": tag, "side": side, "zone": 1, "mark": 5, "entry": 9})

    def changed(key: dict[str, Any], changes: dict[str, tuple[Any, Any]]) -> None:
        change_columns(connection, "ski", key=key, changes=changes, allowed=("zone", "mark"))

    changed({"tag": "P-1", "side": "A"}, {"zone": (1, 2), "mark": (5, None)})
    assert connection.execute("SELECT tag, side, zone, mark FROM ski").fetchall() == [
        ("P-1", "A", 2, None),
        ("P-1", "B", 1, 5),
        ("P-2", "A", 1, 5),
    ]
    for key, changes, sentence, cure in (
        ({"tag": "P-1", "side": "A"}, {"entry": (9, 1)}, "entry of ski P-1 A cannot be changed", ""),
        ({"tag": "P-3"}, {"zone": (1, 2)}, "there is no ski P-3", "check the tag"),
        (
            {"tag": "P-1", "side": "A"},
            {"zone": (1, 3)},
            "zone of ski P-1 A is 2 today, not 1",
            "look at the newest state and enter the change again",
        ),
    ):
        with pytest.raises(Refused) as refused:
            changed(key, changes)  # type: ignore[arg-type]
        assert (refused.value.sentence, refused.value.cure) == (sentence, cure)
    connection.execute("UPDATE ski SET entry = 8 WHERE tag = 'P-2'")
    delete_made(connection, "ski", 9, "the ski of entry 9")
    assert connection.execute("SELECT tag FROM ski").fetchall() == [("P-2",)]
    with pytest.raises(Refused) as refused:
        delete_made(connection, "ski", 9, "the ski of entry 9")
    assert refused.value.sentence == "the ski of entry 9 is not in force any more"
    assert refused.value.cure == "look at the newest state"
    connection.close()
    facts_of(shop.ledger.connection, "P-1")
    with pytest.raises(Refused) as refused:
        facts_of(shop.ledger.connection, "P-9")
    assert (refused.value.sentence, refused.value.cure) == (
        "there is no pair P-9 in the ledger",
        "check the tag",
    )


def test_names_are_kept_once_in_order() -> None:
    assert with_names("[]", "Cleo", "Ann") == '["Ann", "Cleo"]'
    assert with_names('["Bea"]', "Ann", "Bea") == '["Ann", "Bea"]'


QUIET: dict[str, Any] = {
    "whereabouts": "shop",
    **dict.fromkeys(("quarantine_entry", "repair_entry", "hold_entry", "stop_entry", "second_check"), 0),
    **{f"{what}_entry": 0 for what in ("return", "work", "fault", "unfinished")},
    **{f"{what}_at": "" for what in ("return", "work", "fault", "unfinished")},
    "pass_entry": 5,
    "pass_at": "t5",
}
# what else is so; where the pair is
PLACES: dict[str, tuple[dict[str, Any], Place]] = {
    "passed": ({}, Place.READY),
    "never passed": ({"pass_entry": 0, "pass_at": ""}, Place.BACK),
    "second check before flat": ({"second_check": 1, "mounted": False}, Place.SECOND_CHECK),
    "flat": ({"mounted": False}, Place.FLAT),
    "hold before second check": ({"hold_entry": 1, "second_check": 1}, Place.HOLD),
    "stop": ({"stop_entry": 1, "second_check": 1}, Place.HOLD),
    "repair before hold": ({"repair_entry": 1, "hold_entry": 1}, Place.IN_REPAIR),
    "quarantine before repair": ({"quarantine_entry": 1, "repair_entry": 1}, Place.QUARANTINE),
    "away before all": ({"whereabouts": "missing", "quarantine_entry": 1}, Place.MISSING),
    **{
        f"{what}, {how}": ({f"{what}_entry": number, f"{what}_at": at}, place)
        for what in ("return", "work", "fault", "unfinished")
        for how, number, at, place in (
            ("before it", 4, "t4", Place.READY),
            ("entered after it", 6, "t4", Place.BACK),
            ("at its time", 4, "t5", Place.BACK),
        )
    },
}


@pytest.mark.parametrize("name", PLACES)
def test_where_a_pair_is_follows_from_its_facts(name: str) -> None:
    facts, place = PLACES[name]
    mounted = facts.get("mounted", True)
    assert place_of(QUIET | facts, mounted=mounted) is place


# the day that an entry begins


def test_the_first_entry_of_each_day_is_noted(shop: Shop) -> None:
    connection = shop.ledger.connection

    def begun() -> list[tuple[int, str]]:
        return connection.execute("SELECT entry, day FROM day_begun ORDER BY entry").fetchall()

    before = begun()
    assert before[-1][1] == "2026-12-27"
    shop.enter("pair held", {"tag": "P-1"})
    assert begun() == before
    shop.tick(minutes=24 * 60)
    number = shop.enter("pair held", {"tag": "P-1"}, by=IDA)
    shop.enter("pair held", {"tag": "P-1"})
    assert begun() == [*before, (number, "2026-12-28")]
    names = connection.execute("SELECT name FROM naming WHERE entry = ?", (number,)).fetchall()
    assert names == [("P-1",)]
    body = {"tag": "P-1", "hold": number}
    assert shop.enter("hold cleared", body) == number + 2
    about = shop.enter("entry remarked", {"entry": number})
    assert connection.execute("SELECT about, entry FROM entry_about").fetchall()[-1] == (number, about)
