"""A look at a pair: what was typed, what comes of each finding, and what no look may pass over.

P-1 and P-2 of the shop carry Lark 4 (a toe and a heel piece); both are passed and ready in the morning.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from fleet.base.days import day_text
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.facts.holes import Side
from fleet.facts.patterns import Follows, PatternHole, Piece, PieceName
from fleet.facts.standing import Place
from fleet.rules.clearance import read_case
from fleet.rules.counter import Done
from fleet.rules.day_end import under_list
from fleet.rules.holds import begin_repair, clear, end_repair, hold, quarantine
from fleet.rules.looks import (
    Found,
    ListUsed,
    LookKind,
    list_id_for,
    look_as_typed,
    parse_found,
    pieces_of,
    record_look,
)
from fleet.rules.recheck import recheck_list
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, Shop, binding_body

A, B = Side.A, Side.B
STILL, EIGHTH, MORE, SPINS = Found.NOT_MOVED, Found.TURNED_UNDER_AN_EIGHTH, Found.TURNED, Found.SPINS
GONE, BLOCKED = Found.MISSING, Found.COULD_NOT_REACH
WHOLE = {side: {"toe": STILL, "heel": STILL} for side in Side}
PIECES = ("toe", "heel")


def told(action: Callable[[], object]) -> tuple[str, str]:
    """The sentence and the cure of what is refused."""
    with pytest.raises(MountbookError) as refused:
        action()
    return refused.value.sentence, refused.value.cure


# what is typed

TYPED: dict[str, tuple[str | None, tuple[str, ...], dict[Side, dict[str, Found]]]] = {
    "nothing": (None, (), {A: {}, B: {}}),
    "all": ("not moved", (), WHOLE),
    "all, as a shell likes it": ("Not-Moved", (), WHOLE),
    "all, with lines below": ("cannot_reach", (), {side: dict.fromkeys(PIECES, BLOCKED) for side in Side}),
    "blanks": ("  under   an  eighth ", (), {side: dict.fromkeys(PIECES, EIGHTH) for side in Side}),
    "one wins over all": (
        "not moved",
        ("B heel=spins",),
        {A: WHOLE[A], B: {"toe": STILL, "heel": SPINS}},
    ),
    "one alone leaves the rest unseen": (None, ("a TOE=missing",), {A: {"toe": GONE}, B: {}}),
    "several, the last of a piece counts": (
        None,
        ("A toe=more", "B toe=not moved", "A toe=not-moved"),
        {A: {"toe": STILL}, B: {"toe": STILL}},
    ),
}


@pytest.mark.parametrize("name", TYPED)
def test_what_was_typed_is_what_was_found(name: str) -> None:
    everywhere, single, found = TYPED[name]
    assert parse_found(everywhere, single, pieces=PIECES, tag="P-1") == found


WORDS = "one of: not moved, turned, turned under an eighth, spins, missing, cracked, could not reach"
LIKE = 'write it like "B heel=spins"'
MISTYPED: dict[str, tuple[str | None, tuple[str, ...], tuple[str, str]]] = {
    "no such word for all": ("fine", (), ("'fine' is not a finding", WORDS)),
    "no such word for one": (None, ("B heel=fine",), ("'fine' is not a finding", WORDS)),
    "no ski": (None, ("heel=spins",), ("'heel=spins' is not a finding", LIKE)),
    "no such ski": (None, ("C heel=spins",), ("'C heel=spins' is not a finding", LIKE)),
    "no word": (None, ("B heel=",), ("'B heel=' is not a finding", LIKE)),
    "no equals sign": (None, ("B heel spins",), ("'B heel spins' is not a finding", LIKE)),
    "no equals sign, two words": (None, ("B heel",), ("'B heel' is not a finding", LIKE)),
    "three words": (None, ("B heel left=spins",), ("'B heel left=spins' is not a finding", LIKE)),
    "no such piece": (None, ("B Plate=spins",), ("P-1 has no Plate piece", "its pieces are toe and heel")),
}


@pytest.mark.parametrize("name", MISTYPED)
def test_what_is_mistyped_is_said_with_how_to_write_it(name: str) -> None:
    everywhere, single, words = MISTYPED[name]
    assert told(lambda: parse_found(everywhere, single, pieces=PIECES, tag="P-1")) == words


def test_a_second_equals_sign_belongs_to_the_word() -> None:
    words = told(lambda: parse_found(None, ("B heel=spins=",), pieces=PIECES, tag="P-1"))
    assert words == ("'spins=' is not a finding", WORDS)


@pytest.mark.parametrize(("word", "fault"), [(word, word not in (STILL, BLOCKED)) for word in Found])
def test_any_movement_is_a_fault_and_what_was_not_reached_is_none(word: Found, fault: bool) -> None:
    assert word.is_fault is fault


def test_the_pieces_are_the_pattern_s_or_toe_and_heel(shop: Shop) -> None:
    case = read_case(shop.ledger.connection, "P-1")
    assert case.pattern is not None
    hole = (PatternHole(x_um=0, y_um=0),)
    plate = Piece(name=PieceName.PLATE, follows=Follows.CENTRE, holes=hole)
    assert pieces_of(case) == ("toe", "heel")
    assert pieces_of(replace(case, pattern=None)) == ("toe", "heel")
    assert pieces_of(replace(case, pattern=replace(case.pattern, pieces=(plate,)))) == ("plate",)


# the list in the hand


def test_a_list_is_named_by_its_day_and_entry() -> None:
    day = date(2026, 3, 7)
    assert list_id_for(day, 41) == "RC-20260307-41"
    used = ListUsed(list_id="RC-20260307-41", made_at_entry=41, day=day)
    assert ListUsed.parse("RC-20260307-41") == used
    assert ListUsed.parse("  rc-20260307-41 ") == used
    for since in (40, 41):
        assert ListUsed.parse(f"RC-20260307-{since}-41").since_entry == since


@pytest.mark.parametrize(
    "text", ["", "RC", "RC-20260307", "XX-20260307-41", "RC-20260307-41-1", "RC-20261307-41", "RC-20260307-x"]
)
def test_what_names_no_list_is_refused_as_it_was_typed(text: str) -> None:
    with pytest.raises(BadInput) as refused:
        ListUsed.parse(text)
    assert refused.value.sentence == f"{text!r} is not the number of a recheck list"
    assert refused.value.cure == "it reads like RC-20261125-1284"


# what comes of a look


def look(
    shop: Shop,
    found: dict[Side, dict[str, Found]],
    *,
    tag: str = "P-1",
    by: str = IDA,
    at: datetime | None = None,
    **words: Any,
) -> Done:
    with shop.desk(by, at=at) as desk:
        return record_look(desk, tag, found, **words)


def changed(*pieces: tuple[Side, str, Found | None]) -> dict[Side, dict[str, Found]]:
    """All seen and still but for these; None: no finding."""
    found = {side: dict(WHOLE[side]) for side in Side}
    for side, piece, word in pieces:
        found[side].pop(piece)
        if word is not None:
            found[side][piece] = word
    return found


# findings; place after, words on the screen, outcome in the ledger
OUTCOMES: dict[str, tuple[dict[Side, dict[str, Found]], Place, str, str]] = {
    "nothing moved": (WHOLE, Place.READY, "passed", "pass"),
    "a little on ski B": (
        changed((B, "heel", EIGHTH)), Place.HOLD, "ski B heel: turned under an eighth", "hold",
    ),
    "more on ski A": (changed((A, "toe", MORE)), Place.HOLD, "ski A toe: turned", "hold"),
    "on both skis": (
        changed((A, "heel", SPINS), (B, "toe", GONE)),
        Place.HOLD,
        "ski A heel: spins; ski B toe: missing",
        "hold",
    ),
    "one out of reach": (
        changed((B, "toe", BLOCKED)),
        Place.BACK,
        "not passed: could not reach B toe; it waits for a look",
        "unfinished",
    ),
    "two out of reach": (
        changed((A, "toe", BLOCKED), (B, "heel", BLOCKED)),
        Place.BACK,
        "not passed: could not reach A toe, B heel; it waits for a look",
        "unfinished",
    ),
    "a fault outranks what was not reached": (
        changed((A, "toe", BLOCKED), (B, "heel", MORE)), Place.HOLD, "ski B heel: turned", "hold",
    ),
    "a fault on what alone was seen": ({B: {"heel": SPINS}}, Place.HOLD, "ski B heel: spins", "hold"),
}  # fmt: skip


@pytest.mark.parametrize("name", OUTCOMES)
def test_what_comes_of_a_look(shop: Shop, name: str) -> None:
    found, place, words, outcome = OUTCOMES[name]
    shop.out("P-1")
    shop.back("P-1")
    done = look(shop, found)
    assert (done.tag, done.place, done.words) == ("P-1", place, words)
    body = body_of(shop, done)
    moved = [
        [s.value, p] for s in Side for p in PIECES if found.get(s, {}).get(p) in (EIGHTH, MORE, SPINS, GONE)
    ]
    blocked = [[s.value, p] for s in Side for p in PIECES if found.get(s, {}).get(p) is BLOCKED]
    mount = read_case(shop.ledger.connection, "P-1").mount
    assert mount is not None
    assert body == {
        "tag": "P-1",
        "kind": "recheck",
        "found": {s.value: {p: w.value for p, w in found.get(s, {}).items()} for s in Side},
        "moved": moved,
        "unreached": blocked if outcome == "unfinished" else [],
        "outcome": outcome,
        "cause": words if outcome == "hold" else "",
        "pattern": "Lark 4",
        "mount_entry": mount.entry,
        "list": None,
        "list_of_another_day": False,
    }
    assert shop.place("P-2") is Place.READY


def body_of(shop: Shop, done: Done) -> dict[str, Any]:
    row = shop.ledger.connection.execute("SELECT body FROM entries WHERE seq = ?", (done.entry,)).fetchone()
    body: dict[str, Any] = json.loads(row[0])
    return body


def test_a_pair_without_a_mount_on_record_is_looked_at_by_toe_and_heel(shop: Shop) -> None:
    shop.pair("N-1", mounted=False)
    words = told(lambda: look(shop, WHOLE, tag="N-1"))
    assert words[0] == "N-1 is flat (no binding on): it cannot be passed"
    for side in Side:
        shop.enter("binding recorded", binding_body(f"N-1/{side.value}", on_pair="N-1", on_ski=side))
    body = body_of(shop, look(shop, WHOLE, tag="N-1"))
    assert (body["pattern"], body["mount_entry"], body["outcome"]) == ("", 0, "pass")
    mounted = {"tag": "P-1", "pattern": "Never 4", "bsl_um": 305_000, "offset_um": 0, "drilled": True}
    shop.enter("mount recorded", {**mounted, "mounted_on": "2026-10-02", "removed_on": None, "slides": []})
    assert body_of(shop, look(shop, WHOLE))["pattern"] == "Never 4"


def test_the_remark_is_kept_with_the_look(shop: Shop) -> None:
    said: tuple[dict[str, str], ...] = ({"remark": "edge dull"}, {"remark": ""}, {})
    for words in said:
        done = look(shop, WHOLE, **words)
        note = shop.ledger.connection.execute(
            "SELECT text FROM notes WHERE seq = ?", (done.entry,)
        ).fetchone()
        assert (note[0] if note else "") == words.get("remark", "")


UNSEEN: dict[str, tuple[dict[Side, dict[str, Found]], str]] = {
    "one piece": (changed((B, "toe", None)), "P-1 was not seen whole: B toe has no finding"),
    "a whole ski": ({A: WHOLE[A]}, "P-1 was not seen whole: B toe, B heel has no finding"),
    "nothing": ({}, "P-1 was not seen whole: A toe, A heel, B toe, B heel has no finding"),
    "one, where another was out of reach": (
        changed((A, "toe", BLOCKED), (B, "heel", None)),
        "P-1 was not seen whole: B heel has no finding",
    ),
}


@pytest.mark.parametrize("name", UNSEEN)
def test_a_pair_is_passed_as_a_pair(shop: Shop, name: str) -> None:
    found, words = UNSEEN[name]
    before = shop.dump()
    cure = "look at both skis; the pair is passed as a pair"
    assert told(lambda: look(shop, found)) == (words, cure)
    assert shop.dump() == before


@pytest.mark.parametrize("kind", [*LookKind, None])
def test_the_kind_is_as_said_or_the_second_check_where_one_is_due(shop: Shop, kind: LookKind | None) -> None:
    recorded = kind or LookKind.RECHECK
    assert body_of(shop, look(shop, WHOLE, kind=kind))["kind"] == recorded.value
    look(shop, changed((B, "heel", SPINS)), by=SANNE)
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="new screw")
    recorded = kind or LookKind.SECOND_CHECK
    assert body_of(shop, look(shop, WHOLE, kind=kind))["kind"] == recorded.value


def repaired(shop: Shop) -> None:
    look(shop, changed((B, "heel", SPINS)), by=SANNE)
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="new screw")


def lifted(shop: Shop) -> None:
    look(shop, changed((B, "heel", SPINS)), by=SANNE)
    with shop.desk(JORY) as desk:
        clear(desk, "P-1", why="the driver slipped")


def unbinds(*sides: str) -> Callable[[Shop], None]:
    def happened(shop: Shop) -> None:
        for side in sides:
            off = {"on_pair": ["P-1", None], "on_ski": [side, None]}
            shop.enter("binding changed", {"binding_id": f"P-1/{side}", "changes": off})

    return happened


def nothing(shop: Shop) -> None:
    pass


def goes_out(shop: Shop) -> None:
    shop.out("P-1")


def held(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="tag fell off")


def locked(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-1", why="a fall")


def in_repair(shop: Shop) -> None:
    held(shop)
    with shop.desk(JORY) as desk:
        begin_repair(desk, "P-1")


IN_SHOP = "only from: back and not passed, waiting for its second check, ready"
PASS_RULE = f"{IN_SHOP}; the rule: a listed person saw every piece of both skis; not the one who did the work"
SECOND = "a second person of the staff list looks at it"
FAULT_RULE = f"{IN_SHOP}, on hold; the rule: any movement of a screw is a hold, even when it holds afterwards"
# what happened, the findings, by whom; the sentence and the cure
REFUSED: dict[str, tuple[Callable[[Shop], object], dict[Side, dict[str, Found]], str, tuple[str, str]]] = {
    "counter staff": (
        nothing,
        WHOLE,
        NELL,
        (f"{NELL} is counter staff and cannot sign a look", "a technician signs"),
    ),
    "whose signature ran out": (
        nothing,
        WHOLE,
        OLD,
        (
            f"{OLD}'s signature ran out on Sat 26 Dec 2026 and cannot sign a look",
            "another listed person signs, or the manager lists a new date",
        ),
    ),
    "who did the work": (
        repaired,
        WHOLE,
        JORY,
        (f"{JORY} did the work on P-1 and cannot pass it too", SECOND),
    ),
    "who lifted the hold": (
        lifted,
        WHOLE,
        JORY,
        (f"{JORY} cleared the hold of P-1 and cannot pass it too", SECOND),
    ),
    "no binding on ski B": (
        unbinds("B"),
        WHOLE,
        IDA,
        ("P-1 has no binding on record on ski B", "check the tag"),
    ),
    "no binding on either ski": (
        unbinds("B", "A"),
        WHOLE,
        IDA,
        ("P-1 is flat (no binding on): it cannot be passed", PASS_RULE),
    ),
    "no binding on ski A": (
        unbinds("A"),
        WHOLE,
        IDA,
        ("P-1 has no binding on record on ski A", "check the tag"),
    ),
    "on hold": (held, WHOLE, IDA, ("P-1 is on hold (tag fell off): it cannot be passed", PASS_RULE)),
    "on hold, out of reach": (
        held,
        changed((A, "toe", BLOCKED)),
        IDA,
        ("P-1 is on hold (tag fell off): it cannot be passed", PASS_RULE),
    ),
    "on hold, before anything else is asked": (
        held,
        {},
        NELL,
        ("P-1 is on hold (tag fell off): it cannot be passed", PASS_RULE),
    ),
    "in quarantine": (locked, WHOLE, IDA, ("P-1 is in quarantine (a fall): it cannot be passed", PASS_RULE)),
    "in repair": (in_repair, WHOLE, IDA, ("P-1 is in repair (tag fell off): it cannot be passed", PASS_RULE)),
    "a fault in quarantine: nothing is touched": (
        locked,
        changed((A, "toe", MORE)),
        IDA,
        ("P-1 is in quarantine: it cannot be found loose", FAULT_RULE),
    ),
    "a fault of a pair that is out": (
        goes_out,
        changed((A, "toe", MORE)),
        IDA,
        ("P-1 is out: it cannot be found loose", FAULT_RULE),
    ),
    "a look at a pair that is out": (
        goes_out,
        WHOLE,
        IDA,
        ("P-1 is out: it cannot be passed", PASS_RULE),
    ),
    "an unfinished look at a pair that is out": (
        goes_out,
        changed((A, "toe", BLOCKED)),
        IDA,
        (
            "P-1 is out: it cannot be left unfinished",
            f"{IN_SHOP}; the rule: a screw that could not be reached is no fault, but no earlier pass counts:"
            " the pair waits",
        ),
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_no_look_passes_over(shop: Shop, name: str) -> None:
    happened, found, by, words = REFUSED[name]
    happened(shop)
    before = shop.dump()
    assert told(lambda: look(shop, found, by=by)) == words
    assert shop.dump() == before


def test_another_person_passes_what_its_worker_and_who_cleared_may_not(shop: Shop) -> None:
    repaired(shop)
    assert look(shop, WHOLE).place is Place.READY
    lifted(shop)
    assert look(shop, WHOLE).place is Place.READY


def test_a_fault_is_entered_by_the_worker_too(shop: Shop) -> None:
    """A hold is never refused for who saw it; a look left unfinished passes nothing either."""
    repaired(shop)
    assert look(shop, changed((A, "toe", BLOCKED)), by=JORY).place is Place.SECOND_CHECK
    assert look(shop, changed((A, "toe", MORE)), by=JORY).place is Place.HOLD


def test_a_held_pair_found_loose_stays_held(shop: Shop) -> None:
    held(shop)
    assert look(shop, changed((A, "toe", MORE))).place is Place.HOLD


def left(shop: Shop) -> None:
    look(shop, changed((B, "toe", BLOCKED)))


def came_back(shop: Shop) -> None:
    shop.out("P-1")
    shop.back("P-1")


LATER: dict[str, tuple[Callable[[Shop], object], str]] = {
    "a return": (came_back, "came back"),
    "work": (repaired, "was worked on"),
    "a fault": (lifted, "was found with a fault"),
    "a look left unfinished": (left, "was left unfinished"),
}


@pytest.mark.parametrize("name", LATER)
def test_a_pass_lies_later_than_all_that_it_answers(shop: Shop, name: str) -> None:
    """A minute before it, at the same minute, and a thousandth of a second after it."""
    happened, words = LATER[name]
    happened(shop)
    standing = shop.standing("P-1")
    event = {
        "came back": standing.returned,
        "was worked on": standing.work,
        "was found with a fault": standing.fault,
        "was left unfinished": standing.unfinished,
    }[words]
    at = datetime.fromisoformat(event.at)
    for early in (at - timedelta(minutes=1), at):
        said, cure = told(lambda early=early: look(shop, WHOLE, at=early))  # type: ignore[misc]
        assert said.startswith(f"P-1 {words} Sun 27 Dec 2026 "), said
        assert cure == "check the time given with --at"
    assert look(shop, WHOLE, at=at + timedelta(milliseconds=1)).place is Place.READY


def test_a_list_serves_what_came_back_before_it_was_made_and_on_its_own_day(shop: Shop) -> None:
    came_back(shop)
    entry = shop.standing("P-1").returned.entry
    early = ListUsed(list_id=f"RC-20261227-{entry - 1}", made_at_entry=entry - 1, day=date(2026, 12, 27))
    before = shop.dump()
    assert told(lambda: look(shop, WHOLE, list_used=early)) == (
        f"P-1 came back after list RC-20261227-{entry - 1} was made: that look was before this return",
        "look at it again, from a new list",
    )
    assert shop.dump() == before
    used = replace(early, list_id=f"RC-20261227-{entry}", made_at_entry=entry)
    done = look(shop, WHOLE, list_used=used)
    assert done.words == "passed"
    body = body_of(shop, done)
    assert (body["list"], body["list_of_another_day"]) == (f"RC-20261227-{entry}", False)


def test_a_list_of_a_day_that_has_not_come_passes_nothing(shop: Shop) -> None:
    """By a slip in the year the passes of the whole rack would be too old, and be given anew unseen."""
    came_back(shop)
    shop.policy("pass_days", "10")
    entry, before = shop.ledger.head.seq, shop.dump()
    for day, words in ((date(2026, 12, 28), "Mon 28 Dec 2026"), (date(2027, 12, 27), "Mon 27 Dec 2027")):
        used = ListUsed(list_id="RC-X", made_at_entry=entry, day=day)
        assert told(lambda used=used: look(shop, WHOLE, list_used=used)) == (  # type: ignore[misc]
            f"list RC-X is of {words}, which has not come yet",
            "the number stands beside the code of the printed list",
        )
        assert under_list(shop.ledger.connection, used, ()).tags
    assert shop.dump() == before


def test_a_list_of_another_day_is_said_and_kept(shop: Shop) -> None:
    came_back(shop)
    day = date(2026, 12, 26)
    used = ListUsed(list_id="RC-X", made_at_entry=shop.standing("P-1").returned.entry, day=day)
    note = f"; NOTE: RC-X is the list of {day_text(day)}, not of today"
    done = look(shop, WHOLE, list_used=used)
    assert done.words == f"passed{note}"
    assert body_of(shop, done)["list_of_another_day"] is True
    done = look(shop, changed((A, "toe", MORE)), list_used=used)
    assert done.words == f"ski A toe: turned{note}"
    assert body_of(shop, done)["cause"] == "ski A toe: turned"


def test_a_fault_counts_from_whatever_list(shop: Shop) -> None:
    """An old list may not pass, but it may stop."""
    came_back(shop)
    used = ListUsed(list_id="RC-20261227-1", made_at_entry=1, day=date(2026, 12, 27))
    assert look(shop, changed((A, "toe", MORE)), list_used=used).place is Place.HOLD


def test_no_pair_no_look(shop: Shop) -> None:
    with pytest.raises(Refused, match="there is no pair P-99"):
        look(shop, WHOLE, tag="P-99")


@pytest.mark.parametrize("remark", ["", "from the paper of last night"])
def test_a_look_as_it_is_typed_says_its_list_and_keeps_its_remark(shop: Shop, remark: str) -> None:
    shop.back("P-1")
    old = ListUsed.parse(recheck_list(shop.ledger.connection, today=shop.today - timedelta(days=1)).list_id)
    with shop.desk(IDA) as desk:
        said = {"remark": remark} if remark else {}
        done = look_as_typed(desk, "p-1", "not moved", (), list_used=old, **said)
    assert f"NOTE: {old.list_id} is the list of Sat 26 Dec 2026, not of today" in done.words
    kept = shop.ledger.connection.execute("SELECT text FROM notes WHERE seq = ?", (done.entry,)).fetchall()
    assert kept == ([(remark,)] if remark else [])


def test_a_look_as_it_is_typed_keeps_its_occasion_and_says_which_pair_lacks_a_piece(shop: Shop) -> None:
    shop.back("P-1")
    with shop.desk(IDA) as desk:
        refused = told(lambda: look_as_typed(desk, "p-1", None, ("B plate=spins",)))
        assert refused == ("P-1 has no plate piece", "its pieces are toe and heel")
        done = look_as_typed(desk, "p-1", "not moved", (), kind=LookKind.SEASON_PREP)
    assert body_of(shop, done)["kind"] == "season prep"
