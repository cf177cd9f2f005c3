"""The page of the desk itself: its name, who stands at it, and the other desks."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from planner.pages.asked import desk_of, desks_of, fields_of
from planner.pages.shown import show


async def _page(request: Request) -> Response:
    return show(request, "desk.html", desks=desks_of(request).all())


async def _rename(request: Request) -> Response:
    fields = await fields_of(request)
    desks_of(request).rename(desk_of(request), fields.get("name", ""))
    return RedirectResponse("/desk", status_code=303)


ROUTES: Final = (
    Route("/desk", _page),
    Route("/desk/rename", _rename, methods=["POST"]),
)
