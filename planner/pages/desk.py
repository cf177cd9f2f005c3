"""The page of the desk itself: its name, and the other desks, of which one may be thrown out."""

from __future__ import annotations

import sqlite3
from typing import Final

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from fleet.base.days import time_text
from fleet.base.errors import Refused
from fleet.facts.staff import HEADS, listed
from fleet.tables.snapshot import read_staff
from planner.pages.asked import desk_of, desks_of, fields_of, is_here, served_of
from planner.pages.shown import show


async def _page(request: Request) -> Response:
    def zone_of(connection: sqlite3.Connection) -> str:
        return str(connection.execute("SELECT zone FROM shop").fetchone()[0])

    zone = await served_of(request).read(zone_of)
    desks = [(each.name, time_text(each.since, zone)) for each in desks_of(request).all()]
    return show(request, "desk.html", desks=desks, may_throw_out=await _may_throw_out(request))


async def _rename(request: Request) -> Response:
    fields = await fields_of(request)
    name = fields.get("name", "")

    def check(connection: sqlite3.Connection) -> None:
        if listed(read_staff(connection), name) is not None:
            raise Refused(f"{name} is a person of the staff list", cure="a desk has a name of its own")

    await served_of(request).read(check)
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
    name = desks_of(request).signed_in(desk_of(request))
    person = await served_of(request).read(lambda connection: listed(read_staff(connection), name))
    return person is not None and person.role in HEADS


ROUTES: Final = (
    Route("/desk", _page),
    Route("/desk/rename", _rename, methods=["POST"]),
    Route("/desk/throw-out", _throw_out, methods=["POST"]),
)
