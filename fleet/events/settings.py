"""Entries about the shop: opening, policy, staff, patterns, fits, sets wanted, gates, answers of imports."""

import secrets
import sqlite3
from datetime import date
from typing import Any, Final, Literal

from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import Refused
from fleet.events.event import (
    LEFT_OUT,
    EntryPart,
    Later,
    OfNoPair,
    OnRecord,
    PersonName,
    TypedText,
    delete_made,
    insert,
    must_be_none,
    must_change,
    replace,
)
from fleet.facts.binding_kinds import KindStep
from fleet.facts.columns import facts_in, plain_facts
from fleet.facts.kinds import Kind
from fleet.facts.patterns import Fit, PatternFacts, PatternHoleFacts, PieceFacts, pattern_from_body
from fleet.facts.policy import Setting, checked_value
from fleet.facts.staff import StaffFacts
from fleet.facts.wishes import Wish, WishFacts

SEALING_KEY: Final = "sealing key "
"""The beginning of the note of the entry that holds the key by which parts of entries are sealed: 64 random
hexadecimal digits, with which somebody could try the names that a case leaves out."""


def new_sealing_key() -> str:
    """Return the note with a new sealing key."""
    return f"{SEALING_KEY}{secrets.token_hex(32)}"


class LedgerOpened(OfNoPair, frozen=True, kw_only=True):
    """A ledger was begun; its note holds the sealing key, in older ledgers that of ``sealing begun``.

    shop: the shop's name
    zone: its time zone, such as Europe/Vienna
    layout: the layout of the file it was begun with
    program: the program and its version; not in older bodies
    """

    WHAT = "ledger opened"
    shop: str
    zone: str
    layout: int
    program: str | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Name the shop."""
        must_be_none(state, "SELECT 1 FROM shop", (), Refused("this ledger is open already"))
        insert(state, "shop", {"name": self.shop, "zone": self.zone, "entry": entry.seq})


class SealingBegun(OnRecord, frozen=True, kw_only=True):
    """A ledger that was begun without a sealing key has one from now on, in this entry's note."""

    WHAT = "sealing begun"


class PolicySet(OfNoPair, Setting, frozen=True, kw_only=True):
    """A policy of the shop was set; the newest entry of a name is in force.

    name: the policy's name
    value: its value, as text
    unit: the unit of the value
    origin: where the value comes from
    since: the day since which it holds
    """

    WHAT = "policy set"
    since: str  # without the default of a `Setting`: a body says it

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It takes the place of the value before it."""
        if not self.origin:
            raise Refused(f"policy {self.name} needs an origin", cure='add --origin "where it comes from"')
        checked_value(self.unit, self.value)
        replace(state, "policy", self.body() | {"entry": entry.seq})


class StaffListed(OfNoPair, StaffFacts, frozen=True, kw_only=True):
    """A person was put on the staff list; listing a name again changes what is said of it from then on.

    second: who signed with the first where no manager or head technician was in date, empty where one was
        listed alone; left out where there was no such need
    first: who signed first, where a restore entered such a listing again; else left out
    """

    WHAT = "staff listed"
    second: PersonName | Later = LEFT_OUT
    first: PersonName | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The person stands so on the list."""
        replace(state, "staff", plain_facts(StaffFacts, self) | {"entry": entry.seq})


class HoleOfAPiece(EntryPart, PatternHoleFacts, frozen=True, kw_only=True, omit_defaults=True):
    """One hole of a piece. A fact that is not stated is left out."""


class PieceOfAPattern(EntryPart, PieceFacts, frozen=True, kw_only=True, omit_defaults=True):
    """One piece of a pattern. A fact that is not stated is left out, but not its travel.

    travel_back_um: how far it travels toward the tail, in micrometres
    travel_forward_um: how far it travels toward the tip, in micrometres
    holes: its holes, from what the piece follows; in older entries each is a list of x, y and diameter
    """

    travel_back_um: int  # without the default of a `Piece`: a body says it
    travel_forward_um: int
    holes: tuple[HoleOfAPiece | tuple[int, int, int | None], ...]


