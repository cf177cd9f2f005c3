"""The desk of a command: an open ledger, one transaction, the person and the times."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from datetime import date, datetime
from typing import TYPE_CHECKING

from planner.cli import session

if TYPE_CHECKING:
    from fleet.ledger.desk import Desk
    from fleet.rules.counter import Done


@contextmanager
def at_desk(
    by: str | None, at: str | None, *, care: bool = True, now: datetime | None = None, copy: bool = False
) -> Iterator[Desk]:
    """Yield a desk. Everything entered inside is one action: all of it is kept, or nothing.

    ``copy``: at a copy in memory, to see what would come of it; nobody else waits meanwhile, nothing is kept.
    """
    from fleet.ledger.desk import Desk

    name, now = session.actor(by), now or session.now()
    with session.open_ledger(care=care) as opened, opened.copied() if copy else nullcontext(opened) as ledger:
        zone = ledger.zone
        stated = session.stated_time(at, zone)
        with ledger.transaction(by=name, now=now) as tx:
            desk = Desk(tx=tx, by=name.strip(), now=now, zone=zone, stated=stated)
            if stated is not None and desk.before_first_entry and not copy:
                session.note("note: that time lies before the ledger's first entry; it is entered as told")
            yield desk


def parse_day(text: str | None, option: str) -> date | None:
    """Return the ISO date of an option. Raises BadInput with an example."""
    from fleet.base.days import typed_day

    return None if text is None else typed_day(text, option)


def show(done: Sequence[Done], *, json: bool, later: bool = False) -> None:
    """Print one line a pair, or the JSON object ``{"done": [...]}``."""
    if json:
        session.emit_json(
            {
                "done": [
                    {"tag": d.tag, "place": d.place.value, "entry": d.entry, "words": d.words} for d in done
                ],
                "entered_later": later,
            }
        )
        return
    width = max((len(d.tag) for d in done), default=0)
    for d in done:
        session.say(f"{d.tag:<{width}}  {d.place.value:<12}  {d.words}")
    if later:
        session.note("entered later, with the time given")
