"""Each kind of entry is one class: what is left out of it is seen, and its body stands in the ledger."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Annotated, Any, ClassVar, get_type_hints

import pytest

from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import BadInput
from fleet.base.kept_names import written_body
from fleet.events import KINDS
from fleet.events.event import LEFT_OUT, BootTag, EntryPart, Event, Later, PairTag, by_words
from fleet.events.movement import PairOut
from fleet.events.pairs import HolesRecorded
from fleet.facts.columns import LedgerColumn
from tests.counter.shop import IDA, Shop

LAYOUTS = sorted(Path(__file__).parent.glob("layouts/layout_*.db"))


class _Base(Event, frozen=True, kw_only=True):
    """Keeps what is made here out of the program's kinds: those are found once, when the program starts."""

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        return


class _Whole(_Base, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair waxed"
    tag: PairTag


class _WithoutWhat(_Base, frozen=True, kw_only=True):
    tag: PairTag


class _CalledTheSame(_Base, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair waxed"


class _WithoutChange(Event, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair polished"


class _AboutNothing(_Base, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "entry praised"
    ABOUT_ENTRY: ClassVar[str] = "entry"


class _UntypedTag(_Base, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "pair lent"
    tag: str


class _UntypedPart(EntryPart, frozen=True, kw_only=True):
    hole_id: str | None


class _UntypedTagInside(_Base, frozen=True, kw_only=True):
    WHAT: ClassVar[str] = "holes lent"
    holes: tuple[_UntypedPart, ...]


def test_a_whole_class_is_a_kind() -> None:
    assert by_words([_Whole]) == {"pair waxed": _Whole}
    assert _Whole(tag="P-1").names() == {"P-1"}


NOT_WHOLE = {
    "without WHAT": ([_WithoutWhat], "_WithoutWhat does not say WHAT"),
    "without change": ([_WithoutChange], "_WithoutChange .* has no change"),
    "two of one WHAT": ([_Whole, _CalledTheSame], "both called 'pair waxed'"),
    "about an entry it does not hold": ([_AboutNothing], "does not have"),
    "an untyped tag": ([_UntypedTag], r"_UntypedTag\.tag needs a type"),
    "an untyped tag in a part": ([_UntypedTagInside], r"_UntypedPart\.hole_id needs a type"),
}


@pytest.mark.parametrize("name", NOT_WHOLE)
def test_a_class_that_is_not_whole_is_refused_before_the_program_starts(name: str) -> None:
    classes, words = NOT_WHOLE[name]
    with pytest.raises(TypeError, match=words):
        by_words(classes)


def is_fact(hint: object) -> bool:
    """Whether the column of that fact says what it means (`fleet.facts.columns`)."""
    return any(isinstance(meta, LedgerColumn) for meta in getattr(hint, "__metadata__", ()))


@pytest.mark.parametrize("what", sorted(KINDS))
def test_the_docstring_of_a_kind_lists_its_keys_and_no_others(what: str) -> None:
    kind = KINDS[what]
    told = "\n".join(each.__doc__ or "" for each in kind.__mro__ if issubclass(each, EntryPart))
    lines = [line.strip().partition(": ")[0] for line in told.splitlines() if ": " in line]
    keys = set(kind.__struct_encode_fields__)
    facts = {name for name, hint in get_type_hints(kind, include_extras=True).items() if is_fact(hint)}
    assert keys <= set(lines) | facts
    assert [line for line in lines if line.isidentifier() and line not in keys] == []


@pytest.mark.parametrize("path", LAYOUTS, ids=lambda path: path.stem)
def test_every_body_ever_kept_is_read_and_written_back_with_no_other_value(path: Path) -> None:
    with closing(sqlite3.connect(path)) as plain:
        rows = plain.execute("SELECT what, body FROM entries").fetchall()
    assert len(rows) > 50
    for what, text in rows:
        body = written_body(text)
        again = json.loads(canonical_json(KINDS[what].read(body).body()))
        assert {key: again[key] for key in body} == body
        if path == LAYOUTS[-1]:
            assert canonical_json(again) == canonical_json(body)


def test_what_is_entered_as_a_class_stands_in_the_ledger_as_its_plain_body(shop: Shop) -> None:
    event = PairOut(tag="P-1", boot=None, due=shop.today, fit="fits", sole_um=305_000)
    with shop.ledger.transaction(by=IDA, now=shop.tick()) as tx:
        seq = tx.enter(event)
    query = "SELECT what, body FROM entries WHERE seq = ?"
    assert shop.ledger.connection.execute(query, (seq,)).fetchone() == (
        "pair out",
        f'{{"boot":null,"due":"{shop.today.isoformat()}","fit":"fits","set_entry":null,"sole_um":305000,'
        '"tag":"P-1"}',
    )


def test_a_key_that_is_left_out_stays_left_out() -> None:
    class _Stopped(_Base, frozen=True, kw_only=True):
        stop: str | Later = LEFT_OUT

    assert _Stopped().body() == {}
    assert _Stopped(stop="").body() == {"stop": ""}


def test_a_tag_with_something_said_beside_it_names_what_it_names_without() -> None:
    """A fact's column stands beside its type: the pair behind it is found all the same."""

    class _Beside(_Base, frozen=True, kw_only=True):
        tag: Annotated[PairTag, "a column"]
        on_pair: Annotated[PairTag | None, "a column"]

    assert _Beside(tag="P-1", on_pair="P-2").names() == {"P-1", "P-2"}


def test_a_boots_tag_names_no_pair() -> None:
    class _Boot(_Base, frozen=True, kw_only=True):
        tag: BootTag

    assert _Boot(tag="P-1").names() == set()


def a_hole(**changes: object) -> dict[str, object]:
    places = {"hole_id": "P-2/A1", "side": "A", "x_um": 0, "y_um": 0, "diameter_um": None, "depth_um": None}
    return {"tag": "P-2", "holes": [places | {"state": "open", "knowledge": "suspected"} | changes]}


MISTYPED = {
    "a text for a number": (a_hole(x_um="5"), "holes[0].x_um: a text stands where a whole number is asked"),
    "true for a number": (a_hole(x_um=True), "holes[0].x_um: true or false stands where a whole number"),
    "null for a number": (a_hole(y_um=None), "holes[0].y_um: nothing stands where a whole number is asked"),
    "a word there is not": (a_hole(state="waxed"), "holes[0].state: 'waxed' is none of the words there are"),
    "a key inside too many": (a_hole(colour="red"), "holes[0]: it has no field colour"),
    "a key too many": (a_hole() | {"why": "x"}, "holes recorded cannot be entered: it has no field why"),
    "a key missing": ({"tag": "P-2"}, "holes recorded cannot be entered: holes is missing"),
}


@pytest.mark.parametrize("name", MISTYPED)
def test_a_field_of_a_wrong_type_is_one_plain_sentence_with_its_place_and_a_cure(
    shop: Shop, name: str
) -> None:
    body, words = MISTYPED[name]
    before = shop.ledger.head
    with pytest.raises(BadInput) as refused, shop.ledger.transaction(by=IDA, now=shop.tick()) as tx:
        tx.enter("holes recorded", body)
    assert words in refused.value.sentence
    assert "`" not in refused.value.sentence
    assert refused.value.cure
    assert shop.ledger.head == before


def test_a_class_made_wrong_by_hand_is_refused_like_a_body(shop: Shop) -> None:
    """What mypy would have said is said at the door too: making a class checks nothing."""
    wrong: Any = [a_hole()]
    with pytest.raises(BadInput), shop.ledger.transaction(by=IDA, now=shop.tick()) as tx:
        tx.enter(HolesRecorded(tag="P-2", holes=wrong))
