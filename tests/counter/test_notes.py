"""Notes stand until they are ended, are shown with their thing, and what they propose waits for a name.

The alarm words are our own table (no source). Driven through the command line.
"""

from __future__ import annotations

import pytest

from fleet.facts.notes import proposal_in
from tests.counter.command import Command
from tests.counter.shop import IDA, NELL, SANNE, WIM


@pytest.mark.parametrize(
    ("text", "proposes"),
    [
        ("heel loose!!", "hold"),
        ("Ferse LOCKER", "hold"),
        ("talon desserré", "hold"),
        ("fixation cassée", "hold"),
        ("Kante beschädigt", "hold"),
        ("delamination at the tail", "hold"),
        ("verkauft im März", "sold"),
        ("vendu", "sold"),
        ("sold, but heel loose", "sold"),
        ("ausgemustert", "retired"),
        ("nur ein Ski da", "single"),
        ("loosely packed", ""),
        ("close to the wall", ""),
        ("unsold", ""),
        ("new edges, waxed", ""),
        ("", ""),
    ],
)
def test_alarm_words_propose_and_their_neighbours_do_not(text: str, proposes: str) -> None:
    """Whole words in three languages, whatever the case and accents; the first one counts."""
    assert proposal_in(text) == proposes


def test_a_note_stands_on_its_thing_until_it_is_ended(command: Command) -> None:
    """On a pair, one ski of it, a boot: shown by `ski`, `boot` and `note`; ended by a listed person."""
    assert command("note", "P-1", "edge blunt at the tip", "--by", NELL).returncode == 0
    assert command("note", "P-1/B", "base patched", "--by", NELL).returncode == 0
    assert command("note", "B-305", "left buckle stiff", "--by", NELL).returncode == 0
    shown = command("ski", "P-1").stdout
    assert "note on P-1: edge blunt at the tip" in shown
    assert "note on P-1/B: base patched" in shown
    assert "note on B-305: left buckle stiff" in command("boot", "B-305").stdout
    [of_b] = command("note", "P-1/B", "--json").json["notes"]
    assert of_b["text"] == "base patched"
    assert command("note", "P-1", "--end", "--by", IDA).returncode == 1, "two stand: say which"
    assert command("note", "P-1", "--end", "--by", "Nobody").returncode == 1
    assert command("note", "P-1/B", "--end", "--by", IDA).returncode == 0
    assert command("note", "P-1/B", "--end", "--by", IDA).returncode == 1
    assert "base patched" not in command("ski", "P-1").stdout.split("history")[0]
    assert "“base patched”" in command("ski", "P-1").stdout, "the history has it for ever"
    assert command("note", "P-9", "what").returncode == 1
    assert command("note", "P-1", "..").returncode == 1
    assert command("note", "P-1", "a text", "--end").returncode == 1


def test_a_note_that_is_blanked_is_gone_from_every_screen(command: Command) -> None:
    """It still stands, without its words."""
    entry = command("note", "P-1", "Vera says the edge is blunt", "--json").json["done"][0]["entry"]
    assert command("redact", str(entry), "--by", WIM).returncode == 0
    shown = command("ski", "P-1").stdout
    assert "Vera" not in shown
    assert f"note on P-1: (text removed)  (entry {entry})" in shown


def test_a_proposal_waits_for_its_answer_and_taking_it_does_it(command: Command) -> None:
    """Nothing is done by itself; the two commands that answer are said."""
    said = command("note", "P-1", "heel loose!!", "--by", NELL, "--json").json["done"][0]["words"]
    assert said == (
        "P-1: 'heel loose!!' - hold it? mountbook note P-1 --took-it --by NAME,"
        " or mountbook note P-1 --not-so --by NAME"
    )
    assert command("ski", "P-1", "--json").json["place"] == "ready"
    assert "asks: hold? (mountbook note P-1)" in command("ski", "P-1").stdout
    assert command("note", "P-1", "--took-it", "--by", "Nobody").returncode == 1
    assert command("note", "P-1", "--took-it", "--by", NELL).returncode == 0
    assert command("ski", "P-1", "--json").json["place"] == "hold"
    assert "heel loose!!" in command("out", "P-1", "--json").json["refused"]
    assert command("note", "P-1", "--not-so", "--by", NELL).returncode == 1, "it is answered"
    assert "asks:" not in command("ski", "P-1").stdout


@pytest.mark.parametrize(
    ("thing", "text", "by", "place"),
    [
        ("P-1", "sold in March", WIM, "sold"),
        ("P-1", "scrapped", SANNE, "retired"),
        ("B-305", "sold in March", WIM, "sold"),
        ("B-305", "buckle broken", NELL, "hold"),
    ],
)
def test_taking_a_proposal_needs_the_rights_of_what_is_done(
    command: Command, thing: str, text: str, by: str, place: str
) -> None:
    """Counter staff may hold, not retire; a technician may not sell."""
    command("note", thing, text, "--by", NELL)
    if by is not NELL:
        assert command("note", thing, "--took-it", "--by", NELL).returncode == 1
    assert command("note", thing, "--took-it", "--by", by).returncode == 0
    shown = command("boot" if thing == "B-305" else "ski", thing, "--json").json
    assert shown["place"] == place


def test_one_ski_gone_is_said_before_it_is_taken(command: Command) -> None:
    """Which one, nobody reads out of a note."""
    command("note", "P-1", "nur ein Ski", "--by", NELL)
    refused = command("note", "P-1", "--took-it", "--by", IDA, "--json")
    assert refused.returncode == 1
    assert refused.json["refused"] == "which ski of P-1 is gone needs to be said first"
    assert command("singles", "lost", "P-1", "--ski", "B", "--by", IDA).returncode == 0
    assert command("note", "P-1", "--took-it", "--by", IDA).returncode == 0


def test_open_questions_are_listed_and_not_so_ends_the_question(command: Command) -> None:
    """The list that a day's page shows; the note stands on."""
    from fleet.ledger.ledger import Ledger
    from fleet.rules.notes import open_questions
    from fleet.tables.snapshot import read_pairs

    command("note", "P-1/A", "heel loose!!", "--by", NELL)
    with Ledger.open(command.ledger) as ledger:
        [one] = open_questions(ledger.connection)
        assert (one.note.name, one.asks) == ("P-1/A", "hold it?")
        assert not read_pairs(ledger.connection, "P-1")["P-1"].plannable
    assert command("note", "P-1", "--not-so", "--why", "it was the other", "--by", NELL).returncode == 0
    with Ledger.open(command.ledger) as ledger:
        assert open_questions(ledger.connection) == ()
        assert read_pairs(ledger.connection, "P-1")["P-1"].plannable
    assert "note on P-1/A: heel loose!!" in command("ski", "P-1").stdout
    assert command("audit").returncode == 0
