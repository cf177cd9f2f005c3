"""Letting a tablet in: by the one-time code that the shop's machine shows."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from planner.pages.asked import desks_of, fields_of, set_key
from planner.pages.shown import show

LET_IN: Final = "/let-in"


async def _page(request: Request) -> Response:
    code = request.query_params.get("code", "")
    return show(request, "let_in.html", code=code if code.isascii() and code.isdigit() else "")


async def _let_in(request: Request) -> Response:
    fields = await fields_of(request)
    _, key = desks_of(request).let_in_by_code(fields.get("code", ""))
    answer = RedirectResponse("/desk", status_code=303)
    set_key(request, answer, key)
    return answer


ROUTES: Final = (Route(LET_IN, _page), Route(LET_IN, _let_in, methods=["POST"]))
