"""The day: all that waits at the counter and at the bench, each line leading to its place."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from fleet.base.days import day_text
from fleet.ledger.ledger import Ledger
from planner.bench.day.today import Today, TopicOf, today_at
from planner.pages.asked import served_of
from planner.pages.shown import show

_PLACE: Final = {
    TopicOf.THINGS: "/find/thing?tag=",
    TopicOf.ORDERS: "/find/order?name=",
}
"""The page that a line leads to; the rest is set at the desk's terminal."""


async def _page(request: Request) -> Response:
    served = served_of(request)

    def look(ledger: Ledger) -> Today:
        with ledger.reading() as connection:
            return today_at(connection, now=served.now(), zone=ledger.zone)

    found = await served.look(look)
    return show(request, "today.html", day=day_text(found.day), topics=found.topics, place=_PLACE)


ROUTES: Final = (Route("/today", _page),)
