"""The day: all that waits at the counter and at the bench, each line leading to its place."""

import sqlite3
from datetime import timedelta
from itertools import groupby
from typing import Final

from fleet.base.days import clock_text, day_at, day_text, midnight
from fleet.base.entries import utc_text
from fleet.ledger.corrections import remark
from fleet.ledger.desk import Desk, any_listed
from fleet.rules.quick_passes import QuickPasses, quick_passes
from fleet.tables.connection import read_shop
from planner.bench.today import DoneAt, Today, TopicOf, today_at
from planner.pages.table import PAGE_WORDS
from planner.pages.web import Fields, Request, Response, Route, entry_of, hand_of, served_of, show

_PLACE: Final = {
    TopicOf.THINGS: "/find/thing?tag=",
    TopicOf.ORDERS: "/bench/order?name=",
    TopicOf.PASSES: "/today/passes?by=",
}
"""The page that a line leads to; the rest is set at the desk's terminal."""


_PAGE_WORD: Final = dict(PAGE_WORDS) | {DoneAt.SAMPLE: "the sample", DoneAt.STAFF: "the staff list"}
_DONE_ON: Final = {at: (_PAGE_WORD[at], f"/{at}") for at in DoneAt if at is not DoneAt.ELSE}
"""Room of the shop -> its page: word and address."""


async def _page(request: Request) -> Response:
    served = served_of(request)

    def look(connection: sqlite3.Connection) -> Today:
        return today_at(connection, now=served.now(), zone=read_shop(connection).zone)

    found = await served.read(look)
    topics = [(title, [*parts]) for title, parts in groupby(found.topics, lambda topic: topic.title)]
    return show(
        request,
        "today.html",
        day=day_text(found.day),
        topics=topics,
        place=_PLACE,
        things=TopicOf.THINGS,
        done_on=_DONE_ON,
    )


async def _passes(request: Request, *, by: str = "", said: str = "") -> Response:
    """Return a person's passes of today and the day before, the newest first; each leads to a look."""
    by = by or request.query_params.get("by", "")
    now = served_of(request).now()

    def look(connection: sqlite3.Connection) -> tuple[list[QuickPasses], list[tuple[str, str, str]]]:
        zone = read_shop(connection).zone
        since = day_at(now, zone) - timedelta(days=1)
        quick = [each for each in quick_passes(connection, since=since) if each.by == by]
        rows = connection.execute(
            "SELECT tag, looked_at, pair.rack FROM look JOIN pair USING (tag)"
            " WHERE look.by = ? AND looked_at >= ? AND outcome = 'pass' ORDER BY look.entry DESC",
            (by, utc_text(midnight(since, zone))),
        )
        return quick, [(tag, clock_text(at, zone, today=now), rack) for tag, at, rack in rows]

    quick, passes = await served_of(request).read(look)
    return show(request, "passes.html", by=by, quick=quick, passes=passes, said=said)


async def _seen(request: Request, fields: Fields) -> Response:
    """Enter what another person found at some of these pairs: a remark, by the command's function."""
    entry = entry_of(fields, "look")

    def enter(desk: Desk) -> int:
        any_listed(desk.connection, desk.by, days=desk.signing_days, what="say what was seen")
        return remark(desk.tx, entry, why=fields.get("why", ""))

    acted = await served_of(request).act(hand_of(request, fields), enter)
    said = "entered before, and not counted twice" if acted.again else f"entered as {acted.came}"
    return await _passes(request, by=fields.get("by", ""), said=said)


ROUTES: Final = (
    Route("/today", _page),
    Route("/today/passes", _passes),
    Route("/today/seen", _seen, methods=["POST"]),
)
