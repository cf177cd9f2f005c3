"""The page of the desk itself: it is let in, has a name, and sees the others, which it may throw out."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from fleet.base.days import time_text
from fleet.base.errors import Refused
from fleet.facts.staff import HEADS
from planner.pages.asked import desk_of, desks_of, fields_of, is_here, listed_one, served_of, set_key, zone_of
from planner.pages.shown import show


async def _page(request: Request) -> Response:
    zone = await served_of(request).read(zone_of)
    desks = [(each.name, time_text(each.since, zone)) for each in desks_of(request).all()]
    return show(request, "desk.html", desks=desks, may_throw_out=await _may_throw_out(request))


async def _rename(request: Request) -> Response:
    name = (await fields_of(request)).get("name", "")
    if await listed_one(request, name) is not None:
        raise Refused(f"{name} is a person of the staff list", cure="a desk has a name of its own")
    desks_of(request).rename(desk_of(request), name)
    return RedirectResponse("/desk", status_code=303)


async def _throw_out(request: Request) -> Response:
    fields = await fields_of(request)
    if not await _may_throw_out(request):
        raise Refused(
            "a desk is thrown out at the shop's own machine, or by a manager or head technician",
            cure="sign in, or do it there",
        )
    desks_of(request).throw_out(fields.get("name", ""))
    return RedirectResponse("/desk", status_code=303)


async def _may_throw_out(request: Request) -> bool:
    if is_here(request):
        return True
    person = await listed_one(request, desks_of(request).signed_in(desk_of(request)))
    return person is not None and person.role in HEADS


LET_IN: Final = "/let-in"


async def _ask_code(request: Request) -> Response:
    code = request.query_params.get("code", "")
    return show(request, "let_in.html", code=code if code.isascii() and code.isdigit() else "")


async def _let_in(request: Request) -> Response:
    fields = await fields_of(request)
    _, key = desks_of(request).let_in_by_code(fields.get("code", ""))
    answer = RedirectResponse("/desk", status_code=303)
    set_key(request, answer, key)
    return answer


ROUTES: Final = (
    Route(LET_IN, _ask_code),
    Route(LET_IN, _let_in, methods=["POST"]),
    Route("/desk", _page),
    Route("/desk/rename", _rename, methods=["POST"]),
    Route("/desk/throw-out", _throw_out, methods=["POST"]),
)
