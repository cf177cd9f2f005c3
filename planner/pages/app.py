"""The pages as one application: the door, the desks, every page's routes, and errors in a sentence."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection, Mapping
from typing import Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from fleet.base.errors import BadInput, MountbookError
from fleet.tables.connection import SQLITE_FAULTS, ledger_fault
from planner.pages import static
from planner.pages.asked import desks_of, served_of
from planner.pages.desks import Desks
from planner.pages.door import PagesDoor
from planner.pages.served import ServedLedger
from planner.pages.shown import show_error
from planner.pages.table import NAVIGATION, page_routes
from planner.plan.kept_trace import own_fault

COOKIE: Final = "mountbook_desk"
UPLOADS: Final[Mapping[str, int]] = {}
"""Address of a page that takes a file -> the largest body, in bytes."""

_Endpoint = Callable[[Request], Awaitable[Response]]


def pages_app(
    served: ServedLedger, desks: Desks, *, shop: str, hosts: Collection[str], secure: bool
) -> Starlette:
    """Return the application. ``hosts``: the names of this machine, with the port; ``secure``: over TLS."""
    routes = [Route(r.path, _answered(r.endpoint), methods=r.methods) for r in page_routes()]
    app = Starlette(
        routes=[Route("/", _front), *static.ROUTES, *routes],
        middleware=[
            Middleware(PagesDoor, hosts=hosts, uploads=UPLOADS),
            Middleware(DeskDoor),
        ],
        exception_handlers={HTTPException: _no_page},
    )
    app.state.served, app.state.desks, app.state.shop = served, desks, shop
    app.state.secure, app.state.signed_minutes = secure, 15
    return app


async def _front(_: Request) -> Response:
    return RedirectResponse(NAVIGATION[0].address, status_code=303)


def _answered(endpoint: _Endpoint) -> _Endpoint:
    """Return the endpoint with every fault as a page of one sentence; no traceback leaves the machine."""

    async def answered(request: Request) -> Response:
        try:
            return await endpoint(request)
        except MountbookError as fault:
            return show_error(request, fault)
        except SQLITE_FAULTS as fault:
            return show_error(request, ledger_fault(fault, served_of(request).path))
        except HTTPException:
            raise
        except Exception as fault:
            return show_error(request, own_fault(fault))

    return answered


async def _no_page(request: Request, fault: Exception) -> Response:
    status = fault.status_code if isinstance(fault, HTTPException) else 404
    words = "there is no such page" if status == 404 else "the page takes no such request"
    page = show_error(request, BadInput(words, cure="begin at the front page"))
    page.status_code = status
    return page


class DeskDoor:
    """Lets desks in by the key in their cookie; a browser of this machine gets one by itself."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request of a desk that is known, or let it in."""
        if scope["type"] != "http" or scope["path"].startswith("/static/"):
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        desks = desks_of(request)
        desk = desks.of_key(request.cookies.get(COOKIE, ""))
        if desk is None:
            desk, key = desks.let_in()
            send = _with_cookie(send, key, secure=request.app.state.secure)
        scope.setdefault("state", {})["desk"] = desk
        await self._app(scope, receive, send)


def _with_cookie(send: Send, key: str, *, secure: bool) -> Send:
    from starlette.types import Message

    said = f"{COOKIE}={key}; Path=/; Max-Age=31536000; HttpOnly; SameSite=Strict{'; Secure' * secure}"

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [*message["headers"], (b"set-cookie", said.encode())]
        await send(message)

    return sent
