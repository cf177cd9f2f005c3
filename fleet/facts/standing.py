"""The standing of a pair: the facts a rule about going out may depend on, as one frozen value."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from fleet.base.errors import Refused
from fleet.base.near_names import nearest
from fleet.base.units import mm_text
from fleet.facts.holes import Side
from fleet.facts.places import Place
from fleet.facts.tags import called_now

REMOVED = "(text removed)"
"""The text in place of a note that was blanked."""


class Moment(NamedTuple):
    """An event by entry number and by stated time (UTC text). Number 0: it never happened."""

    entry: int
    at: str

    def is_later_than(self, other: Moment) -> bool:
        """Later both by number and by stated time. Nothing that never happened is later."""
        return self.entry > other.entry and self.at > other.at


NEVER: Final = Moment(0, "")


def pass_counts(passed: Moment, events: Iterable[Moment]) -> bool:
    """Return whether a pass counts: there is one, and it is later than each of the events.

    A return entered late with an earlier time has the later number; a pass entered late has the earlier
    time; neither slips under the other.
    """
    return passed.entry > 0 and all(passed.is_later_than(event) for event in events)


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceStand:
    """The sole length that one piece of one ski was last set for. ``piece`` "": every piece of that ski.

    ``how``: how that is known, such as ``set, boot in`` or ``work order WO-2610-0001``.
    """

    side: Side
    piece: str
    sole_um: int
    when: Moment
    by: str
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BindingSetting:
    """The sole length that the bindings of both skis were last set for. ``bsl_um`` None: not known.

    ``pieces``: of each piece of each ski what is known; a ski that is not there, nobody knows.
    """

    bsl_um: int | None = None
    when: Moment = NEVER
    by: str = ""
    pieces: tuple[PieceStand, ...] = field(default=(), compare=False)

    @property
    def words(self) -> str:
        """``305 mm``, ``not known``, or by ski where that differs: ``ski A 305 mm, ski B not known``."""
        if self.bsl_um is not None:
            return f"{mm_text(self.bsl_um)} mm"
        if not self.pieces:
            return "not known"
        return ", ".join(f"ski {side} {self._of(side)}" for side in Side)

    @property
    def where_they_differ(self) -> str:
        """The words for paper, ``A 305 mm, B not known``; "" where all agree, or nobody knows of any."""
        return self.words.replace("ski ", "") if self.pieces and self.bsl_um is None else ""

    def _of(self, side: Side) -> str:
        mine = [each for each in self.pieces if each.side is side]
        soles = {each.sole_um for each in mine}
        if len(soles) > 1:
            return " and ".join(f"{each.piece} {mm_text(each.sole_um)} mm" for each in mine)
        return "".join(f"{mm_text(sole)} mm" for sole in soles) or "not known"


NOT_KNOWN: Final = BindingSetting()


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One row of the table ``standing``. Times are UTC text, empty where the thing never happened.

    ``hold_why`` is what the look found, or the free text of the hold; what was stopped at the bench stands
    before it (``stop_why``), until the head technician ends that. ``finders``: who found
    a moved screw, as long as the hold for it lasts; ``cleared_by``: who lifted such a hold since the newest
    pass.
    """

    tag: str
    place: Place
    since: Moment
    out: Moment
    out_boot: str | None
    out_due: str | None
    returned: Moment
    said_entry: int
    days_out: int
    work: Moment
    work_what: str
    workers: tuple[str, ...]
    second_check: bool
    returns_since_work: int
    glued_at: str
    glued_with: tuple[str, ...]
    look_entry: int
    fault: Moment
    loose: tuple[tuple[str, str], ...]
    returns_since_fault: int
    unfinished: Moment
    unreached: tuple[tuple[str, str], ...]
    passed: Moment
    pass_by: str
    hold_entry: int
    hold_why: str
    stop_entry: int
    stop_why: str
    finders: tuple[str, ...]
    cleared_by: tuple[str, ...]
    quarantine_entry: int
    quarantine_why: str
    setting: BindingSetting
    undo_entry: int

    @property
    def causes(self) -> str:
        """Return why it is in quarantine or held, or is to be on its return; nothing if neither."""
        return "; ".join(why for why in (self.quarantine_why, self.hold_why) if why)

    @property
    def passes(self) -> bool:
        """Return whether the newest pass counts."""
        return pass_counts(self.passed, (self.returned, self.work, self.fault, self.unfinished))

    @property
    def waits_for_a_look(self) -> bool:
        """Return whether it came back, or a look found or left something, and nobody has passed it since."""
        return any(
            event.entry and not self.passed.is_later_than(event)
            for event in (self.returned, self.fault, self.unfinished)
        )


def pieces_text(pieces: Iterable[tuple[str, str]]) -> str:
    """``ski A toe, ski B heel``."""
    return ", ".join(f"ski {side} {piece}" for side, piece in pieces)


