"""The layout of a ledger file: its entries, their guards, the tables derived; what it must be to the word."""

import re
import sqlite3
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Final, NamedTuple

from fleet.facts.boots import BootFacts
from fleet.facts.columns import sql_columns
from fleet.facts.holes import HoleFacts, MountFacts, StatedMountFacts
from fleet.facts.pairs import AreaFacts, Binding, Pair, SkiFacts
from fleet.facts.patterns import Fit
from fleet.facts.staff import StaffFacts
from fleet.facts.wishes import WishFacts

LATCH: Final = "only_mountbook_writes_here"
"""The SQL function every guard asks; its name is the error message other programs get."""

APPLICATION_ID: Final = 0x6D6E7462  # "mntb" in ASCII
LAYOUT: Final = 3
"""PRAGMA user_version of the layout this program writes."""

# The guards. `entries` has one unique column on purpose: with a second one, INSERT OR REPLACE would
# delete the row it collides with. The insert trigger is what stops REPLACE and upserts on `seq`.
ENTRIES: Final = f"""
CREATE TABLE entries (
    seq INTEGER PRIMARY KEY,
    recorded_at_utc TEXT NOT NULL,
    stated_at_utc TEXT NOT NULL,
    zone TEXT NOT NULL,
    by TEXT NOT NULL,
    what TEXT NOT NULL,
    body TEXT NOT NULL,
    note_hash TEXT,
    prev_hash TEXT NOT NULL,
    hash TEXT NOT NULL
) STRICT;
CREATE TABLE notes (
    seq INTEGER PRIMARY KEY REFERENCES entries(seq),
    salt TEXT NOT NULL,
    text TEXT,
    redacted_by INTEGER REFERENCES entries(seq)
) STRICT;
CREATE TABLE names (
    place TEXT PRIMARY KEY,
    seq INTEGER NOT NULL REFERENCES entries(seq),
    person TEXT NOT NULL,
    digest TEXT NOT NULL,
    salt TEXT NOT NULL,
    text TEXT,
    removed_by INTEGER REFERENCES entries(seq)
) STRICT;
CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER entries_in_order BEFORE INSERT ON entries
WHEN NOT {LATCH}()
  OR NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entries)
  OR NEW.prev_hash IS NOT coalesce(
        (SELECT hash FROM entries ORDER BY seq DESC LIMIT 1), printf('%064d', 0))
BEGIN SELECT RAISE(ABORT, 'an entry must follow the newest one'); END;
CREATE TRIGGER notes_only_blanked BEFORE UPDATE ON notes
WHEN NOT {LATCH}()
  OR OLD.text IS NULL OR NEW.text IS NOT NULL OR NEW.salt IS NOT '' OR NEW.seq IS NOT OLD.seq
  OR NEW.redacted_by IS NOT (
        SELECT seq FROM entries WHERE seq = (SELECT max(seq) FROM entries)
        AND what = 'note blanked' AND json_extract(body, '$.entry') = OLD.seq)
BEGIN SELECT RAISE(ABORT, 'a note may only be blanked, by the entry that says so'); END;
CREATE TRIGGER notes_no_delete BEFORE DELETE ON notes
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER notes_in_order BEFORE INSERT ON notes
WHEN NOT {LATCH}()
  OR NEW.seq IS NOT (
        SELECT seq FROM entries WHERE seq = (SELECT max(seq) FROM entries) AND note_hash IS NOT NULL)
  OR EXISTS (SELECT 1 FROM notes WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'a note belongs to the entry just made'); END;
CREATE TRIGGER names_only_removed BEFORE UPDATE ON names
WHEN NOT {LATCH}()
  OR OLD.text IS NULL OR NEW.text IS NOT NULL OR NEW.salt IS NOT '' OR NEW.place IS NOT OLD.place
  OR NEW.seq IS NOT OLD.seq OR NEW.person IS NOT OLD.person OR NEW.digest IS NOT OLD.digest
  OR NEW.removed_by IS NOT (
        SELECT seq FROM entries WHERE seq = (SELECT max(seq) FROM entries)
        AND what = 'name removed' AND json_extract(body, '$.name') = OLD.person)
BEGIN SELECT RAISE(ABORT, 'a name may only be taken out, by the entry that says so'); END;
CREATE TRIGGER names_no_delete BEFORE DELETE ON names
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER names_in_order BEFORE INSERT ON names
WHEN NOT {LATCH}()
  OR NEW.seq IS NOT (SELECT max(seq) FROM entries)
  OR EXISTS (SELECT 1 FROM names WHERE place = NEW.place)
BEGIN SELECT RAISE(ABORT, 'a name belongs to the entry just made'); END;
"""

