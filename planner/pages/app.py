"""The pages as one application: the door, the desks, every page's routes, and errors in a sentence.

The door says which requests come in at all, and what every answer says to the browser. Serving them is one
process for one ledger, an address that answers, and a stop that leaves nothing half done.
"""

import contextlib
import ipaddress
import socket
import sqlite3
import ssl
from collections.abc import Awaitable, Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, cast

import uvicorn
from starlette.applications import Starlette
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fleet.base.errors import BadInput, MountbookError, Refused, or_bad_input
from fleet.tables.sqlite_faults import SQLITE_FAULTS, ledger_fault
from imports.gate import MAX_BYTES
from planner.pages import static
from planner.pages.desks import Desks, Pins, desks_file, open_desks
from planner.pages.inventory import forget_brought
from planner.pages.people import LET_IN
from planner.pages.table import NAVIGATION, page_routes
from planner.pages.web import (
    COOKIE,
    LedgerCare,
    ServedLedger,
    check_no_badge,
    desks_of,
    fields_of,
    is_here,
    served_of,
    set_key,
    show_error,
)
from planner.plan.fault_isolation import own_fault

BODY_BYTES: Final = 64 * 1024
"""The most that a form holds; a page that takes files says its own limit."""

SAYS: Final[Mapping[str, str]] = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self';"
    " img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class PagesDoor:
    """Lets in what a browser of this shop sends: the right host, and posts from our own pages only.

    ``hosts``: the names by which the machine is reached, with the port. ``uploads``: the largest body of an
    address that takes files, in bytes.
    """

    def __init__(self, app: ASGIApp, *, hosts: Collection[str], uploads: Mapping[str, int]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)
        self._uploads = uploads

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it in a sentence."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def said(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SAYS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refused = self._refused(scope)
        if refused is not None:
            await PlainTextResponse(f"{refused[1]}\n", refused[0])(scope, receive, said)
            return
        most = self._uploads.get(scope["path"], BODY_BYTES)
        body = await _body(receive, most) if scope["method"] == "POST" else b""
        if body is None:
            words = f"That is more than the {most // 1024} KiB that this page takes.\n"
            await PlainTextResponse(words, 413)(scope, receive, said)
            return
        await self._app(scope, _from(body), said)

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "").lower()
        if host not in self._hosts or len(headers.getlist("host")) != 1:
            return (
                421,
                "This machine is not called that here. Open the address which its screen shows.",
            )
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "The pages take no such request."
        if scope["method"] == "POST" and not _from_our_page(headers, f"{scope['scheme']}://{host}"):
            return 403, "This was not sent by a page of this shop. Nothing was entered."
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit():
            return 400, "The length of the request is no number."
        if int(length) > self._uploads.get(scope["path"], BODY_BYTES):
            return 413, "That is more than this page takes. Nothing was entered."
        return None


def _from_our_page(headers: Headers, ours: str) -> bool:
    """Return whether a browser says that one of our own pages sent it; one that says nothing does not."""
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if site not in (None, "same-origin"):
        return False
    return origin.lower() == ours if origin is not None else site == "same-origin"


async def _body(receive: Receive, most: int) -> bytes | None:
    """Return the whole body; None where it is longer than it may be, or its sender is lost on the way."""
    body = bytearray()
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > most or message["type"] == "http.disconnect":
            return None
        if not message.get("more_body", False):
            return bytes(body)


def _from(body: bytes) -> Receive:
    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    return receive


UPLOADS: Final[Mapping[str, int]] = {"/inventory/bring": MAX_BYTES + 4096}
"""Address of a page that takes a file -> the largest body, in bytes."""

_Endpoint = Callable[[Request], Awaitable[Response]]


def pages_app(
    served: ServedLedger, desks: Desks, pins: Pins, *, shop: str, hosts: Collection[str], secure: bool
) -> Starlette:
    """Return the application. ``hosts``: the names of this machine, with the port; ``secure``: over TLS."""
    routes = [Route(r.path, _answered(r), methods=r.methods) for r in page_routes()]
    app = Starlette(
        routes=[Route("/", _front), *static.ROUTES, *routes],
        middleware=[
            Middleware(PagesDoor, hosts=hosts, uploads=UPLOADS),
            Middleware(DeskDoor),
        ],
        exception_handlers={HTTPException: _no_page},
    )
    app.state.served, app.state.desks, app.state.pins = served, desks, pins
    app.state.counters, app.state.running, app.state.drawn_orders, app.state.waiting = {}, {}, {}, {}
    app.state.shop, app.state.secure, app.state.signed_minutes = shop, secure, 0
    return app


async def _front(_: Request) -> Response:
    return RedirectResponse(NAVIGATION[0].address, status_code=303)


def _answered(route: Route) -> _Endpoint:
    """Return the route's endpoint with every fault as a page of one sentence; no traceback leaves the
    machine. One that takes a form is given its fields.
    """
    takes_form = "POST" in (route.methods or ()) and route.path not in UPLOADS

    async def answered(request: Request) -> Response:
        try:
            check_no_badge(request.query_params.values())
            fields = (await fields_of(request),) if takes_form else ()
            return cast(Response, await route.endpoint(request, *fields))
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
    return show_error(request, BadInput(words, cure="begin at the front page"), status=status)


class DeskDoor:
    """Lets desks in by the key in their cookie. A browser of this machine gets one by itself where it opens a
    page (no picture on another site's page does), any other by the code that the machine shows.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request of a desk that is known, or ask for the code."""
        if scope["type"] != "http" or scope["path"].startswith("/static/"):
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        desks = desks_of(request)
        scope.setdefault("state", {})
        desk, key = desks.of_key(request.cookies.get(COOKIE, "")), ""
        opens_a_page = request.headers.get("sec-fetch-dest", "document") == "document"
        if desk is None and is_here(request) and scope["method"] == "GET" and opens_a_page:
            desk, key = desks.let_in()
        if desk is not None:
            scope["state"]["desk"] = desk
        elif scope["path"] != LET_IN:
            await _not_let_in(request)(scope, receive, send)
            return
        await self._app(scope, receive, _with_key(request, send, key) if key else send)


