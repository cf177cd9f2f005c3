"""Hours that were entered later, and the second person who confirms them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.base.entries import name_key
from fleet.base.errors import Refused
from fleet.events.stops import GlueHour, HourConfirmed
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import Desk
from fleet.ledger.signing import signer


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmedHour:
    """Glue in a pair, whose cure counts from the stated hour now (UTC text)."""

    tag: str
    entry: int
    stated: str


def hour_words(desk: Desk, entry: int) -> str:
    """Return what is to be said after an entry whose glue cures from the entry; "" where nothing is."""
    waits = "SELECT 1 FROM glue WHERE entry = ? AND stated > '' AND at > stated"
    if desk.connection.execute(waits, (entry,)).fetchone() is None:
        return ""
    return (
        "; its cure counts from now, until a second person confirms the hour:"
        f" mountbook confirm-hour {entry} --by NAME"
    )


def confirm_hours(desk: Desk, entries: Sequence[int]) -> tuple[ConfirmedHour, ...]:
    """Enter that a second listed person confirms the stated hours of these entries, all or none.

    Raises Refused for an entry that waits for no such word, and for who entered one of them.
    """
    signer(desk.connection, desk.by, days=desk.signing_days, what="confirm an hour")
    desk.second_signature()
    found: list[ConfirmedHour] = []
    for seq in dict.fromkeys(entries):
        entry = read_entry(desk.connection, seq)
        rows = desk.connection.execute(
            "SELECT tag, at, stated FROM glue WHERE entry = ? AND stated > ''", (seq,)
        ).fetchall()
        if not rows:
            raise Refused(
                f"entry {seq} uses no glue", cure="see the entries' numbers in `mountbook ski PAIR`"
            )
        if all(at <= stated for _, at, stated in rows):
            raise Refused(f"entry {seq} was entered as it happened, or is confirmed", cure="leave it out")
        if name_key(entry.by) == name_key(desk.by):
            raise Refused(
                f"{desk.by} entered it: a second person confirms the hour of entry {seq}",
                cure="who saw the glue being used signs with --by NAME",
            )
        found += [ConfirmedHour(tag=tag, entry=seq, stated=stated) for tag, _, stated in rows]
    desk.enter(HourConfirmed(hours=tuple(GlueHour(tag=one.tag, entry=one.entry) for one in found)))
    return tuple(found)
