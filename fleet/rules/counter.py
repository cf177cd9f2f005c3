"""The counter: out, back, later, missing, in transit, sold, and undoing a slip of the scanner.

Each function is one human action inside a transaction the caller holds: it looks, refuses or appends.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from fleet.base.days import day_text, time_text
from fleet.base.entries import name_key, parse_utc
from fleet.base.errors import BadInput, Refused
from fleet.base.units import mm_text
from fleet.events.movement import BindingSet, DueChanged, PairBack, PairMoved, PairOut, ScanUndone
from fleet.facts.equipment import Place
from fleet.facts.standing import Standing, read_standing
from fleet.ledger.desk import Desk
from fleet.ledger.signing import any_listed, manager, signer
from fleet.rules.clearance import Door, no_open_order
from fleet.rules.moves import Move, check_move
from fleet.tables.snapshot import read_policy

FIT_NOT_CHECKED = "fit not checked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """The result for one pair, for a line on the screen. ``entry`` is its number in the ledger."""

    tag: str
    place: Place
    entry: int
    words: str


def take_out(
    desk: Desk,
    tags: Sequence[str],
    *,
    boot: str | None = None,
    due: date | None = None,
    set_now: bool = False,
    remark: str = "",
) -> list[Done]:
    """Hand the pairs out, all or none. Refused with every reason, and what could go instead.

    ``set_now``: the binding was just set for this boot, boot in; that is an entry of its own before the out.
    ``remark`` is free text, such as where a list entered later comes from.
    """
    check_named(tags, boot)
    if set_now and boot is None:
        raise BadInput("--set says that a binding was set for a boot", cure="name it: --boot TAG")
    if set_now:
        any_listed(desk.connection, desk.by, days=desk.signing_days, what="say that a binding is set")
    door = Door(desk.connection, at=desk.at, zone=desk.zone, boot=boot, set_now=set_now)
    if boot is not None:
        check_boot_is_in(desk.connection, boot)
    if due is not None and due < desk.day:
        raise BadInput(f"due on {due.isoformat()} lies before it goes out", cure="check the date of --due")
    done = []
    for tag in tags:
        answer = door.ask(tag)
        if answer.reasons:
            instead = () if answer.only_set else door.instead_of(tag, leave_out=tags)
            raise Refused(
                f"{tag} cannot go out: {'; '.join(answer.reasons)}",
                cure=f"nothing was handed out; {answer.step}".rstrip("; ") if len(tags) > 1 else answer.step,
                instead=instead,
            )
        set_entry = None
        words = FIT_NOT_CHECKED if answer.fit is None else f"boot {boot} fits"
        if set_now and door.sole_um is not None:
            set_entry = desk.enter(BindingSet(tag=tag, bsl_um=door.sole_um, boot=boot))
            words += f"; its binding was set for {mm_text(door.sole_um)} mm"
        words += f"; due {day_text(due)}" if due else ""
        entry = desk.enter(
            PairOut(
                tag=tag,
                boot=boot,
                due=due,
                fit=FIT_NOT_CHECKED if answer.fit is None else "fits",
                sole_um=door.sole_um,
                set_entry=set_entry,
            ),
            note=remark,
        )
        done.append(Done(tag=tag, place=Place.OUT, entry=entry, words=words))
    return done


def check_named(tags: Sequence[str], boot: str | None = None) -> None:
    """Refuse no pair, a pair given twice, and one boot for several pairs."""
    seen: set[str] = set()
    for tag in tags:
        if tag in seen:
            raise BadInput(f"{tag} was given twice", cure="give each tag once")
        seen.add(tag)
    if not tags:
        raise BadInput("no pair was named", cure="scan or type its tag")
    if boot is not None and len(tags) > 1:
        raise BadInput(
            "one boot goes with one pair", cure="hand the pairs out one by one, each with its boot"
        )


def check_boot_is_in(connection: sqlite3.Connection, boot: str) -> None:
    """Refuse a boot that is out with a pair."""
    row = connection.execute(
        "SELECT tag FROM standing WHERE place = 'out' AND out_boot = ?", (boot,)
    ).fetchone()
    if row:
        raise Refused(f"boot {boot} is out with {row[0]}", cure="scan that pair back first")


def take_back(desk: Desk, tags: Sequence[str], *, said: str = "", remark: str = "") -> list[Done]:
    """Take the pairs back, all or none. ``said``: what the renter said, kept as free text.

    ``remark`` is other free text; it does not count as said by the renter.
    """
    check_named(tags)
    done = []
    for tag in tags:
        standing = read_standing(desk.connection, tag)
        check_move(Move.BACK, tag, standing.place)
        if standing.place is Place.BACK and standing.returned.entry >= standing.out.entry > 0:
            raise Refused(
                f"{tag} came back already, {time_text(standing.returned.at, desk.zone)}",
                cure="nothing was counted twice",
            )
        if standing.place is Place.OUT:
            desk.check_after(standing.out, tag, "went out")
        entry = desk.enter(PairBack(tag=tag, said=bool(said)), note=said or remark)
        after = read_standing(desk.connection, tag)
        done.append(Done(tag=tag, place=after.place, entry=entry, words=_back_words(standing, after)))
    return done


def _back_words(before: Standing, after: Standing) -> str:
    words = "to the recheck rack"
    if after.place is Place.HOLD:
        words = f"HOLD: {after.hold_why}"
    elif after.place is Place.QUARANTINE:
        words = f"QUARANTINE, touch nothing: {after.quarantine_why}"
    elif after.place is not Place.BACK:
        words = f"stays {after.place.value}"
    if before.place is not Place.OUT:
        words += f" (it was never scanned out: the ledger had it {before.place.value})"
    return words


def keep_longer(desk: Desk, tag: str, *, until: date) -> Done:
    """Enter another due day: the renter keeps the pair longer."""
    standing = read_standing(desk.connection, tag)
    if standing.place is not Place.OUT:
        raise Refused(f"{tag} is {standing.place.value}, not out", cure="check the tag")
    if until < desk.day:
        raise BadInput(f"{until.isoformat()} has passed already", cure="give the day it is due now")
    entry = desk.enter(DueChanged(tag=tag, due=until))
    return Done(tag=tag, place=Place.OUT, entry=entry, words=f"due {day_text(until)}")


def undo(desk: Desk, tag: str) -> Done:
    """Undo the pair's newest out or back by a new entry, while it still counts as a slip of the scanner."""
    standing = read_standing(desk.connection, tag)
    if not standing.undo_entry:
        raise Refused(
            f"{tag} has nothing to undo: its newest entry is neither an out nor a back",
            cure="enter what happened as it is",
        )
    what, recorded, by, said = desk.connection.execute(
        "SELECT what, recorded_at_utc, by, body FROM entries WHERE seq = ?", (standing.undo_entry,)
    ).fetchone()
    window = timedelta(minutes=read_policy(desk.connection).count("undo_minutes"))
    if desk.now - parse_utc(recorded) > window:
        raise Refused(
            f"{tag}: that scan is older than {int(window.total_seconds()) // 60} minutes and stands",
            cure="enter what happened as it is",
        )
    set_entry = json.loads(said).get("set_entry")
    entry = desk.enter(ScanUndone(tag=tag, entry=standing.undo_entry, what=what, of=by, set_entry=set_entry))
    after = read_standing(desk.connection, tag)
    words = f"undone: {what}; it is {after.place.value}"
    if set_entry:
        words += "; what its binding stands at is not known now"
    return Done(tag=tag, place=after.place, entry=entry, words=words)


