"""Entries about imports: what the shop answered once and for all, and what is still open of a file."""

from __future__ import annotations

import sqlite3

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import EntryPart, OfNoPair, TypedText, insert, must_change, replace


class ImportAnswered(OfNoPair, frozen=True, kw_only=True):
    """A question of an import was answered for this file and the next ones; the newest answer counts.

    key: a hash of the question's id, by which it is found
    question: the question's id, which holds a word of the sheet
    answer: the answer
    """

    WHAT = "import answered"
    key: str
    question: TypedText
    answer: TypedText

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It takes the place of the answer before it."""
        replace(state, "import_answer", self.body() | {"entry": entry.seq})


class ImportAnswerTakenBack(OfNoPair, frozen=True, kw_only=True):
    """An answer that was remembered does not hold any more: the question is asked again.

    key: a hash of the question's id
    """

    WHAT = "import answer taken back"
    key: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Forget it."""
        gone = Refused("there is no such answer", cure="see `mountbook import profile`")
        must_change(state, "DELETE FROM import_answer WHERE key = ?", (self.key,), gone)


class ImportDoubt(EntryPart, frozen=True, kw_only=True):
    """One question that stayed open.

    question: its id
    asked: the question in words
    sheet: the sheet where it stands first
    rows: the rows that wait for it
    """

    question: TypedText
    asked: TypedText
    sheet: str
    rows: tuple[int, ...]


class ImportDoubtsKept(OfNoPair, frozen=True, kw_only=True):
    """The open questions of a file whose certain part was taken in; the newest of a file's name count.

    file: the file's name
    doubts: its open questions; none: all are settled
    """

    WHAT = "import doubts kept"
    file: str
    doubts: tuple[ImportDoubt, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They take the place of what was open of that file."""
        state.execute("DELETE FROM import_doubt WHERE file = ?", (self.file,))
        for number, doubt in enumerate(self.doubts):
            said = {"question": doubt.question, "asked": doubt.asked, "sheet": doubt.sheet}
            rows = ",".join(map(str, doubt.rows))
            insert(
                state,
                "import_doubt",
                {"file": self.file, "number": number, **said, "rows": rows, "entry": entry.seq},
            )