STATE: Final = f"""
CREATE TABLE shop (name TEXT NOT NULL, zone TEXT NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE TABLE policy (
    name TEXT PRIMARY KEY, value TEXT NOT NULL, unit TEXT NOT NULL, origin TEXT NOT NULL,
    since TEXT NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE TABLE staff (
    {sql_columns(StaffFacts, key="name")},
    entry INTEGER NOT NULL) STRICT;
CREATE TABLE pattern (
    name TEXT PRIMARY KEY, binding_model TEXT NOT NULL, body TEXT NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE TABLE kind_step (
    kind TEXT NOT NULL, step TEXT NOT NULL, lead TEXT NOT NULL, words TEXT NOT NULL, origin TEXT NOT NULL,
    entry INTEGER NOT NULL, PRIMARY KEY (kind, step)) STRICT;
CREATE TABLE fit (
    {sql_columns(Fit)},
    entry INTEGER NOT NULL, PRIMARY KEY (sole_type, pattern)) STRICT;
CREATE TABLE pair (
    {sql_columns(Pair, key="tag")},
    earlier_at_least INTEGER NOT NULL DEFAULT 0, entry INTEGER NOT NULL) STRICT;
CREATE TABLE ski (
    tag TEXT NOT NULL, side TEXT NOT NULL,
    {sql_columns(SkiFacts)},
    holes_numbered_to INTEGER NOT NULL DEFAULT 0,
    closed_entry INTEGER NOT NULL DEFAULT 0, closed_at TEXT NOT NULL DEFAULT '',
    closed_why TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (tag, side)) STRICT;
CREATE TABLE area (
    entry INTEGER NOT NULL, tag TEXT NOT NULL, side TEXT NOT NULL,
    {sql_columns(AreaFacts)},
    by TEXT NOT NULL) STRICT;
CREATE INDEX area_of_pair ON area (tag);
CREATE TABLE hole (
    {sql_columns(HoleFacts, key="hole_id")},
    tag TEXT NOT NULL, side TEXT NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE INDEX hole_of_pair ON hole (tag);
CREATE TABLE mount (
    mount_id INTEGER PRIMARY KEY, tag TEXT NOT NULL,
    {sql_columns(MountFacts)},
    slides TEXT NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE INDEX mount_of_pair ON mount (tag);
CREATE TABLE stated_mount (
    entry INTEGER NOT NULL, tag TEXT NOT NULL,
    {sql_columns(StatedMountFacts)}) STRICT;
CREATE INDEX stated_mount_of_pair ON stated_mount (tag);
CREATE TABLE binding (
    {sql_columns(Binding, key="binding_id")},
    gone_entry INTEGER NOT NULL DEFAULT 0,
    entry INTEGER NOT NULL) STRICT;
CREATE INDEX binding_on_pair ON binding (on_pair);
CREATE INDEX binding_kind ON binding (model, kind) WHERE kind IS NOT NULL AND gone_entry = 0;
CREATE TABLE boot (
    {sql_columns(BootFacts, key="tag")},
    whereabouts TEXT NOT NULL DEFAULT 'shop', hold_entry INTEGER NOT NULL DEFAULT 0,
    back_entry INTEGER NOT NULL DEFAULT 0,
    entry INTEGER NOT NULL) STRICT;
CREATE TABLE model_kind (
    thing TEXT NOT NULL, model TEXT NOT NULL, kind TEXT NOT NULL, entry INTEGER NOT NULL,
    PRIMARY KEY (thing, model)) STRICT;
CREATE TABLE import_answer (
    key TEXT PRIMARY KEY, question TEXT NOT NULL, answer TEXT NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE TABLE import_doubt (
    file TEXT NOT NULL, number INTEGER NOT NULL, question TEXT NOT NULL, asked TEXT NOT NULL,
    sheet TEXT NOT NULL, rows TEXT NOT NULL, entry INTEGER NOT NULL, PRIMARY KEY (file, number)) STRICT;
CREATE TABLE thing_note (
    entry INTEGER PRIMARY KEY, tag TEXT, side TEXT, boot TEXT, binding_id TEXT, proposes TEXT NOT NULL,
    answer_entry INTEGER NOT NULL DEFAULT 0, ended_entry INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE INDEX note_of_pair ON thing_note (tag);
CREATE INDEX note_of_boot ON thing_note (boot);
CREATE INDEX note_of_binding ON thing_note (binding_id);
CREATE TABLE wanted (
    {sql_columns(WishFacts, key="wish")},
    entry INTEGER NOT NULL) STRICT;
CREATE TABLE standing (
    tag TEXT PRIMARY KEY, place TEXT NOT NULL, place_entry INTEGER NOT NULL, place_at TEXT NOT NULL,
    whereabouts TEXT NOT NULL DEFAULT 'shop',
    out_entry INTEGER NOT NULL DEFAULT 0, out_at TEXT NOT NULL DEFAULT '', out_boot TEXT, out_due TEXT,
    out_own TEXT NOT NULL DEFAULT '',
    return_entry INTEGER NOT NULL DEFAULT 0, return_at TEXT NOT NULL DEFAULT '',
    said_entry INTEGER NOT NULL DEFAULT 0, days_out INTEGER NOT NULL DEFAULT 0,
    hires INTEGER NOT NULL DEFAULT 0, days_hired INTEGER NOT NULL DEFAULT 0,
    work_entry INTEGER NOT NULL DEFAULT 0, work_at TEXT NOT NULL DEFAULT '',
    work_what TEXT NOT NULL DEFAULT '', workers TEXT NOT NULL DEFAULT '[]',
    second_check INTEGER NOT NULL DEFAULT 0, returns_since_work INTEGER NOT NULL DEFAULT 99,
    glued_at TEXT NOT NULL DEFAULT '', glued_with TEXT NOT NULL DEFAULT '[]',
    look_entry INTEGER NOT NULL DEFAULT 0,
    fault_entry INTEGER NOT NULL DEFAULT 0, fault_at TEXT NOT NULL DEFAULT '',
    loose TEXT NOT NULL DEFAULT '[]', returns_since_fault INTEGER NOT NULL DEFAULT 99,
    unfinished_entry INTEGER NOT NULL DEFAULT 0, unfinished_at TEXT NOT NULL DEFAULT '',
    unreached TEXT NOT NULL DEFAULT '[]',
    pass_entry INTEGER NOT NULL DEFAULT 0, pass_at TEXT NOT NULL DEFAULT '',
    pass_by TEXT NOT NULL DEFAULT '',
    hold_entry INTEGER NOT NULL DEFAULT 0, hold_why TEXT NOT NULL DEFAULT '',
    stop_entry INTEGER NOT NULL DEFAULT 0, stop_why TEXT NOT NULL DEFAULT '',
    finders TEXT NOT NULL DEFAULT '[]', cleared_by TEXT NOT NULL DEFAULT '[]',
    stands TEXT NOT NULL DEFAULT '{{}}',
    repair_entry INTEGER NOT NULL DEFAULT 0,
    quarantine_entry INTEGER NOT NULL DEFAULT 0,
    undo_entry INTEGER NOT NULL DEFAULT 0, undo_row TEXT NOT NULL DEFAULT '') STRICT;
CREATE INDEX standing_place ON standing (place);
CREATE INDEX standing_out_boot ON standing (out_boot) WHERE place = 'out';
CREATE TABLE load (
    entry INTEGER PRIMARY KEY, run TEXT NOT NULL, other TEXT NOT NULL, leaves INTEGER NOT NULL,
    sha256 TEXT NOT NULL) STRICT;
CREATE TABLE load_thing (entry INTEGER NOT NULL, tag TEXT, boot TEXT, binding_id TEXT) STRICT;
CREATE INDEX thing_of_load ON load_thing (entry);
CREATE TABLE renamed (old TEXT PRIMARY KEY, new TEXT NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE TABLE glue (
    entry INTEGER NOT NULL, tag TEXT NOT NULL, at TEXT NOT NULL, stated TEXT NOT NULL,
    PRIMARY KEY (tag, entry)) STRICT;
CREATE TABLE waiting_stop (
    tag TEXT NOT NULL, entry INTEGER NOT NULL, stated_at_utc TEXT NOT NULL, body TEXT NOT NULL,
    PRIMARY KEY (tag, entry)) STRICT;
CREATE TABLE look (
    entry INTEGER PRIMARY KEY, tag TEXT NOT NULL, looked_at TEXT NOT NULL, kind TEXT NOT NULL,
    outcome TEXT NOT NULL, moved INTEGER NOT NULL, found TEXT NOT NULL, pattern TEXT NOT NULL,
    mount_entry INTEGER NOT NULL, days_out INTEGER NOT NULL, by TEXT NOT NULL) STRICT;
CREATE INDEX look_of_pair ON look (tag);
CREATE INDEX look_of_pattern ON look (pattern, moved);
CREATE INDEX look_of_person ON look (by, looked_at, outcome);
CREATE TABLE release_test (
    entry INTEGER PRIMARY KEY, tag TEXT NOT NULL, side TEXT NOT NULL, piece TEXT NOT NULL,
    device TEXT NOT NULL, outcome TEXT NOT NULL, at TEXT NOT NULL, by TEXT NOT NULL) STRICT;
CREATE INDEX release_test_of_pair ON release_test (tag, side, piece);
CREATE TABLE qualification (
    entry INTEGER PRIMARY KEY, name TEXT NOT NULL, what TEXT NOT NULL, until TEXT NOT NULL,
    since TEXT NOT NULL) STRICT;
CREATE TABLE tester (
    entry INTEGER PRIMARY KEY, device TEXT NOT NULL, calibrated_on TEXT NOT NULL, until TEXT NOT NULL,
    certificate TEXT NOT NULL) STRICT;
CREATE TABLE binding_model (
    model TEXT PRIMARY KEY, standard TEXT NOT NULL DEFAULT '', unsupported_since TEXT,
    origin TEXT NOT NULL DEFAULT '', entry INTEGER NOT NULL) STRICT;
CREATE TABLE recall (
    recall TEXT PRIMARY KEY, pattern TEXT NOT NULL, piece TEXT NOT NULL, serial_from TEXT NOT NULL,
    serial_to TEXT NOT NULL, season TEXT NOT NULL, source TEXT NOT NULL, opened_entry INTEGER NOT NULL,
    closed_entry INTEGER) STRICT;
CREATE TABLE evening (
    day TEXT PRIMARY KEY, out INTEGER NOT NULL, back INTEGER NOT NULL, later INTEGER NOT NULL,
    missing INTEGER NOT NULL, entry INTEGER NOT NULL) STRICT;
CREATE TABLE single_ski (tag TEXT NOT NULL, side TEXT NOT NULL, PRIMARY KEY (tag, side)) STRICT;
CREATE TABLE operating_day (day TEXT PRIMARY KEY) STRICT;
CREATE TABLE sample (entry INTEGER PRIMARY KEY, body TEXT NOT NULL, outcome TEXT) STRICT;
CREATE TABLE sample_result (
    entry INTEGER PRIMARY KEY, sample INTEGER NOT NULL, unit TEXT NOT NULL, found TEXT NOT NULL) STRICT;
CREATE INDEX result_of_sample ON sample_result (sample, unit);
CREATE TABLE work_order (
    number TEXT NOT NULL, revision TEXT NOT NULL, tag TEXT NOT NULL, boot TEXT NOT NULL,
    giver TEXT, pair_state TEXT NOT NULL, giver_state TEXT, state TEXT NOT NULL, way TEXT NOT NULL,
    minutes INTEGER NOT NULL, body TEXT NOT NULL, issued_entry INTEGER NOT NULL, closed_entry INTEGER,
    PRIMARY KEY (number, revision)) STRICT;
CREATE INDEX work_order_of_pair ON work_order (tag, state);
CREATE INDEX work_order_of_giver ON work_order (giver, state);
CREATE TABLE naming (
    name TEXT NOT NULL, entry INTEGER NOT NULL, PRIMARY KEY (name, entry)) STRICT, WITHOUT ROWID;
CREATE TABLE boot_entry (
    tag TEXT NOT NULL, entry INTEGER NOT NULL, PRIMARY KEY (tag, entry)) STRICT, WITHOUT ROWID;
CREATE TABLE entry_about (
    about INTEGER NOT NULL, entry INTEGER NOT NULL, PRIMARY KEY (about, entry)) STRICT, WITHOUT ROWID;
CREATE TABLE tap (entry INTEGER PRIMARY KEY, id TEXT NOT NULL, desk TEXT NOT NULL) STRICT;
CREATE INDEX tap_by_id ON tap (id);
CREATE TABLE day_begun (entry INTEGER PRIMARY KEY, day TEXT NOT NULL) STRICT;
"""


