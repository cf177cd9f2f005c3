"""A kind of entry as one class: its fields, its body and back, whom it names, its effect and its undoing.

A pair's row of `standing` as facts too, and what entries do to them. The place of a pair is never written by
hand: it follows from the facts in its row (`place_of`), so no entry can put a held or unchecked pair on the
ready rack.
"""

import json
import sqlite3
from abc import abstractmethod
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from enum import StrEnum
from functools import cache
from itertools import chain
from typing import Annotated, Any, ClassVar, Final, Self, get_args, get_origin, get_type_hints

import msgspec

from fleet.base.entries import Body, Entry, canonical_json, sorted_json
from fleet.base.errors import Refused
from fleet.base.values import read_as
from fleet.facts.columns import (
    BindingId as BindingId,
    BootTag as BootTag,
    HoleId as HoleId,
    PairTag as PairTag,
    PersonName as PersonName,
    SkiTag as SkiTag,
    TypedText as TypedText,
)
from fleet.facts.holes import Side
from fleet.facts.standing import Moment, Place, pass_counts
from fleet.tables.held_state import Facts as Facts, read_standing_row, standing_columns, store_standing_row

Plain = int | str | None
"""A value that a column holds."""
Change = tuple[Plain, Plain]
"""The old value of a column, and the new one."""
Changes = dict[str, Change]
"""Changes by column."""
BindingChanges = Annotated[dict[str, Change], msgspec.Meta(extra={"names": "on_pair"})]
"""Changes by column of a binding; both pairs of ``on_pair`` are named."""
Later = msgspec.UnsetType
"""For a key that is left out of the body where there is nothing to say: ``stop: str | Later = LEFT_OUT``."""
LEFT_OUT: Final = msgspec.UNSET


class Replay(StrEnum):
    """The reach of an entry: whose state it may change (`fleet.ledger.history`)."""

    NOTHING = "nothing"
    ITS_PAIR = "the pair it names"
    OTHER_PAIRS = "another pair too"
    """Something (a binding, an open order) may pass from one pair to another by it."""


