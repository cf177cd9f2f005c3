"""What entries of imports, vans, the door's gates, boots and pages change; and how names are found in them.

P-1 is ready, its bindings set for 305 mm; P-2 beside it must not feel anything.
"""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import msgspec
import pytest

from fleet.base.errors import Refused
from fleet.events.corrections import EntryWithdrawn
from fleet.events.event import (
    NAMES,
    BindingId,
    EntryPart,
    HoleId,
    PairTag,
    Tap,
    _names_in,
    marked_fields,
    pieces_not_known,
    tap_of,
)
from fleet.events.typed import names_apart
from tests.counter.shop import IDA, Shop, binding_body
from tests.events.effect import AT, THIS, Row, Rows, effect, stands_at
from tests.events.test_effects_of_work import (
    MOUNT,
    MOUNT_ROW,
    fresh,
    issued,
    mounts,
    numbered_to,
    undone,
    with_hole,
    work,
)

ANSWER = {"key": "k1", "question": "word/boot/kind/wood", "answer": "alpine"}
DOUBTS = {
    "file": "own.xlsx",
    "doubts": [
        {"question": "q1", "asked": "what is it?", "sheet": "Skis", "rows": [3, 14]},
        {"question": "q2", "asked": "in which unit?", "sheet": "Boots", "rows": []},
    ],
}
LOAD = {
    "run": "North to South", "other": "South", "leaves": True, "sha256": "f" * 64,
    "pairs": ["P-1"], "boots": ["B-305"], "binding_ids": ["X-1A", "X-1B"],
}  # fmt: skip
TESTER = {"device": "bench 1", "calibrated_on": "2026-09-01", "until": "2027-08-31", "certificate": "C-7"}


def thing(**named: str) -> Row:
    return {"entry": THIS, "tag": None, "boot": None, "binding_id": None} | named