def standing_from_row(row: dict[str, object]) -> Standing:
    """A Standing from a row of the table by column name."""

    def moment(what: str) -> Moment:
        return Moment(int(str(row[f"{what}_entry"])), str(row[f"{what}_at"]))

    def text(name: str) -> str | None:
        value = row[name]
        return None if value is None else str(value)

    stop_why = _stop_words(row) if row["stop_entry"] else ""
    hold_why = str(row["hold_why"] or row["hold_note"] or REMOVED) if row["hold_entry"] else ""
    return Standing(
        tag=str(row["tag"]),
        place=Place(str(row["place"])),
        since=moment("place"),
        out=moment("out"),
        out_boot=text("out_boot"),
        out_due=text("out_due"),
        returned=moment("return"),
        said_entry=int(str(row["said_entry"])),
        days_out=int(str(row["days_out"])),
        work=moment("work"),
        work_what=str(row["work_what"]),
        workers=tuple(json.loads(str(row["workers"]))),
        second_check=bool(row["second_check"]),
        returns_since_work=int(str(row["returns_since_work"])),
        glued_at=str(row["glued_at"]),
        glued_with=tuple(json.loads(str(row["glued_with"]))),
        look_entry=int(str(row["look_entry"])),
        fault=moment("fault"),
        loose=tuple((side, piece) for side, piece in json.loads(str(row["loose"]))),
        returns_since_fault=int(str(row["returns_since_fault"])),
        unfinished=moment("unfinished"),
        unreached=tuple((side, piece) for side, piece in json.loads(str(row["unreached"]))),
        passed=moment("pass"),
        pass_by=str(row["pass_by"]),
        hold_entry=int(str(row["hold_entry"] or row["stop_entry"])),
        hold_why="; ".join(why for why in dict.fromkeys((stop_why, hold_why)) if why),
        stop_entry=int(str(row["stop_entry"])),
        stop_why=stop_why,
        quarantine_entry=int(str(row["quarantine_entry"])),
        quarantine_why=str(row["quarantine_note"] or REMOVED) if row["quarantine_entry"] else "",
        finders=tuple(json.loads(str(row["finders"]))),
        cleared_by=tuple(json.loads(str(row["cleared_by"]))),
        setting=setting_from(str(row["stands"])),
        undo_entry=int(str(row["undo_entry"])),
    )


def _stop_words(row: dict[str, object]) -> str:
    """Return what was stopped, with the reason given in free text where there is one."""
    if row["stop_noted"] is None:
        return str(row["stop_why"])
    return f"{row['stop_why']}: {row['stop_note'] or REMOVED}"


def setting_from(stands: str) -> BindingSetting:
    """Return the setting from the column ``stands``: one length where all pieces of both skis have it."""
    if stands == "{}":
        return NOT_KNOWN
    pieces = tuple(
        PieceStand(
            side=Side(side),
            piece=piece,
            sole_um=one["sole_um"],
            when=Moment(one["entry"], one["at"]),
            by=one["by"],
            how=one["how"],
        )
        for side, said in sorted(json.loads(stands).items())
        for piece, one in said.items()
    )
    if {each.side for each in pieces} != set(Side) or len({each.sole_um for each in pieces}) > 1:
        return BindingSetting(pieces=pieces)
    newest = max(pieces, key=lambda each: each.when.entry)
    return BindingSetting(bsl_um=newest.sole_um, when=newest.when, by=newest.by, pieces=pieces)


def read_setting(connection: sqlite3.Connection, tag: str) -> BindingSetting:
    """Return what the pair's bindings were last set for; not known where there is no such pair."""
    row = connection.execute("SELECT stands FROM standing WHERE tag = ?", (tag,)).fetchone()
    return setting_from(row[0]) if row else NOT_KNOWN


def read_standings(
    connection: sqlite3.Connection, *, where: str = "", args: tuple[object, ...] = ()
) -> tuple[Standing, ...]:
    """Standings in order of tag. ``where`` is a condition written in code, never taken from data."""
    clause = f" WHERE {where}" if where else ""
    cursor = connection.execute(
        "SELECT standing.*, held.text AS hold_note, locked.text AS quarantine_note,"
        " stopped.seq AS stop_noted, stopped.text AS stop_note FROM standing"
        " LEFT JOIN notes AS held ON held.seq = hold_entry"
        " LEFT JOIN notes AS stopped ON stopped.seq = stop_entry"
        f" LEFT JOIN notes AS locked ON locked.seq = quarantine_entry{clause} ORDER BY tag",
        args,
    )
    cursor.row_factory = sqlite3.Row
    return tuple(standing_from_row(dict(row)) for row in cursor)


def read_standing(connection: sqlite3.Connection, tag: str) -> Standing:
    """The pair's standing, or Refused with the nearest tag."""
    found = read_standings(connection, where="tag = ?", args=(tag,))
    if not found and (now := called_now(connection, tag)) != tag:
        raise Refused(f"{tag} is called {now} now", cure=f"name it {now}")
    if not found:
        near = nearest(tag, (tag for (tag,) in connection.execute("SELECT tag FROM pair")))
        raise Refused(
            f"there is no pair {tag} in the ledger",
            cure=f"did you mean {near}?" if near else "check the tag",
        )
    return found[0]