def newest_scan(desk: Desk) -> str:
    """Return the tag of this person's newest out or back that can still be undone."""
    key = name_key(desk.by)
    for tag, by in desk.connection.execute(
        "SELECT tag, entries.by FROM standing JOIN entries ON entries.seq = standing.undo_entry"
        " WHERE undo_entry > 0 ORDER BY undo_entry DESC"
    ):
        if name_key(by) == key:
            return str(tag)
    raise Refused(f"{desk.by} has no scan to undo", cure="name the pair")


_MOVES = {
    "missing": Move.MISS,
    "in transit": Move.SEND,
    "retired": Move.RETIRE,
    "sold": Move.SELL,
    "shop": Move.ARRIVE,
}


def move(desk: Desk, tag: str, *, to: str, reason: str) -> Done:
    """Enter missing, in transit, retired or sold; or ``shop``: found or arrived. Selling and retiring are
    signed.
    """
    if to not in _MOVES:
        raise BadInput(f"a pair is not moved to {to!r} by hand", cure=f"one of: {', '.join(_MOVES)}")
    standing = read_standing(desk.connection, tag)
    check_move(_MOVES[to], tag, standing.place)
    if to == "sold":
        manager(desk.connection, desk.by, days=desk.signing_days, what="sell a ski")
    if to == "retired":
        signer(desk.connection, desk.by, days=desk.signing_days, what="retire a ski")
    if to in ("sold", "retired", "in transit"):
        no_open_order(desk.connection, tag)
    entry = desk.enter(PairMoved(tag=tag, to=to), note=reason)
    after = read_standing(desk.connection, tag)
    words = "its hole map goes with it: mountbook hole-map" if to == "sold" else reason
    return Done(tag=tag, place=after.place, entry=entry, words=words)