# the entry; the rows that come
OF_DESKS: dict[str, tuple[str, Row, Rows]] = {
    "an answer to an import": (
        "import answered", ANSWER, {"import_answer": [ANSWER | {"entry": THIS}]},
    ),
    "what stayed open of a file": (
        "import doubts kept", DOUBTS,
        {
            "import_doubt": [
                {"file": "own.xlsx", "number": 0, "question": "q1", "asked": "what is it?", "sheet": "Skis",
                 "rows": "3,14", "entry": THIS},
                {"file": "own.xlsx", "number": 1, "question": "q2", "asked": "in which unit?", "sheet": "Boots",
                 "rows": "", "entry": THIS},
            ],
        },
    ),
    "a van's load": (
        "load sent", LOAD,
        {
            "load": [{"entry": THIS, "run": "North to South", "other": "South", "leaves": 1, "sha256": "f" * 64}],
            "load_thing": [
                thing(tag="P-1"), thing(boot="B-305"), thing(binding_id="X-1A"), thing(binding_id="X-1B"),
            ],
        },
    ),
    "a load on its way here": (
        "load sent", LOAD | {"leaves": False, "pairs": [], "boots": [], "binding_ids": []},
        {"load": [{"entry": THIS, "run": "North to South", "other": "South", "leaves": 0, "sha256": "f" * 64}]},
    ),
    "a tester's calibration": ("tester calibrated", TESTER, {"tester": [TESTER | {"entry": THIS}]}),
    "a model's standard": (
        "binding model stated", {"model": "Lark 4 binding", "standard": "ISO 9462", "origin": "its list"},
        {"binding_model": [{"model": "Lark 4 binding", "standard": "ISO 9462", "unsupported_since": None,
                            "origin": "its list", "entry": THIS}]},
    ),
    "a model without support": (
        "binding model stated", {"model": "Lark 4 binding", "unsupported_since": "2026-05-01", "origin": "a letter"},
        {"binding_model": [{"model": "Lark 4 binding", "standard": "", "unsupported_since": "2026-05-01",
                            "origin": "a letter", "entry": THIS}]},
    ),
    "a qualification": (
        "qualification stated", {"name": IDA, "what": "pass", "until": "2027-05-01"},
        {"qualification": [{"name": IDA, "what": "pass", "until": "2027-05-01", "since": AT, "entry": THIS}]},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OF_DESKS)
def test_it_changes_no_pair(shop: Shop, name: str) -> None:
    what, body, rows = OF_DESKS[name]
    assert effect(shop, what, body) == ({}, rows, {})


def test_a_model_keeps_what_an_entry_says_nothing_of(shop: Shop) -> None:
    shop.enter("binding model stated", OF_DESKS["a model's standard"][1])
    other = shop.enter("binding model stated", {"model": "Lark 6", "standard": "ISO 13992", "origin": "x"})
    _, came, _ = effect(shop, *OF_DESKS["a model without support"][:2])
    assert [(row["model"], row["standard"], row["unsupported_since"]) for row in came["binding_model"]] == [
        ("Lark 4 binding", "ISO 9462", "2026-05-01")
    ]
    _, came, _ = effect(
        shop, "binding model stated", {"model": "Lark 4 binding", "unsupported_since": None, "origin": "x"}
    )
    assert [row["unsupported_since"] for row in came["binding_model"]] == [None]
    rest = shop.ledger.connection.execute("SELECT entry FROM binding_model WHERE model = 'Lark 6'")
    assert rest.fetchall() == [(other,)]


def test_the_newest_answer_counts_until_it_is_taken_back(shop: Shop) -> None:
    shop.enter("import answered", ANSWER)
    shop.enter("import answered", ANSWER | {"key": "k2"})
    _, came, gone = effect(shop, "import answered", ANSWER | {"answer": "junior"})
    assert [row["answer"] for row in came["import_answer"]] == ["junior"]
    assert [(row["key"], row["answer"]) for row in gone["import_answer"]] == [("k1", "alpine")]
    _, came, gone = effect(shop, "import answer taken back", {"key": "k1"})
    assert came == {}
    assert [row["key"] for row in gone["import_answer"]] == ["k1"]


def test_the_newest_doubts_of_a_file_count(shop: Shop) -> None:
    shop.enter("import doubts kept", DOUBTS)
    shop.enter("import doubts kept", DOUBTS | {"file": "other.xlsx"})
    _, came, gone = effect(shop, "import doubts kept", {"file": "own.xlsx", "doubts": []})
    assert came == {}
    assert {row["file"] for row in gone["import_doubt"]} == {"own.xlsx"}


def test_what_is_not_named_is_still_on_its_way(shop: Shop) -> None:
    load = shop.enter("load sent", LOAD)
    shop.enter("load sent", LOAD)
    body = {"load": load, "pairs": ["P-1"], "boots": [], "binding_ids": ["X-1B"]}
    _, came, gone = effect(shop, "load taken in", body)
    assert came == {}
    assert gone["load_thing"] == [
        thing(entry=load, tag="P-1"),
        thing(entry=load, binding_id="X-1B"),
    ]


MADE_BY_A_PAGE = {"tag": "B-305", "tap": {"id": "t-1", "desk": "Counter 2", "signed": "PIN"}}


def test_an_action_on_a_page_is_found_by_its_id(shop: Shop) -> None:
    _, came, _ = effect(shop, "boot held", MADE_BY_A_PAGE)
    assert came["tap"] == [{"entry": THIS, "id": "t-1", "desk": "Counter 2"}]
    assert tap_of(MADE_BY_A_PAGE) == Tap(id="t-1", desk="Counter 2", signed="PIN")
    assert tap_of({"tag": "B-305"}) is None
    _, came, _ = effect(shop, "boot hold cleared", {"tag": "B-305", "hold": 1})
    assert "tap" not in came


# boots

BOOT_IS: dict[str, tuple[str, Row, Row]] = {
    "held": ("boot held", {"tag": "B-305"}, {"hold_entry": THIS}),
    "back": ("boot back", {"tag": "B-305", "said": False}, {"whereabouts": "shop", "back_entry": THIS}),
    "found": ("boot moved", {"tag": "B-305", "to": "shop"}, {"whereabouts": "shop", "back_entry": THIS}),
    "missing": ("boot moved", {"tag": "B-305", "to": "missing"}, {"whereabouts": "missing", "back_entry": 0}),
}


@pytest.mark.parametrize("name", BOOT_IS)
def test_a_boot_s_own_row_changes(shop: Shop, name: str) -> None:
    what, body, facts = BOOT_IS[name]
    _, came, _ = effect(shop, what, body)
    [row] = came["boot"]
    assert {column: row[column] for column in ("tag", *facts)} == {"tag": "B-305"} | facts


def test_a_boot_that_a_note_is_about_is_not_withdrawn(shop: Shop) -> None:
    boot = {
        "tag": "B-9", "model": "Invented boot", "mondopoint_mm": 265, "bsl_um": 305_000, "bsl_measured": "printed",
        "sole_type": "alpine A", "season": "",
    }  # fmt: skip
    seq = shop.enter("boot recorded", boot)
    noted = shop.enter("note made", {"boot": "B-9"})
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert refused.value.sentence == f"boot B-9 is not as it was recorded: entry {noted} is about it"
    other = shop.enter("boot recorded", boot | {"tag": "B-8"})
    _, _, gone = undone(shop, other)
    assert [row["tag"] for row in gone["boot"]] == ["B-8"]


# what is refused, with its cure

REFUSED: dict[str, tuple[str, Row, str, str]] = {
    "no such boot": ("boot held", {"tag": "B-99"}, "there is no boot B-99 in the ledger", "check the tag"),
    "no such answer": (
        "import answer taken back", {"key": "k1"}, "there is no such answer", "see `mountbook import profile`",
    ),
    "nothing on its way": (
        "load taken in", {"load": 3, "pairs": ["P-1"], "boots": [], "binding_ids": []},
        "P-1 is not on the way by entry 3", "see `mountbook today`",
    ),
    "a binding that is on a ski": (
        "stock out", {"binding_ids": ["P-1/A"]}, "binding P-1/A is not in the stock", "see `mountbook stock list`",
    ),
    "a binding that never left": (
        "stock back", {"binding_ids": ["P-1/A"]}, "binding P-1/A did not leave the stock", "see `mountbook stock list`",
    ),
    "a note on no such boot": (
        "note made", {"tag": "P-1", "boot": "B-305"}, "a note is on one thing",
        "name a pair, a ski, a boot or a binding",
    ),
    "a note on nothing": (
        "note made", {}, "a note is on one thing", "name a pair, a ski, a boot or a binding",
    ),
    "a note on a boot that is none": (
        "note made", {"boot": "B-99"}, "there is no boot B-99 in the ledger", "check the tag",
    ),
    "a note on no such binding": (
        "note made", {"binding_id": "X-9"}, "there is no binding X-9 in the ledger", "check the tag",
    ),
    "a boot moved by hand to out": (
        "boot moved", {"tag": "B-305", "to": "out"},
        "a boot is not moved to out by hand: that follows from what happened", "",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_an_entry_may_not_say(shop: Shop, name: str) -> None:
    what, body, sentence, cure = REFUSED[name]
    with pytest.raises(Refused) as refused:
        shop.enter(what, body)
    assert (refused.value.sentence, refused.value.cure) == (sentence, cure)


def test_a_binding_withdrawn_twice_is_said(shop: Shop) -> None:
    seq = shop.enter("binding recorded", binding_body("X-1A"))
    undone(shop, seq)
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert refused.value.sentence == "binding X-1A was moved since"


NOT_IN_FORCE: dict[str, tuple[str, Row, str]] = {
    "a note": ("note made", {"tag": "P-1"}, "note {} is not in force any more"),
    "the kind of a model": (
        "model kind stated", {"thing": "boot", "model": "Fern", "kind": "touring"},
        "the kind of Fern is not in force any more",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NOT_IN_FORCE)
def test_what_was_withdrawn_is_not_withdrawn_again(shop: Shop, name: str) -> None:
    what, body, sentence = NOT_IN_FORCE[name]
    seq = shop.enter(what, body)
    undone(shop, seq)
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert (refused.value.sentence, refused.value.cure) == (sentence.format(seq), "look at the newest state")


# glue, and pieces

SAID = {"sole_um": 305_000, "at": "t", "by": IDA, "entry": 1, "how": "set, boot in"}
PIECES: dict[str, tuple[dict[str, Any], list[tuple[str, str]], dict[str, Any]]] = {
    "one of two known pieces": (
        {"A": {"toe": SAID, "heel": SAID}, "B": {"toe": SAID}}, [("A", "toe")],
        {"A": {"toe": None, "heel": SAID}, "B": {"toe": SAID}},
    ),
    "the last known piece of a ski": (
        {"A": {"toe": None, "heel": SAID}, "B": {"toe": SAID}}, [("A", "heel")], {"B": {"toe": SAID}},
    ),
    "a piece of a ski set as a whole": ({"A": {"": SAID}, "B": {"": SAID}}, [("B", "toe")], {"A": {"": SAID}}),
    "a ski of which nothing is known": ({"A": {"": SAID}}, [("B", "toe")], {"A": {"": SAID}}),
    "both skis": ({"A": {"": SAID}, "B": {"": SAID}}, [("A", "toe"), ("B", "heel")], {}),
    "no piece": ({"A": {"": SAID}}, [], {"A": {"": SAID}}),
}  # fmt: skip


@pytest.mark.parametrize("name", PIECES)
def test_nobody_knows_where_touched_pieces_stand(name: str) -> None:
    stands, hands, left = PIECES[name]
    facts: Any = {"stands": json.dumps(stands)}
    pieces_not_known(facts, hands)
    assert json.loads(facts["stands"]) == left


@pytest.mark.parametrize("from_entry", [False, True])
def test_glue_cures_from_the_entry_until_its_hour_is_confirmed(shop: Shop, from_entry: bool) -> None:
    body = {"tag": "P-1", "glued_with": ["epoxy"], "cure_from_entry": from_entry}
    stated = shop.now - timedelta(hours=1)
    standing, came, _ = effect(shop, "repair done", body, at=stated)
    [glue] = came["glue"]
    assert glue["stated"] == AT
    assert (standing["P-1"]["glued_at"] == AT, glue["at"] == AT) == (not from_entry, not from_entry)


def test_a_repair_at_one_piece_leaves_the_other_ski_as_it_was_set(shop: Shop) -> None:
    body = {"tag": "P-1", "glued_with": [], "touched": [["B", "heel"]]}
    standing, _, _ = effect(shop, "repair done", body)
    assert set(json.loads(standing["P-1"]["stands"])) == {"A"}


def test_the_filler_of_the_first_visit_has_cured_when_the_order_is_done(shop: Shop) -> None:
    with_hole(shop)
    fresh(shop)
    shop.enter("order issued", issued())
    first = {
        "number": "WO-1", "revision": "A", "tag": "P-1", "mount_removed_on": None, "filled_with": "epoxy",
        "changed_holes": [{"hole_id": "P-1/A7", "changes": {"state": ["open", "plugged"]}}],
    }  # fmt: skip
    shop.enter("order plugged", first)
    standing, _, _ = effect(shop, "order done", work(glued_with=["wood_glue"]))
    assert standing["P-1"]["glued_with"] == '["wood_glue"]'


def test_the_numbers_on_an_order_s_sheet_are_no_other_holes(shop: Shop) -> None:
    effect(shop, "order issued", issued(holes={"A toe 1": "P-1/A17", "B toe 1": "P-1/B4"}))
    assert (numbered_to(shop, "A"), numbered_to(shop, "B"), numbered_to(shop, "A", "P-2")) == (17, 4, 0)


STANDS = [{"piece": "heel", "reference_um": -150_000, "slide_um": 2_000}]


def test_a_mount_whose_pieces_were_measured_stands_at_that_sole(shop: Shop) -> None:
    measured = MOUNT | {"stands": STANDS, "set_for_um": 307_000}
    standing, came, _ = effect(shop, "mount recorded", measured)
    assert standing["P-1"]["stands"] == stands_at(307_000, "measured where it stands", "heel")
    slides = json.dumps({"slides": MOUNT["slides"], "stands": STANDS}, separators=(",", ":"), sort_keys=True)
    assert mounts(came) == [MOUNT_ROW | {"slides": slides}]


# the names in an entry


class Parts(EntryPart, frozen=True, kw_only=True):
    """A part that is in no ledger."""

    pairs: tuple[PairTag, ...] = ()
    two: tuple[BindingId, BindingId] = ("", "")
    words: tuple[str, int] = ("", 0)
    by_screw: dict[str, HoleId] = msgspec.field(default_factory=dict)
    notes: dict[str, str] = msgspec.field(default_factory=dict)


def test_names_are_found_by_the_types_of_fields_and_not_by_their_text() -> None:
    said = Parts(
        pairs=("P-1", "P-2"),
        two=("X-2A", "X-1A"),
        words=("P-8", 3),
        by_screw={"A toe 1": "P-3/A17"},
        notes={"P-7": "P-6"},
    )
    assert set(_names_in(said)) == {"P-1", "P-2", "X-1A", "X-2A", "P-3"}


class HalfMarked(EntryPart, frozen=True, kw_only=True):
    """A part whose list has a name in one place and words in the other."""

    two: tuple[str, BindingId] = ("", "")


def test_a_list_of_which_only_some_texts_are_names_is_refused() -> None:
    with pytest.raises(TypeError, match="only some of its texts are marked"):
        marked_fields(HalfMarked, NAMES)


def test_the_names_of_people_in_a_withdrawn_entry_stand_apart() -> None:
    quoted = {
        "entry": 5,
        "what": "qualification stated",
        "body": {"name": IDA, "what": "pass", "until": "2027-05-01"},
    }
    assert names_apart(EntryWithdrawn, quoted, lambda name: f"<{name}>")["body"]["name"] == f"<{IDA}>"
    older = {"entry": 5}
    assert names_apart(EntryWithdrawn, older, lambda name: f"<{name}>") == older
