"""Names of people: kept once, apart from the entries, so that a name can be taken out with the chain whole.

An entry says a name by its place, ``name 1 of entry 12``: the first of the names that entry 12 was the first
to say. Its body lists their salted digests under ``names``; texts and salts are rows of the table ``names``.
A name in another spelling has a place of its own that belongs to the same person. A person who was taken out
is read as a mark, ``name removed 12-3f9a``, with the beginning of the digest: no other ledger has the same
mark. What uses an entry sees names: they are translated here. Names of older entries stand in the clear.
"""

import json
import re
import secrets
import sqlite3
from json.encoder import encode_basestring
from typing import Any, Final, NamedTuple

import msgspec

from fleet.base.entries import Body, checked_text, fact_in, name_key, note_digest

NAMES: Final = "names"
"""The key of a body under which it lists the names that it is the first to say."""
_PLACE: Final = re.compile(r"name (\d+) of entry (\d+)")
_IN_JSON: Final = re.compile(r'(?<!\\)"(name \d+ of entry \d+)"')
"""A place that is a whole text of a body: a sign that opens a text never follows a backslash."""
_MARK: Final = re.compile(r"name removed \d+(\.\d+)?-[0-9a-f]{4}")
_NONE_HERE: Final = "no such table"


def place_of(number: int, seq: int) -> str:
    """Return the place of a name: the how manieth of those that entry ``seq`` is the first to say."""
    return f"name {number} of entry {seq}"


def is_place(text: str) -> bool:
    """Return whether a text is the place of a name, or reads like one."""
    return _PLACE.fullmatch(text) is not None


def is_mark(name: str) -> bool:
    """Return whether a name is the mark of a person whose name was taken out."""
    return _MARK.fullmatch(name) is not None


def listed_in(body_json: str) -> list[str]:
    """Return what a body lists of the names that it is the first to say: a digest, and whose name it is where
    that person had one.
    """
    if f'"{NAMES}":["' not in body_json:
        return []
    listed = fact_in(body_json, NAMES)
    return listed if isinstance(listed, list) else []


def written_body(body_json: str) -> Any:
    """Return a body with the places of its names, without the list of those that it is the first to say."""
    try:
        said = msgspec.json.decode(body_json)
    except ValueError:  # a forged body; this reader says what is wrong with it
        said = json.loads(body_json)
    if isinstance(said, dict):
        said.pop(NAMES, None)
    return said


def places_in(body_json: str) -> list[str]:
    """Return the texts of a body that are places of names, or read like one."""
    return _IN_JSON.findall(body_json) if '"name ' in body_json else []


class KeptName(NamedTuple):
    """A row of ``names``. ``person``: the place of that person's first name; ``text`` None: taken out."""

    place: str
    seq: int
    person: str
    digest: str
    salt: str
    text: str | None
    removed_by: int | None = None

    @property
    def listed(self) -> str:
        """As the body of its entry lists it."""
        return self.digest if self.person == self.place else f"{self.digest} {self.person}"


_COLUMNS: Final = "place, seq, person, digest, salt, text, removed_by"


def read_names(connection: sqlite3.Connection) -> list[KeptName]:
    """Return every row, in the order in which the names were said; none in a file of an older layout."""
    rows = _rows(connection, f"SELECT {_COLUMNS} FROM names")
    return sorted(map(KeptName._make, rows), key=lambda row: _order(row.place))


def _rows(connection: sqlite3.Connection, query: str, *values: str) -> list[tuple[Any, ...]]:
    try:
        return connection.execute(query, values).fetchall()
    except sqlite3.OperationalError as fault:
        if _NONE_HERE not in str(fault):
            raise
        return []


def _order(place: str) -> tuple[int, int]:
    found = _PLACE.fullmatch(place)
    return (int(found[2]), int(found[1])) if found else (0, 0)  # changed by hand: an audit says so


class NamesSaid:
    """Names by their places, for reading: each is looked up once."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._said: dict[str, str] = {}

    def of(self, place: str) -> str:
        """Return the name at a place, the mark of a person taken out, or a text that is no place as it is."""
        found = self._said.get(place)
        if found is None:
            found = self._said[place] = self._look_up(place) if is_place(place) else place
        return found

    def body(self, body_json: str) -> Any:
        """Return a body with the names in their places."""
        return written_body(_IN_JSON.sub(self._quoted, body_json) if '"name ' in body_json else body_json)

    def _quoted(self, found: re.Match[str]) -> str:
        return str(encode_basestring(self.of(found[1])))

    def _look_up(self, place: str) -> str:
        query = (
            "SELECT name.text, person.place, person.digest FROM names AS name"
            " JOIN names AS person ON person.place = name.person WHERE name.place = ?"
        )
        for text, person, digest in _rows(self._connection, query, place):
            return mark_of(person, digest) if text is None else str(text)
        return place


def mark_of(person: str, digest: str) -> str:
    """Return what stands for a person whose name was taken out."""
    seq, number = _order(person)
    return f"name removed {seq}{f'.{number}' if number > 1 else ''}-{digest[:4]}"


class NamesToKeep:
    """Places for the names of one transaction. ``new``: rows of names that its entry says first.

    ``said``: the names by their places, as this transaction knows them.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self.new: list[KeptName] = []
        self._read()

    def begin(self, *, looks: bool = True) -> None:
        """Begin an entry, whatever became of those before it; without ``looks`` they were all kept."""
        if looks and (self.new or self._connection.execute(_HOW_MANY).fetchone() != self._read_for):
            self._read()
        self.new = []

    def place(self, name: str, seq: int) -> str:
        """Return the place of a name that entry ``seq`` says; that of a new name is made."""
        found = self._by_text.get(name)
        if found is not None:
            return found
        place, salt = place_of(len(self.new) + 1, seq), secrets.token_hex(16)
        person = self._by_key.get(name_key(name), place)
        row = KeptName(place, seq, person, note_digest(salt, checked_text(name)), salt, name)
        self.new.append(row)
        self._take(row)
        return place

    def _read(self) -> None:
        self._by_text: dict[str, str] = {}
        self._by_key: dict[str, str] = {}
        self.said = NamesSaid(self._connection)
        self._read_for = self._connection.execute(_HOW_MANY).fetchone()
        for row in read_names(self._connection):
            self._take(row)

    def _take(self, row: KeptName) -> None:
        text = row.text
        if text is None:
            if row.person != row.place:
                return
            text = mark_of(row.place, row.digest)
        self._by_text[text] = row.place
        self._by_key.setdefault(name_key(text), row.person)


_HOW_MANY: Final = "SELECT count(*), count(text) FROM names"


def listing(names: list[KeptName]) -> Body:
    """Return what a body says of the names that it is the first to say."""
    return {NAMES: [row.listed for row in names]} if names else {}