class PatternRecorded(OfNoPair, PatternFacts, frozen=True, kw_only=True):
    """The holes of one binding model; recording a name again replaces it, the old stays in the entries.

    origin: who measured it, and from what
    pieces: its pieces
    """

    WHAT = "pattern recorded"
    origin: TypedText = ""
    pieces: tuple[PieceOfAPattern, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It takes the place of what had its name."""
        pattern = pattern_from_body(entry.body)
        replace(
            state,
            "pattern",
            {
                "name": pattern.name,
                "binding_model": pattern.binding_model,
                "body": canonical_json(entry.body),
                "entry": entry.seq,
            },
        )


class KindStepRecorded(OfNoPair, KindStep, frozen=True, kw_only=True):
    """A step of one kind of binding as the shop does it; the newest of a kind and step is in force.

    kind: the kind of binding
    step: the step, one of `fleet.facts.binding_kinds.STEPS`
    lead: what is read at arm's length, where it is a step of its own
    words: what is read close up
    origin: where it comes from
    """

    WHAT = "kind step recorded"

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It takes the place of what was said of that step."""
        replace(state, "kind_step", self.body() | {"entry": entry.seq})


class FitDeclared(OfNoPair, Fit, frozen=True, kw_only=True):
    """A sole type goes into a pattern, declared by both makers."""

    WHAT = "fit declared"

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The fit holds from now on."""
        if not self.binding_sheet or not self.boot_sheet:
            raise Refused(
                f"the fit of {self.sole_type} in {self.pattern} needs both makers' sheets",
                cure="name the binding maker's and the boot maker's sheet",
            )
        replace(state, "fit", self.body() | {"entry": entry.seq})

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It does not hold."""
        delete_made(state, "fit", seq, f"the fit of entry {seq}")


class FitTakenBack(OfNoPair, frozen=True, kw_only=True):
    """A sole type does not go into a pattern any more; the reason is the note.

    sole_type: the sole type
    pattern: the pattern
    """

    WHAT = "fit taken back"
    sole_type: str
    pattern: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """No row means no."""
        must_change(
            state,
            "DELETE FROM fit WHERE sole_type = ? AND pattern = ?",
            (self.sole_type, self.pattern),
            Refused(
                f"no fit of {self.sole_type} in {self.pattern} is declared", cure="see `mountbook fit list`"
            ),
        )


class ModelKindStated(OfNoPair, frozen=True, kw_only=True):
    """The shop says what a model of boots or of bindings is for; the newest of a model counts.

    thing: boot or binding
    model: the model, as the ledger writes it
    kind: what it is for
    """

    WHAT = "model kind stated"
    thing: Literal["boot", "binding"]
    model: str
    kind: Kind

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is stated for every boot or binding of the model."""
        replace(state, "model_kind", self.body() | {"entry": entry.seq})

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It is not stated."""
        delete_made(state, "model_kind", seq, f"the kind of {self.model}")


class WishRecorded(OfNoPair, WishFacts, frozen=True, kw_only=True):
    """One line of sets wanted; the newest of a name counts."""

    WHAT = "wish recorded"

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It takes the place of what had its name."""
        Wish(**facts_in(WishFacts, self))  # checks itself
        replace(state, "wanted", self.body() | {"entry": entry.seq})


class WishWithdrawn(OfNoPair, frozen=True, kw_only=True):
    """A line of sets wanted is wanted no more.

    wish: the line's name
    """

    WHAT = "wish withdrawn"
    wish: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Strike it out."""
        gone = Refused(f"there is no wish {self.wish}")
        must_change(state, "DELETE FROM wanted WHERE wish = ?", (self.wish,), gone)


class ImportApplied(OnRecord, frozen=True, kw_only=True):
    """Says where the entries that follow came from; no state follows.

    file: the file's name
    sha256: the hash of its bytes
    left_out: the rows that were left out, as ``Skis:7``
    counts: how many entries of each kind follow
    entries: how many follow in all; not in the oldest bodies
    columns: the columns that a person chose, header to key; left out where none were
    """

    WHAT = "import applied"
    file: str
    sha256: str
    left_out: tuple[str, ...]
    counts: dict[str, int]
    entries: int = 0
    columns: dict[str, Any] | Later = LEFT_OUT


class QualificationStated(OfNoPair, frozen=True, kw_only=True):
    """A person is qualified for something; the newest of a person and matter is in force.

    name: the person, as on the staff list
    what: release test, pass or setting
    until: the last day on which it counts
    """

    WHAT = "qualification stated"
    name: PersonName
    what: str
    until: date

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It holds until that day; what was said before stays, for the days before this entry."""
        insert(state, "qualification", self.body() | {"since": entry.stated_at_utc, "entry": entry.seq})


class TesterCalibrated(OfNoPair, frozen=True, kw_only=True):
    """A release tester was calibrated.

    device: the device, as release tests name it
    calibrated_on: the day
    until: the last day on which its tests count
    certificate: the certificate, or empty
    """

    WHAT = "tester calibrated"
    device: str
    calibrated_on: date
    until: date
    certificate: TypedText

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Its tests of those days count."""
        insert(state, "tester", self.body() | {"entry": entry.seq})


class BindingModelStated(OfNoPair, frozen=True, kw_only=True):
    """A binding model's declared standard, or that its maker supports it no longer (or does so again).

    model: the binding model
    standard: the standard that it declares; left out where nothing is said of it
    unsupported_since: the day; null where it is supported; left out where nothing is said of it
    origin: whose sheet or list says so
    """

    WHAT = "binding model stated"
    model: str
    standard: str | Later = LEFT_OUT
    unsupported_since: date | Later | None = LEFT_OUT
    origin: TypedText

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It takes the place of what was said of that."""
        insert_or_ignore = "INSERT INTO binding_model (model, entry) VALUES (?, 0) ON CONFLICT DO NOTHING"
        state.execute(insert_or_ignore, (self.model,))
        said = self.body()
        columns = [name for name in ("standard", "unsupported_since", "origin") if name in said]
        state.execute(
            f"UPDATE binding_model SET {', '.join(f'{name} = ?' for name in columns)}, entry = ?"
            " WHERE model = ?",
            (*(said[name] for name in columns), entry.seq, self.model),
        )


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
