"""The standing of a pair: its place, and the facts a rule about going out may depend on, as one value."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import Any, Final, NamedTuple

from fleet.base.errors import Refused, did_you_mean
from fleet.base.units import mm_text
from fleet.facts.holes import Side
from fleet.facts.tags import called_now, tag_order


class Place(StrEnum):
    """The place of a pair."""

    FLAT = "flat"
    READY = "ready"
    OUT = "out"
    BACK = "back"
    HOLD = "hold"
    IN_REPAIR = "in repair"
    SECOND_CHECK = "second check"
    QUARANTINE = "quarantine"
    MISSING = "missing"
    IN_TRANSIT = "in transit"
    RETIRED = "retired"
    SOLD = "sold"

    @property
    def plannable(self) -> bool:
        """Only what stands in the shop without a question may be planned."""
        return self in (Place.FLAT, Place.READY, Place.BACK)

    @property
    def words(self) -> str:
        """The place as a sentence says it: "K-031 is on hold"."""
        return _WORDS.get(self, self.value)


_WORDS: Final = {
    Place.HOLD: "on hold",
    Place.SECOND_CHECK: "waiting for its second check",
    Place.QUARANTINE: "in quarantine",
    Place.FLAT: "flat (no binding on)",
    Place.BACK: "back and not passed",
}


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
    ``lost``: pieces that hands were at since, of skis of which the other piece is known.
    """

    bsl_um: int | None = None
    when: Moment = NEVER
    by: str = ""
    pieces: tuple[PieceStand, ...] = field(default=(), compare=False)
    lost: tuple[tuple[Side, str], ...] = field(default=(), compare=False)

    @property
    def words(self) -> str:
        """``305 mm``, ``not known``, or by ski where that differs: ``ski A 305 mm, ski B not known``."""
        if self.bsl_um is not None:
            return f"{mm_text(self.bsl_um)} mm"
        if not self.pieces:
            return "not known"
        return ", ".join(f"ski {side} {self._of(side)}" for side in Side)

    @property
    def set_for(self) -> str:
        """``set for sole 305 mm``, ``set for sole: not known``, and so by ski where that differs."""
        return f"set for sole{':' if self.bsl_um is None else ''} {self.words}"

    @property
    def where_they_differ(self) -> str:
        """The words for paper, ``A 305 mm, B not known``; "" where all agree, or nobody knows of any."""
        return self.words.replace("ski ", "") if self.pieces and self.bsl_um is None else ""

    def _of(self, side: Side) -> str:
        mine = [each for each in self.pieces if each.side is side]
        soles, lost = {each.sole_um for each in mine}, [piece for of, piece in self.lost if of is side]
        if len(soles) > 1 or lost:
            known = [f"{each.piece} {mm_text(each.sole_um)} mm" for each in mine]
            return " and ".join([*known, *(f"{piece} not known" for piece in lost)])
        return f"{mm_text(soles.pop())} mm" if soles else "not known"


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


def standing_from_row(row: Mapping[str, Any]) -> Standing:
    """A Standing from a row of the table by column name."""
    stop_why = _stop_words(row) if row["stop_entry"] else ""
    hold_why = row["hold_why"] or row["hold_note"] or REMOVED if row["hold_entry"] else ""
    return Standing(
        tag=row["tag"],
        place=Place(row["place"]),
        since=Moment(row["place_entry"], row["place_at"]),
        out=Moment(row["out_entry"], row["out_at"]),
        out_boot=row["out_boot"],
        out_due=row["out_due"],
        returned=Moment(row["return_entry"], row["return_at"]),
        said_entry=row["said_entry"],
        days_out=row["days_out"],
        work=Moment(row["work_entry"], row["work_at"]),
        work_what=row["work_what"],
        workers=_listed(row["workers"]),
        second_check=bool(row["second_check"]),
        returns_since_work=row["returns_since_work"],
        glued_at=row["glued_at"],
        glued_with=_listed(row["glued_with"]),
        look_entry=row["look_entry"],
        fault=Moment(row["fault_entry"], row["fault_at"]),
        loose=tuple((side, piece) for side, piece in _listed(row["loose"])),
        returns_since_fault=row["returns_since_fault"],
        unfinished=Moment(row["unfinished_entry"], row["unfinished_at"]),
        unreached=tuple((side, piece) for side, piece in _listed(row["unreached"])),
        passed=Moment(row["pass_entry"], row["pass_at"]),
        pass_by=row["pass_by"],
        hold_entry=row["hold_entry"] or row["stop_entry"],
        hold_why="; ".join(why for why in dict.fromkeys((stop_why, hold_why)) if why),
        stop_entry=row["stop_entry"],
        stop_why=stop_why,
        quarantine_entry=row["quarantine_entry"],
        quarantine_why=(row["quarantine_note"] or REMOVED) if row["quarantine_entry"] else "",
        finders=_listed(row["finders"]),
        cleared_by=_listed(row["cleared_by"]),
        setting=setting_from(row["stands"]),
        undo_entry=row["undo_entry"],
    )


def _listed(text: str) -> tuple[Any, ...]:
    """Return the list in a column; most of them are empty."""
    return () if text == "[]" else tuple(json.loads(text))


def _stop_words(row: Mapping[str, Any]) -> str:
    """Return what was stopped, with the reason given in free text where there is one."""
    if row["stop_noted"] is None:
        return str(row["stop_why"])
    return f"{row['stop_why']}: {row['stop_note'] or REMOVED}"


@lru_cache(maxsize=8192)
def setting_from(stands: str) -> BindingSetting:
    """Return the setting from the column ``stands``: one length where all pieces of both skis have it."""
    if stands == "{}":
        return NOT_KNOWN
    sides = json.loads(stands)
    pieces = tuple(
        PieceStand(
            side=Side(side),
            piece=piece,
            sole_um=one["sole_um"],
            when=Moment(one["entry"], one["at"]),
            by=one["by"],
            how=one["how"],
        )
        for side, said in sorted(sides.items())
        for piece, one in said.items()
        if one
    )
    lost = tuple(
        (Side(side), piece) for side, said in sides.items() for piece, one in said.items() if not one
    )
    if lost or len(pieces) < len(Side) or any(each.sole_um != pieces[0].sole_um for each in pieces):
        return BindingSetting(pieces=pieces, lost=lost)
    if any(pieces[0].side is not side and pieces[-1].side is not side for side in Side):  # in order of side
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
        f" LEFT JOIN notes AS locked ON locked.seq = quarantine_entry{clause}",
        args,
    )
    names = tuple(column[0] for column in cursor.description)
    found = (_of_row(names, row) for row in cursor)
    return tuple(sorted(found, key=lambda standing: tag_order(standing.tag)))


@lru_cache(maxsize=8192)
def _of_row(names: tuple[str, ...], row: tuple[Any, ...]) -> Standing:
    """Return the standing of a row, made once as long as the row is the same: a day asks for it often."""
    return standing_from_row(dict(zip(names, row, strict=True)))


def read_standing(connection: sqlite3.Connection, tag: str) -> Standing:
    """The pair's standing, or Refused with the nearest tag."""
    found = read_standings(connection, where="tag = ?", args=(tag,))
    if not found and (now := called_now(connection, tag)) != tag:
        raise Refused(f"{tag} is called {now} now", cure=f"name it {now}")
    if not found:
        tags = (tag for (tag,) in connection.execute("SELECT tag FROM pair"))
        raise Refused(f"there is no pair {tag} in the ledger", cure=did_you_mean(tag, tags, "check the tag"))
    return found[0]
