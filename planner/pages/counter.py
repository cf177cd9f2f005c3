"""The counter: one field that a scanner fills, one large answer."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from fleet.base.errors import Refused
from fleet.facts.tags import known_tag
from fleet.ledger.desk import Desk
from fleet.rules.counter import Done, take_back
from planner.pages.asked import fields_of, hand_of, served_of
from planner.pages.shown import show


async def _page(request: Request) -> Response:
    return show(request, "counter.html", done=None, again=False)


async def _scan(request: Request) -> Response:
    fields = await fields_of(request)
    scan = fields.get("scan", "").strip()

    def back(desk: Desk) -> Done:
        return take_back(desk, [known_tag(desk.connection, scan)])[0]

    if not scan:
        raise Refused("nothing was scanned", cure="scan a ski")
    acted = await served_of(request).act(hand_of(request, fields), back)
    return show(request, "counter.html", done=acted.came, again=acted.again)


ROUTES: Final = (Route("/counter", _page), Route("/counter/scan", _scan, methods=["POST"]))
