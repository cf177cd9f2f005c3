"""The day: all that waits at the counter and at the bench, each line leading to its place."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from fleet.base.days import day_text
from fleet.ledger.ledger import Ledger
from planner.bench.day.today import DoneAt, Today, TopicOf, today_at
from planner.pages.asked import served_of
from planner.pages.shown import show
from planner.pages.table import PAGE_WORDS

_PLACE: Final = {
    TopicOf.THINGS: "/find/thing?tag=",
    TopicOf.ORDERS: "/bench/order?name=",
}
"""The page that a line leads to; the rest is set at the desk's terminal."""


_PAGE_WORD: Final = dict(PAGE_WORDS)
_DONE_ON: Final = {at: (_PAGE_WORD[at.value], f"/{at.value}") for at in DoneAt if at is not DoneAt.ELSE}
"""Room of the shop -> its page: word and address."""


async def _page(request: Request) -> Response:
    served = served_of(request)

    def look(ledger: Ledger) -> Today:
        with ledger.reading() as connection:
            return today_at(connection, now=served.now(), zone=ledger.zone)

    found = await served.look(look)
    return show(
        request, "today.html", day=day_text(found.day), topics=found.topics, place=_PLACE, done_on=_DONE_ON
    )


ROUTES: Final = (Route("/today", _page),)
