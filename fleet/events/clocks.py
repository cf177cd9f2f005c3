"""The entry about a clock that was wrong: the times of its entries, set right in the derived tables."""

from __future__ import annotations

import sqlite3

from fleet.base.entries import Entry
from fleet.events.event import EntryPart, Event, PairTag, Replay
from fleet.events.facts import facts_of, store
from fleet.events.rows import insert


class MendedTimes(EntryPart, frozen=True, kw_only=True):
    """The times of one pair, as its entries give them with the clock set right (UTC text, "" for never).

    tag: the pair
    place_at: since when it is where it is
    out_at: when it went out
    return_at: when it came back
    work_at: the newest work
    fault_at: the newest fault
    unfinished_at: the newest look that reached not every piece
    pass_at: the newest pass
    glued_at: the newest glue
    stands: what each piece stands at, and since when, as JSON
    days_out: days out since its pass
    days_hired: days out in all
    glue: of each use of glue the entry, the hour from which it cures, and the stated one
    tests: of each release test the entry and the time
    """

    tag: PairTag
    place_at: str
    out_at: str
    return_at: str
    work_at: str
    fault_at: str
    unfinished_at: str
    pass_at: str
    glued_at: str
    stands: str
    days_out: int
    days_hired: int
    glue: tuple[tuple[int, str, str], ...]
    tests: tuple[tuple[int, str], ...]


NOT_COLUMNS = ("glue", "tests")
"""The fields of `MendedTimes` that are rows of other tables than `standing`."""


class ClockMended(Event, frozen=True, kw_only=True):
    """A clock was wrong while a run of entries was made; what was wrong with it is the note.

    The entries stay as they are. An hour that a person typed with one of them stays too.

    first: the first entry of the run
    last: the last one
    seconds: how much later than written it was; negative for a clock that was ahead
    pairs: the times of each pair that the run names
    """

    WHAT = "clock mended"
    REPLAY = Replay.ITS_PAIR
    first: int
    last: int
    seconds: int
    pairs: tuple[MendedTimes, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Only times change: by number, no pass slips over what came after it."""
        for times in self.pairs:
            tag, said = times.tag, times.body()
            state.execute("DELETE FROM glue WHERE tag = ?", (tag,))
            for seq, at, stated in times.glue:
                insert(state, "glue", {"entry": seq, "tag": tag, "at": at, "stated": stated})
            for seq, at in times.tests:
                state.execute("UPDATE release_test SET at = ? WHERE entry = ?", (at, seq))
            facts = facts_of(state, tag) | {key: said[key] for key in said if key not in NOT_COLUMNS}
            store(state, facts, entry)
