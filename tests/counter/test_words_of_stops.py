"""What each hand at a stop is answered: in words, by its own pair, and why where it is refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

import pytest

from fleet.base.errors import BadInput, MountbookError
from fleet.base.typed_text import note_in
from fleet.facts.fault_causes import cause_of
from fleet.facts.holes import Side, SkiFault
from fleet.facts.standing import Place
from fleet.ledger.desk import Desk
from fleet.rules.counter import Done, move
from fleet.rules.holds import (
    begin_repair,
    clear,
    clear_hold,
    clear_quarantine,
    end_repair,
    hold,
    parse_touched,
    quarantine,
    ski_fault,
)
from fleet.tables.snapshot import read_boots
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, Shop

BACK = timedelta(minutes=-5)
Act = Callable[[Desk, str], Done]
Step = tuple[str, Act, str]
repair = partial(end_repair, did="screw set")

WALKS: dict[str, list[Step]] = {
    "a hold and its repair": [
        (JORY, begin_repair, "P-1 is ready: it cannot go to repair"),
        (NELL, partial(hold, why=" "), "the cause of a hold needs to be named"),
        (NELL, partial(hold, why="strap torn"), "HOLD: strap torn"),
        (NELL, begin_repair, "Nell Abres is counter staff and cannot begin a repair"),
        (JORY, begin_repair, "in repair: strap torn"),
        (NELL, repair, "Nell Abres is counter staff and cannot sign a repair"),
        (JORY, partial(end_repair, did=" "), "what was done needs to be said in words"),
        (JORY, repair, "repaired: screw set; a second person looks; its binding is set for sole: not known"),
        (JORY, repair, "P-1 is waiting for its second check: it cannot come out of repair"),
        (JORY, clear_hold, "P-1 is waiting for its second check: it cannot be cleared"),
    ],
    "a quarantine over a hold": [
        (NELL, partial(quarantine, why=" "), "the cause of a quarantine needs to be named"),
        (NELL, partial(hold, why="dent in the edge"), "HOLD: dent in the edge"),
        (NELL, partial(quarantine, why="fall"), "QUARANTINE, touch nothing: fall"),
        (
            IDA,
            partial(clear_quarantine, why="looked at"),
            "Ida Fennweg is a head technician; only a manager can clear a quarantine",
        ),
        (WIM, partial(clear_quarantine, why=" "), "the reason needs to be said in words"),
        (
            WIM,
            partial(clear_quarantine, why="insurer is done"),
            "quarantine ended; still on hold: dent in the edge",
        ),
        (WIM, partial(clear_quarantine, why="done"), "P-1 is on hold: it cannot leave quarantine"),
        (SANNE, clear_hold, "cleared; it is back and not passed and needs a look at both skis"),
    ],
    "an accident typed as a hold": [
        (
            NELL,
            partial(hold, why="accident on the run"),
            "QUARANTINE, touch nothing: accident on the run; cause: accident, read out of these words",
        ),
        (
            WIM,
            partial(clear_quarantine, why="insurer is done"),
            "quarantine ended; it needs a look at both skis",
        ),
    ],
    "a fault of a ski": [
        (
            NELL,
            partial(ski_fault, side=Side.B, fault=SkiFault.WET_CORE),
            "STOPPED: ski B: wet core; only a head technician ends it",
        ),
        (
            JORY,
            repair,
            "repaired: screw set; the head technician ends what stopped it: ski B: wet core;"
            " its binding is set for sole: not known",
        ),
    ],
    "who worked on it ends no stop of the bench": [
        (
            NELL,
            partial(ski_fault, side=Side.B, fault=SkiFault.WET_CORE),
            "STOPPED: ski B: wet core; only a head technician ends it",
        ),
        (
            IDA,
            repair,
            "repaired: screw set; the head technician ends what stopped it: ski B: wet core;"
            " its binding is set for sole: not known",
        ),
        (
            IDA,
            partial(clear_hold, why="dried for a week"),
            "Ida Fennweg is a head technician; only a manager can end a stop (ski B: wet core)",
        ),
    ],
    "who worked on it lifts no moved screw after that": [
        (NELL, partial(hold, why="strap torn"), "HOLD: strap torn"),
        (SANNE, repair, "repaired: screw set; a second person looks; its binding is set for sole: not known"),
        (NELL, partial(quarantine, why="fall"), "QUARANTINE, touch nothing: fall"),
        (
            WIM,
            partial(clear_quarantine, why="insurer is done"),
            "quarantine ended; it needs a look at both skis",
        ),
        (
            NELL,
            partial(hold, why="heel turned", cause=cause_of("moved screw")),
            "HOLD: heel turned; what ends it: repair it, then enter it (mountbook repair done P-1 --did TEXT"
            " --by NAME); if no screw moved, somebody else than Nell Abres ends the stop: mountbook clear P-1"
            " --why TEXT --by NAME",
        ),
        (
            SANNE,
            partial(clear_hold, why="it was nothing"),
            "Sanne Oder did the work on P-1 and cannot pass it too",
        ),
        (
            JORY,
            partial(clear_hold, why="it was nothing"),
            "cleared; it is waiting for its second check and needs a look at both skis",
        ),
    ],
    "a retired pair": [
        (IDA, partial(move, to="retired", reason="worn out"), "worn out"),
        (NELL, partial(hold, why="strap torn"), "P-1 is retired: it cannot be held"),
        (NELL, partial(quarantine, why="fall"), "P-1 is retired: it cannot be quarantined"),
        (NELL, partial(ski_fault, side=Side.A, fault=SkiFault.CRACK), "P-1 is retired"),
        (JORY, repair, "P-1 is retired: it cannot come out of repair"),
        (IDA, clear_hold, "P-1 is retired: it cannot be cleared"),
        (WIM, partial(clear_quarantine, why="done"), "P-1 is retired: it cannot leave quarantine"),
    ],
}


BOOT_WALK: list[tuple[str, Act, str, str]] = [
    (NELL, partial(hold, why=" "), "the cause of a hold needs to be named", ""),
    (NELL, partial(hold, why="buckle torn"), "HOLD: buckle torn", "buckle torn"),
    (WIM, partial(move, to="sold", reason="a guest"), "B-305 is on hold: it cannot be sold", ""),
    (NELL, clear, f"{NELL} is counter staff and cannot clear a hold", ""),
    (SANNE, partial(clear, why="sewn"), "cleared and ready", "sewn"),
    (NELL, partial(move, to="missing", reason="not on its rack"), "not on its rack", "not on its rack"),
    (NELL, partial(move, to="shop", reason="behind the rack"), "behind the rack", "behind the rack"),
    (NELL, partial(move, to="in transit", reason="to the hut"), "to the hut", "to the hut"),
    (NELL, partial(move, to="shop", reason=""), "", ""),
    (SANNE, partial(move, to="retired", reason=" sole worn "), "sole worn", "sole worn"),
]
"""What a boot is answered, and what is kept of the words that were typed."""


def told(
    shop: Shop, by: str, act: Act, *, earlier: timedelta | None = None, tag: str = "P-1", place: Any = None
) -> str:
    at = None if earlier is None else shop.now + earlier
    try:
        with shop.desk(by, at=at) as desk:
            done = act(desk, tag)
    except MountbookError as refused:
        return refused.sentence
    stands = shop.place(tag) if place is None else place()
    assert (done.tag, done.place, done.entry) == (tag, stands, shop.ledger.head.seq)
    return done.words


def test_every_hand_at_a_boot_is_answered_in_words_and_these_are_kept(shop: Shop) -> None:
    connection = shop.ledger.connection

    def place() -> Place:
        return read_boots(connection, "B-305")["B-305"].place

    for by, act, words, kept in BOOT_WALK:
        before = shop.ledger.head.seq
        assert told(shop, by, act, tag="B-305", place=place) == words
        notes = connection.execute("SELECT text FROM notes WHERE seq > ?", (before,)).fetchall()
        assert [note_in(text) for (text,) in notes] == ([kept] if kept else [])


@pytest.mark.parametrize("name", WALKS)
def test_every_hand_at_a_stop_is_answered_in_words(shop: Shop, name: str) -> None:
    shop.ready("P-1")
    for by, act, words in WALKS[name]:
        assert told(shop, by, act) == words


def test_no_repair_begins_or_ends_before_the_pair_was_stopped(shop: Shop) -> None:
    shop.ready("P-1")
    told(shop, NELL, partial(hold, why="strap torn"))
    assert told(shop, JORY, begin_repair, earlier=BACK).startswith("P-1 was held Sun 27 Dec 2026 08:")
    assert told(shop, JORY, repair, earlier=BACK).startswith("P-1 was held Sun 27 Dec 2026 08:")
    told(shop, JORY, begin_repair)
    assert told(shop, JORY, repair, earlier=BACK).startswith("P-1 went to repair Sun 27 Dec 2026 08:")


def test_what_nobody_said_stands_beside_no_entry(shop: Shop) -> None:
    shop.ready("P-1")
    acts = (
        (NELL, partial(ski_fault, side=Side.A, fault=SkiFault.CRACK)),
        (NELL, partial(hold, why="strap torn")),
        (IDA, partial(clear_hold, why="filled, sound to the pick")),
        (NELL, partial(hold, why="strap torn")),
        (SANNE, clear_hold),
    )
    notes = []
    for by, act in acts:
        told(shop, by, act)
        row = (shop.ledger.head.seq,)
        found = shop.ledger.connection.execute("SELECT text FROM notes WHERE seq = ?", row).fetchone()
        notes.append(note_in(found[0]) if found else "")
    assert notes == ["", "strap torn", "filled, sound to the pick", "strap torn", ""]


@pytest.mark.parametrize("typed", ["C heel", "heel", "A"])
def test_a_piece_of_no_ski_is_refused_with_how_it_is_written(shop: Shop, typed: str) -> None:
    with pytest.raises(BadInput, match=f"{typed!r} is not a piece of a ski") as refused:
        parse_touched([typed], pieces=("toe", "heel"), tag="P-1")
    assert refused.value.cure == 'write it like "B heel", or none alone'


def test_a_repair_of_which_nothing_is_said_is_refused_with_its_own_option(shop: Shop) -> None:
    shop.ready("P-1")
    told(shop, NELL, partial(hold, why="strap torn"))
    with pytest.raises(BadInput) as refused, shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="ok")
    assert refused.value.cure == 'add --did "what was seen or done"'