class EntryPart(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A value inside an entry's body, such as one hole. Unknown keys are refused."""

    def body(self) -> Body:
        """As it stands in the ledger."""
        said: Body = msgspec.to_builtins(self)
        return said

    @classmethod
    def read(cls, body: Mapping[str, Any]) -> Self:
        """Back from `EntryPart.body`. Raises ValueError for keys unknown or missing, and for a wrong type."""
        return read_as(cls, body)


class Tap(EntryPart, frozen=True, kw_only=True):
    """The action on a page by which an entry came about.

    id: the action's own id; a page that sends it twice made it once
    desk: the desk whose page it was
    signed: how its person was known: PIN; left out where the desk alone acted
    """

    id: str
    desk: PersonName
    signed: str | Later = LEFT_OUT

    @property
    def words(self) -> str:
        """The desk and how the person was known, for people: ``on the page of Counter 2, signed by PIN``."""
        return f"on the page of {self.desk}, {f'signed by {self.signed}' if self.signed else 'not signed'}"


TAP: Final = "tap"
"""The key of a body under which its `Tap` stands, beside the facts of the entry."""


def tap_of(body: Mapping[str, Any]) -> Tap | None:
    """Return the action on a page by which an entry came about; None for a command's entry."""
    return Tap.read(body[TAP]) if TAP in body else None


class Event(EntryPart, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One kind of entry. A subclass is a kind: its fields are the keys of the body.

    Beside them the body may have ``tap``: the action on a page by which the entry came about (`tap_of`).

    Where it records a thing, it has the thing's own facts too (`fleet.facts.columns`).
    A field added later has a default, so that older bodies are read as what they meant; an old body
    never changes its meaning. A kind that is wrong is left as it is, and a new kind made.
    """

    WHAT: ClassVar[str] = ""
    """The words in the ledger's column ``what``. They never change."""
    ABOUT_ENTRY: ClassVar[str] = ""
    """The field that holds the number of another entry which this one is about; "" for none."""
    REPLAY: ClassVar[Replay] = Replay.OTHER_PAIRS
    """The entries to read to know a pair as it was. The default reads most, and is never wrong."""

    @classmethod
    def read(cls, body: Mapping[str, Any]) -> Self:
        """Back from a body, with or without its `Tap`, which says nothing of the thing itself."""
        if TAP in body:
            body = {key: value for key, value in body.items() if key != TAP}
        return super().read(body)

    @abstractmethod
    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Bring the derived tables up to this entry. It reads nothing but itself and the tables."""
        raise NotImplementedError

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """Take out again what entry ``seq`` made, by the entry that withdraws it. Refused by default."""
        raise cannot_be_withdrawn(self.WHAT)

    def names(self) -> set[str]:
        """Tags of pairs and ids of bindings that it names."""
        return set(_names_in(self))

    def names_in_state(self, state: sqlite3.Connection) -> Iterator[str]:
        """Pairs that it means without naming them, found in the state once it has changed that."""
        return iter(())


class OfNoPair(Event, frozen=True, kw_only=True):
    """A kind of entry that changes nothing of any pair."""

    REPLAY = Replay.NOTHING


class OnRecord(OfNoPair, frozen=True, kw_only=True):
    """A kind of entry that is read as it stands: no table changes by it."""

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Nothing follows from it."""


def cannot_be_withdrawn(what: str) -> Refused:
    """For the kinds that are mended by entering what is true."""
    return Refused(
        f"an entry {what!r} cannot be withdrawn",
        cure="enter what is true now; a scan is undone at the counter",
    )


# From classes to kinds


@cache
def kinds() -> Mapping[str, type[Event]]:
    """Every kind of entry of the modules loaded so far, by its words."""
    return by_words(_leaves(Event))


def by_words(classes: Iterable[type[Event]]) -> dict[str, type[Event]]:
    """The classes by their words. Raises TypeError for one that is not whole: the program does not start."""
    found: dict[str, type[Event]] = {}
    for cls in classes:
        if not cls.WHAT:
            raise TypeError(f"{cls.__name__} does not say WHAT it is called in the ledger")
        if cls.WHAT in found:
            raise TypeError(f"{cls.__name__} and {found[cls.WHAT].__name__} are both called {cls.WHAT!r}")
        missing = [name for name in dir(cls) if getattr(getattr(cls, name), "__isabstractmethod__", False)]
        if missing:
            raise TypeError(f"{cls.__name__} does not say how it changes the state: it has no {missing[0]}()")
        if cls.ABOUT_ENTRY and cls.ABOUT_ENTRY not in cls.__struct_fields__:
            raise TypeError(f"{cls.__name__} is about another entry by a field that it does not have")
        marked_fields(cls, NAMES)
        found[cls.WHAT] = cls
    return found


def _leaves(cls: Any) -> Iterator[type[Event]]:
    for below in cls.__subclasses__():
        if below.__subclasses__():
            yield from _leaves(below)
        else:
            yield below


# What the types of the fields say of their texts

NAMES: Final = "names"
"""The mark of a text by which an entry is found, with how the name stands in it."""
_TAGS: Final = frozenset({"tag", "on_pair", "into", "giver", "binding_id", "hole_id", "hole_ids", "tags"})
"""Fields that hold tags or ids: their type has to say what is named by them."""


@cache
def marked_fields(cls: type[EntryPart], key: str) -> Mapping[str, Any]:
    """Return the fields of which a type says so (`fleet.facts.columns`): what it says where they are such a
    text, or texts, else the part that has such fields.
    """
    hints = get_type_hints(cls, include_extras=True)
    found = {name: mark for name in cls.__struct_fields__ for mark in _marks_in(hints[name], key)}
    for name in _TAGS.intersection(hints).difference(found) if key == NAMES else ():
        raise TypeError(
            f"{cls.__name__}.{name} needs a type that says what is named by it:"
            " PairTag, SkiTag, BindingId, HoleId or BootTag"
        )
    return found


def _marks_in(hint: Any, key: str) -> Iterator[Any]:
    if isinstance(hint, msgspec.Meta):
        yield from [hint.extra[key]] if hint.extra and key in hint.extra else []
    elif isinstance(hint, type) and issubclass(hint, EntryPart):
        yield from [hint] if marked_fields(hint, key) else []
    else:
        inside = [[*_marks_in(inner, key)] for inner in get_args(hint)]
        if get_origin(hint) is tuple and hint.__args__[-1] is not Ellipsis and any(inside) and [] in inside:
            raise TypeError(f"{hint}: only some of its texts are marked; make it a part with fields")
        yield from chain.from_iterable(inside)


def _names_in(value: Any, mark: str = "") -> Iterator[str]:
    """Yield the names in a value; ``mark``: how the name stands in each text of it."""
    if isinstance(value, EntryPart):
        for field, says in marked_fields(type(value), NAMES).items():
            yield from _names_in(getattr(value, field), says)
    elif isinstance(value, str) and mark in _NAME_IN:
        yield _NAME_IN[mark](value)
    elif isinstance(value, dict):
        inside = value.get(mark, ()) if mark == _ON_PAIR else value.values()
        yield from (name for inner in inside for name in _names_in(inner, mark))
    elif isinstance(value, list | tuple):
        yield from (name for inner in value for name in _names_in(inner, mark))


_ON_PAIR: Final = "on_pair"
_NAME_IN: Final[Mapping[str, Callable[[str], str]]] = {
    "whole": str,
    _ON_PAIR: str,
    "ski": lambda text: text[:-2] if text[-2:] in (" A", " B") else text,
    "hole": lambda text: text.rsplit("/", 1)[0],
}


def insert(connection: sqlite3.Connection, table: str, row: Mapping[str, Any]) -> None:
    """Insert one row by column name; the names come from code, never from data."""
    connection.execute(_insert("INSERT", table, tuple(row)), tuple(row.values()))


def replace(connection: sqlite3.Connection, table: str, row: Mapping[str, Any]) -> None:
    """The same, in the place of the row that has its key."""
    connection.execute(_insert("INSERT OR REPLACE", table, tuple(row)), tuple(row.values()))


@cache
def _insert(insert: str, table: str, columns: tuple[str, ...]) -> str:
    marks = ", ".join("?" * len(columns))
    return f"{insert} INTO {table} ({', '.join(columns)}) VALUES ({marks})"


def change_columns(
    connection: sqlite3.Connection,
    table: str,
    *,
    key: Mapping[str, Any],
    changes: Mapping[str, tuple[Any, Any]],
    allowed: Collection[str],
) -> None:
    """Set columns from old to new. Refuses an unknown column, and an old value that no longer holds.

    Showing the old value is what makes a correction a correction: an entry that misstates it is stale.
    """
    where = " AND ".join(f"{column} = ?" for column in key)
    name = " ".join(str(part) for part in key.values())
    for column, (old, new) in changes.items():
        if column not in allowed:
            raise Refused(f"{column} of {table} {name} cannot be changed")
        row = connection.execute(
            f"SELECT {column} FROM {table} WHERE {where}", tuple(key.values())
        ).fetchone()
        if row is None:
            raise Refused(f"there is no {table} {name}", cure="check the tag")
        if row[0] != old:
            raise Refused(
                f"{column} of {table} {name} is {row[0]!r} today, not {old!r}",
                cure="look at the newest state and enter the change again",
            )
        connection.execute(f"UPDATE {table} SET {column} = ? WHERE {where}", (new, *key.values()))


def delete_made(state: sqlite3.Connection, table: str, seq: int, name: str) -> None:
    """Take out the row that entry ``seq`` made, or Refused where it is not in force any more."""
    gone = Refused(f"{name} is not in force any more", cure="look at the newest state")
    must_change(state, f"DELETE FROM {table} WHERE entry = ?", (seq,), gone)


def must_change(
    state: sqlite3.Connection, statement: str, values: tuple[Any, ...], otherwise: Refused
) -> None:
    """Run a statement that changes or takes out a row; raise ``otherwise`` where there is no such row."""
    if not state.execute(statement, values).rowcount:
        raise otherwise


def must_be_none(state: sqlite3.Connection, query: str, values: tuple[Any, ...], otherwise: Refused) -> None:
    """Raise ``otherwise`` where the query finds a row."""
    if state.execute(query, values).fetchone():
        raise otherwise


IN_SHOP: Final = "shop"
"""Whereabouts of a pair that is neither out nor away."""


def facts_of(connection: sqlite3.Connection, tag: str) -> Facts:
    """The pair's row of `standing` by column name, or Refused."""
    facts = read_standing_row(connection, tag)
    if facts is None:
        raise Refused(f"there is no pair {tag} in the ledger", cure="check the tag")
    return facts


def place_of(facts: Facts, *, mounted: bool) -> Place:
    """Return where the pair is, from the facts alone. The order of the questions is the rule."""
    if facts["whereabouts"] != IN_SHOP:
        return Place(facts["whereabouts"])
    for fact, place in _STOPPED:
        if facts[fact]:
            return place
    if not mounted:
        return Place.FLAT
    passed = Moment(facts["pass_entry"], facts["pass_at"])
    events = [Moment(facts[entry], facts[at]) for entry, at in _VOID_A_PASS]
    return Place.READY if pass_counts(passed, events) else Place.BACK


_STOPPED: Final = (
    ("quarantine_entry", Place.QUARANTINE),
    ("repair_entry", Place.IN_REPAIR),
    ("hold_entry", Place.HOLD),
    ("stop_entry", Place.HOLD),
    ("second_check", Place.SECOND_CHECK),
)
"""The stops of a pair in the shop, each with the place that it has by it; the first counts."""
_VOID_A_PASS: Final = tuple((f"{w}_entry", f"{w}_at") for w in ("return", "work", "fault", "unfinished"))


def store(connection: sqlite3.Connection, facts: Facts, entry: Entry, *, undo: str = "") -> None:
    """Write the facts back with the place that follows from them. ``undo``: the row before, if undoable."""
    in_shop = facts["whereabouts"] == IN_SHOP  # elsewhere nobody asks whether it carries a binding
    query = "SELECT 1 FROM binding WHERE on_pair = ? LIMIT 1"
    mounted = in_shop and connection.execute(query, (facts["tag"],)).fetchone() is not None
    place = place_of(facts, mounted=mounted).value
    if place != facts["place"]:
        facts |= {"place": place, "place_entry": entry.seq, "place_at": entry.stated_at_utc}
    facts |= {"undo_entry": entry.seq if undo else 0, "undo_row": undo}
    store_standing_row(connection, facts)


class OfOnePair(Event, frozen=True, kw_only=True):
    """A kind of entry that alters the facts of the pair it names."""

    REPLAY = Replay.ITS_PAIR
    MAY_BE_UNDONE: ClassVar[bool] = False
    """A slip of the scanner: the row before it is kept beside the new one."""
    tag: PairTag

    @abstractmethod
    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """Alter the pair's facts, from which its place follows."""
        raise NotImplementedError

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The pair's row says what follows."""
        facts = facts_of(state, self.tag)
        before = snapshot(facts) if self.MAY_BE_UNDONE else ""
        self.alter(facts, state, entry)
        store(state, facts, entry, undo=before)


def touched(connection: sqlite3.Connection, tag: str, entry: Entry) -> None:
    """A binding, hole, mount or partner of the pair changed on record: no earlier pass counts."""
    facts = facts_of(connection, tag)
    work_done(facts, entry, what=entry.what)
    store(connection, facts, entry)


def work_done(
    facts: Facts,
    entry: Entry,
    *,
    what: str,
    worker: str = "",
    touched: Sequence[tuple[str, str]] | None = None,
) -> None:
    """Note the newest work in the facts; a ``worker`` is one who may not pass it.

    Hands were at the pair, so what its binding stands at is not known, unless the entry says it. ``touched``:
    at these pieces alone, each with its ski; None: the entry does not say at which.
    """
    if touched is None:
        not_known(facts)
    else:
        pieces_not_known(facts, touched)
    facts |= {
        "work_entry": entry.seq,
        "work_at": max(facts["work_at"], entry.stated_at_utc),
        "work_what": what,
    }
    if worker:
        facts |= {
            "workers": with_names(facts["workers"], worker),
            "second_check": 1,
            "returns_since_work": 0,
        }


def with_names(names: str, *more: str) -> str:
    """The names, as JSON in order of the alphabet, with more of them."""
    return json.dumps(sorted({*json.loads(names), *more}))


def set_for(facts: Facts, entry: Entry, *, bsl_um: int, how: str, pieces: Sequence[str] = ()) -> None:
    """Each of these pieces of both skis stands at that sole length from this entry on; none named: all."""
    said = {
        "sole_um": bsl_um,
        "entry": entry.seq,
        "at": entry.stated_at_utc,
        "by": entry.by,
        "how": how,
    }
    facts["stands"] = canonical_json({side.value: dict.fromkeys(pieces or ("",), said) for side in Side})


def not_known(facts: Facts, *sides: Side) -> None:
    """Nobody can say from the ledger at which sole length the bindings of these skis (or both) stand."""
    if facts["stands"] == "{}":
        return
    gone = [side.value for side in sides or Side]
    stands = json.loads(facts["stands"])
    facts["stands"] = sorted_json({side: said for side, said in stands.items() if side not in gone})


def pieces_not_known(facts: Facts, touched: Sequence[tuple[str, str]]) -> None:
    """Nobody can say at which sole these pieces stand, each with its ski; the others stay as they are."""
    stands = json.loads(facts["stands"])
    for side, piece in touched:
        said = stands.get(side, {})
        if piece in said:
            said[piece] = None
        if piece not in said or not any(said.values()):  # of no single piece anything is known
            stands.pop(side, None)
    facts["stands"] = sorted_json(stands)


def fault_found(facts: Facts, entry: Entry, *, loose: Sequence[Sequence[str]]) -> None:
    """A fault makes earlier passes void by number and by time."""
    facts |= {"fault_entry": entry.seq, "fault_at": max(facts["fault_at"], entry.stated_at_utc)}
    if loose:
        facts |= {"loose": json.dumps(loose), "returns_since_fault": 0}


_NOT_IN_SNAPSHOT: Final = frozenset(
    {
        *("undo_entry", "undo_row", "unfinished_entry", "unfinished_at", "unreached"),
        *("stop_entry", "stop_why"),
        *("finders", "cleared_by", "stands", "out_own"),
    }
)
"""The columns that a scan does not change. A snapshot's text in files of layout 2 stays the same."""
_IN_SNAPSHOT: Final = tuple(name for name in standing_columns() if name not in _NOT_IN_SNAPSHOT)


def snapshot(facts: Facts) -> str:
    """The row before a scan, so that the scan can be undone."""
    return sorted_json({name: facts[name] for name in _IN_SNAPSHOT})


def glued(
    state: sqlite3.Connection, facts: Facts, entry: Entry, adhesives: Sequence[str], *, from_entry: bool
) -> None:
    """Glue was used: the pair waits until each adhesive has cured by policy.

    The cure counts from the stated hour; ``from_entry``: from the entry, until a second person confirms the
    hour (`HourConfirmed`).
    """
    stated = entry.stated_at_utc
    cures_from = max(stated, entry.recorded_at_utc) if from_entry else stated
    glued_at(state, facts, entry.seq, adhesives, at=cures_from, stated=stated)


def glued_at(
    state: sqlite3.Connection,
    facts: Facts,
    seq: int,
    adhesives: Sequence[str],
    *,
    at: str,
    stated: str = "",
) -> None:
    """Glue cures from that time on; ``stated`` "": another record says so, and no hour of it is confirmed."""
    if not adhesives:
        return
    insert(state, "glue", {"entry": seq, "tag": facts["tag"], "at": at, "stated": stated})
    still = set(json.loads(facts["glued_with"])) | set(adhesives)
    facts |= {
        "glued_at": max(facts["glued_at"], at),
        "glued_with": json.dumps(sorted(still)),
    }


def close_ski(connection: sqlite3.Connection, tag: str, side: Side, *, seq: int, at: str, why: str) -> None:
    """Nothing that was seen of the ski counts any more; a survey bare since then opens it."""
    connection.execute("DELETE FROM area WHERE tag = ? AND side = ?", (tag, side.value))
    connection.execute(
        "UPDATE ski SET closed_entry = ?, closed_at = max(closed_at, ?), closed_why = ?"
        " WHERE tag = ? AND side = ?",
        (seq, at, why, tag, side.value),
    )