def _not_let_in(request: Request) -> Response:
    if request.method == "GET":
        return RedirectResponse(LET_IN, status_code=303)
    return show_error(
        request,
        Refused("this tablet is not let in; nothing was entered", cure="read the code at the shop's machine"),
        status=403,
    )


def _with_key(request: Request, send: Send, key: str) -> Send:
    cookie = Response()
    set_key(request, cookie, key)
    said = [each for each in cookie.raw_headers if each[0] == b"set-cookie"]

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [*message["headers"], *said]
        await send(message)

    return sent


_HERE: Final = "127.0.0.1"
_ONE_SERVER: Final = ".serving"


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """The addresses of the pages: this machine's own, and those for the tablets."""

    here: str
    lan: tuple[str, ...]


@contextmanager
def only_server(ledger: Path) -> Iterator[None]:
    """Hold the place of the one server of a ledger. Raises Refused while another process holds it.

    The lock is that of the ledger's own library on a file beside it: a killed process leaves none.
    """
    beside = ledger.resolve().with_name(f"{ledger.resolve().name}{_ONE_SERVER}")
    try:
        held = sqlite3.connect(beside, timeout=0, isolation_level=None)
        held.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as fault:
        if getattr(fault, "sqlite_errorname", "").startswith("SQLITE_BUSY"):
            raise Refused(
                f"the pages of {ledger.name} are served already",
                cure="open the address that the other mountbook serve shows, or stop it there with Ctrl-C",
            ) from fault
        raise MountbookError(
            f"{beside} cannot be made: {fault}", cure="the ledger's folder must let you write"
        ) from fault
    with contextlib.closing(held):
        yield


def serve_pages(
    ledger: Path,
    *,
    settings: Path,
    shop: str,
    zone: str,
    now: Callable[[], datetime],
    care: LedgerCare,
    lan: bool,
    port: int,
    cert: Path | None,
    key: Path | None,
    say: Callable[[Listening], None],
    say_code: Callable[[str], None],
) -> None:
    """Serve until somebody stops it. ``say`` hears the addresses once they answer, ``say_code`` each code
    that lets one tablet in.

    Raises Refused while another process serves this ledger, BadInput for a port or certificate that cannot
    be used.
    """
    _check_certificate(cert, key)
    with only_server(ledger), contextlib.closing(_socket("0.0.0.0" if lan else _HERE, port)) as listening:
        forget_brought(ledger)
        real = listening.getsockname()[1]
        scheme = "https" if cert else "http"
        names = ("localhost", _HERE, *(lan_names() if lan else ()))
        served = ServedLedger(ledger, now=now, care=care)
        store = open_desks(desks_file(settings, ledger))
        desks = Desks(store, now=_clock, new_code=say_code if lan else None)
        app = pages_app(
            served,
            desks,
            Pins(store, now=_clock, zone=zone),
            shop=shop,
            hosts=[host for name in names for host in _with_port(name, real, scheme)],
            secure=cert is not None,
        )
        config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            server_header=False,
            date_header=False,
            lifespan="off",
            ws="none",
            proxy_headers=False,
            timeout_keep_alive=30,
            limit_concurrency=200,
            ssl_certfile=cert,
            ssl_keyfile=key,
            timeout_graceful_shutdown=10,
        )
        address = Listening(
            here=f"{scheme}://{_HERE}:{real}/",
            lan=tuple(f"{scheme}://{name}:{real}/" for name in names[2:]) if lan else (),
        )

        def started() -> None:
            say(address)
            if lan:
                desks.show_code()

        try:
            server = _Server(config, started=started)
            with contextlib.suppress(KeyboardInterrupt):  # it has stopped by then, and says so again
                server.run(sockets=[listening])
        finally:
            served.close()
            forget_brought(ledger)
            store.close()


def _check_certificate(cert: Path | None, key: Path | None) -> None:
    if (cert is None) != (key is None):
        raise BadInput("a certificate and its key go together", cure="--cert FILE --key FILE")
    if cert is not None:
        with or_bad_input(
            f"the certificate {cert} with the key {key} cannot be used:",
            cure="both as PEM, the key without a password",
            of=(OSError, ValueError),
        ):
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key, password="")


def _clock() -> datetime:
    """The clock of sessions and locks, which no test clock stands for."""
    return datetime.now(UTC)


class _Server(uvicorn.Server):
    """The server, which says when it answers."""

    def __init__(self, config: uvicorn.Config, *, started: Callable[[], None]) -> None:
        super().__init__(config)
        self._say = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to answer, then say so."""
        await super().startup(sockets=sockets)
        self._say()


def lan_names() -> tuple[str, ...]:
    """Return this machine's addresses in the shop's network, and its name there."""
    found: list[str] = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # nothing is sent: the address that would be used is asked for
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    names = [each for each in dict.fromkeys(found) if not ipaddress.ip_address(each).is_loopback]
    return (*names, socket.gethostname().lower())


def _with_port(name: str, port: int, scheme: str) -> tuple[str, ...]:
    plain = (name,) if port == {"http": 80, "https": 443}[scheme] else ()
    return (f"{name}:{port}", *plain)


def _socket(host: str, port: int) -> socket.socket:
    with or_bad_input(
        f"port {port} cannot be used:", cure="another one: --port 8010", of=(OSError, OverflowError)
    ):
        return socket.create_server((host, port))
