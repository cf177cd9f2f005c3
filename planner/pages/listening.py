"""Serving: one process for one ledger, an address that answers, and a stop that leaves nothing half done."""

import contextlib
import ipaddress
import socket
import sqlite3
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import uvicorn

from fleet.base.errors import BadInput, MountbookError, Refused
from planner.pages.app import pages_app
from planner.pages.desks import Desks, Pins, desks_file, open_desks
from planner.pages.inventory import forget_brought
from planner.pages.served import LedgerCare, ServedLedger

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
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key, password="")
        except (OSError, ValueError) as fault:
            raise BadInput(
                f"the certificate {cert} with the key {key} cannot be used: {fault}",
                cure="both as PEM, the key without a password",
            ) from fault


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
    try:
        return socket.create_server((host, port))
    except (OSError, OverflowError) as fault:
        raise BadInput(f"port {port} cannot be used: {fault}", cure="another one: --port 8010") from fault
