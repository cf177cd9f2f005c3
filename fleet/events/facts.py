"""A pair's row of `standing` as facts, and what entries do to them.

The place of a pair is never written by hand: it follows from the facts in its row (`place_of`), so no
entry can put a held or unchecked pair on the ready rack.
"""

import json
import sqlite3
from abc import abstractmethod
from collections.abc import Sequence
from typing import ClassVar, Final

from fleet.base.entries import Entry, canonical_json, sorted_json
from fleet.base.errors import Refused
from fleet.events.event import Event, PairTag, Replay, insert
from fleet.facts.holes import Side
from fleet.facts.standing import Moment, Place, pass_counts
from fleet.tables.held_state import Facts as Facts
from fleet.tables.held_state import read_standing_row, standing_columns, store_standing_row

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
    _glue(
        state,
        facts,
        entry.seq,
        max(stated, entry.recorded_at_utc) if from_entry else stated,
        adhesives,
        stated,
    )


def glued_elsewhere(
    state: sqlite3.Connection, facts: Facts, seq: int, adhesives: Sequence[str], *, at: str
) -> None:
    """Glue was used at that time, as another record has it; no hour of this ledger is confirmed for it."""
    _glue(state, facts, seq, at, adhesives, "")


def _glue(
    state: sqlite3.Connection, facts: Facts, seq: int, at: str, adhesives: Sequence[str], stated: str
) -> None:
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