def marks_of(connection: sqlite3.Connection) -> tuple[int, int]:
    """Return the two marks at the head of a file: of the program, and of the layout."""
    application, layout = (
        connection.execute(f"PRAGMA {mark}").fetchone()[0] for mark in ("application_id", "user_version")
    )
    return int(application), int(layout)


def statements(script: str) -> Iterator[str]:
    """The single statements of a script; trigger bodies hold semicolons, so splitting is not enough."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            if pending.strip():
                yield pending.strip().removesuffix(";")
            pending = ""


def state_tables() -> tuple[str, ...]:
    """The names of the derived tables, in the order they are made."""
    return tuple(re.findall(r"^CREATE TABLE (\w+)", STATE, flags=re.MULTILINE))


def state_guards() -> Iterator[str]:
    """Three triggers a derived table: state is written by the entry it follows from, or not at all.

    Without them a careless hand in a database browser could turn *hold* into *ready*.
    """
    for table in state_tables():
        for deed in ("INSERT", "UPDATE", "DELETE"):
            yield (
                f"CREATE TRIGGER {table}_no_bare_{deed.lower()} BEFORE {deed} ON {table}\n"
                f"WHEN NOT {LATCH}()\n"
                "BEGIN SELECT RAISE(ABORT, 'state follows from the entries, it is not written by hand'); END"
            )


@cache
def layout_statements() -> tuple[str, ...]:
    """Everything that makes an empty ledger of this layout, one statement each."""
    return (*statements(ENTRIES), *statements(STATE), *state_guards())


class Thing(NamedTuple):
    """One row of `sqlite_schema`: a table, index or trigger with the table it is on and its text."""

    kind: str
    name: str
    table: str
    text: str

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"


def things(statements: Iterable[str]) -> frozenset[Thing]:
    """Return what these statements put into `sqlite_schema`, word for word."""
    return frozenset(_thing(statement) for statement in statements)


@cache
def layout_things() -> frozenset[Thing]:
    """Return what `sqlite_schema` must hold in this layout."""
    return things(layout_statements())


def found_things(connection: sqlite3.Connection) -> frozenset[Thing]:
    """Return what `sqlite_schema` of this file holds, without the indexes SQLite makes for itself."""
    rows = connection.execute(
        "SELECT type, name, tbl_name, sql FROM sqlite_schema"
        " WHERE NOT (type = 'index' AND sql IS NULL AND name = 'sqlite_autoindex_' || tbl_name || '_1')"
    )
    return frozenset(map(Thing._make, rows))


def _thing(statement: str) -> Thing:
    match = re.match(r"CREATE (TABLE|INDEX|TRIGGER) (\w+)", statement)
    on = re.search(r"\bON (\w+)", statement)
    if match is None or (match[1] != "TABLE" and on is None):
        raise ValueError(f"not a statement of a layout: {statement[:60]}")
    table = match[2] if match[1] == "TABLE" or on is None else on[1]
    return Thing(match[1].lower(), match[2], table, statement)
