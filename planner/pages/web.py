"""A request and its answer, for every page, and the names that pages use of the web library.

Behind them stands the ledger: one thread holds it, so that many desks are one writer.

A request has the desk that it comes from, the fields of its form, and the hand that acts by it. The answer is
a template filled in, or an error as one sentence with its cure.
"""

import asyncio
import sqlite3
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from ipaddress import ip_address
from pathlib import Path
from typing import Final, Generic, TypeVar, cast
from urllib.parse import quote

from jinja2 import Environment
from starlette.requests import Request as Request
from starlette.responses import HTMLResponse, RedirectResponse as RedirectResponse, Response as Response
from starlette.routing import Route as Route

from fleet.base.days import day_at
from fleet.base.errors import (
    AnotherSigns,
    BadInput,
    LedgerFault,
    MountbookError,
    PlanFault,
    Refused,
    or_bad_input,
)
from fleet.base.units import typed_count
from fleet.events.event import LEFT_OUT, Tap
from fleet.facts.staff import Staff, listed
from fleet.ledger.desk import Desk, EnteredBefore, checked_tap, entries_of_tap, new_tap
from fleet.ledger.ledger import Ledger
from fleet.rules.hours import check_silence
from fleet.rules.moves import Done
from fleet.tables.connection import read_shop
from fleet.tables.snapshot import read_staff
from planner.pages.desks import BADGE_FORM, DeskKept, Desks, Pins
from planner.pages.static import ADDRESS_OF
from planner.pages.table import NAVIGATION, PageWord
from planner.pages.ways import way_links
from planner.paper.cautions import DEFER_ON_A_PAGE, NO_SETTING
from planner.paper.tablet_page.templates import environment

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """The person of one action, the desk whose page it was, and the action's own id.

    ``signed``: how the person was known, such as ``PIN``; "" where the desk acts in its own name.
    """

    by: str
    desk: str
    tap: str
    signed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Acted(Generic[_T]):
    """The result of an action. ``again``: it was entered before; ``came`` is None, nothing was done now."""

    came: _T | None
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerCare:
    """The care of a ledger that commands take too: ``day`` once a day, ``evening`` when that is closed."""

    day: Callable[[Ledger], None]
    evening: Callable[[Ledger], None]


class ServedLedger:
    """The ledger of one shop, for the pages. Every look and every action runs in its one thread, in turn.

    ``now``: the clock. Opened at the first use and again where another file stands in its place (a restore).
    ``care`` is taken between two requests; before the first one the caller has taken it.
    """

    def __init__(self, path: Path, *, now: Callable[[], datetime], care: LedgerCare | None = None) -> None:
        self.path = path
        self.now = now
        self._care = care
        self._cared = now().date()
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="ledger")
        self._ledger: Ledger | None = None
        self._file: tuple[int, int] = (0, 0)

    async def read(self, look: Callable[[sqlite3.Connection], _T]) -> _T:
        """Return what ``look`` makes of one moment of the ledger."""

        def run() -> _T:
            with self._open().reading() as connection:
                return look(connection)

        return await self._in_turn(run)

    async def look(self, look: Callable[[Ledger], _T]) -> _T:
        """Return what ``look`` makes of the ledger, from as many moments as it takes."""
        return await self._in_turn(lambda: look(self._open()))

    async def act(self, hand: Hand, act: Callable[[Desk], _T]) -> Acted[_T]:
        """Do one action at a desk: all of its entries are kept, or none. One that was entered before is
        found by its id, in the same transaction, and not done again.

        Raises MountbookError as ``act`` does; then nothing was entered.
        """

        def run() -> Acted[_T]:
            ledger = self._open()
            try:
                with at_hand(ledger, hand, now=self.now()) as desk:
                    return Acted(came=act(desk))
            except EnteredBefore:
                return Acted(came=None, again=True)

        return await self._in_turn(run)

    async def entered(self, hand: Hand) -> bool:
        """Return whether that action was entered before; asked where a page looks before it acts, since a
        look at what is over by now would refuse it.
        """
        return bool(await self.read(lambda connection: entries_of_tap(connection, hand.tap)))

    def close(self) -> None:
        """Finish what is under way, and close the ledger."""

        def close() -> None:
            if self._ledger is not None:
                self._ledger.connection.close()

        self._thread.submit(close).result()
        self._thread.shutdown()

    def audit_evening(self) -> None:
        """Take the care of a closed evening, after this request."""
        if self._care is not None:
            self._later(self._care.evening)

    async def _in_turn(self, run: Callable[[], _T]) -> _T:
        found = await asyncio.get_running_loop().run_in_executor(self._thread, run)
        today = self.now().date()
        if self._care is not None and today != self._cared:
            self._cared = today
            self._later(self._care.day)
        return found

    def _later(self, care: Callable[[Ledger], None]) -> None:
        self._thread.submit(lambda: care(self._open()))

    def _open(self) -> Ledger:
        try:
            state = self.path.stat()
            file = (state.st_dev, state.st_ino)
        except OSError as fault:
            raise MountbookError(
                f"the ledger {self.path.name} cannot be found any more: {fault.strerror}",
                cure="nothing was entered; put it back where it was, or start the pages again",
            ) from fault
        if self._ledger is None or file != self._file:
            if self._ledger is not None:
                self._ledger.connection.close()
                self._ledger = None
            self._ledger, self._file = Ledger.open(self.path), file
        return self._ledger


def tap_of_hand(hand: Hand) -> Tap:
    """Return what stands in each entry of the action. Raises BadInput for an action without an id."""
    return Tap(id=checked_tap(hand.tap), desk=hand.desk, signed=hand.signed or LEFT_OUT)


def check_hand(connection: sqlite3.Connection, hand: Hand, *, now: datetime) -> None:
    """Raise Refused for a desk that has the name of a person, and after a long silence of the ledger."""
    if not hand.signed and listed(read_staff(connection), hand.by) is not None:
        raise Refused(
            f"{hand.by} is a person of the staff list, and nobody has signed in",
            cure="sign in with a PIN, or give the desk another name",
        )
    check_silence(connection, now=now)


@contextmanager
def at_hand(ledger: Ledger, hand: Hand, *, now: datetime, stated: datetime | None = None) -> Iterator[Desk]:
    """Yield the desk of one action on a page. Raises EnteredBefore, and Refused for a desk that has the name
    of a person, or after a long silence of the ledger.
    """
    with ledger.transaction(by=hand.by, now=now, tap=tap_of_hand(hand)) as tx:
        check_hand(tx.connection, hand, now=now)
        yield Desk(tx=tx, by=hand.by, now=now, zone=ledger.zone, stated=stated, typed=bool(hand.signed))


COOKIE: Final = "mountbook_desk"
_YEAR: Final = 31_536_000


def served_of(request: Request) -> ServedLedger:
    """Return the ledger behind the pages."""
    return cast(ServedLedger, request.app.state.served)


def today_of(request: Request, connection: sqlite3.Connection) -> date:
    """Return the day that it is in the shop."""
    return day_at(served_of(request).now(), read_shop(connection).zone)


def desks_of(request: Request) -> Desks:
    """Return the desks that were let in."""
    return cast(Desks, request.app.state.desks)


def pins_of(request: Request) -> Pins:
    """Return the PINs and badges of the people who sign."""
    return cast(Pins, request.app.state.pins)


def desk_of(request: Request) -> DeskKept:
    """Return the desk that asks; the door has let it in."""
    return cast(DeskKept, request.state.desk)


def is_here(request: Request) -> bool:
    """Return whether the browser runs on the machine that serves the pages."""
    if request.client is None:
        return False
    try:
        return ip_address(request.client.host).is_loopback
    except ValueError:
        return False


def set_key(request: Request, answer: Response, key: str) -> None:
    """Give the browser the key of its desk: sent to this machine's own pages only, read by no script."""
    answer.set_cookie(
        COOKIE, key, max_age=_YEAR, httponly=True, samesite="strict", secure=request.app.state.secure
    )


async def listed_one(request: Request, name: str) -> Staff | None:
    """Return the person of the staff list who is called so."""
    return await served_of(request).read(lambda connection: listed(read_staff(connection), name))


async def fields_of(request: Request) -> dict[str, str]:
    """Return the fields of the form that was sent, as text. Raises BadInput for files and for too many."""
    form = await request.form(max_files=0, max_fields=200)
    fields = {name: value for name, value in form.multi_items() if isinstance(value, str)}
    check_no_badge(value for name, value in fields.items() if name != "badge")
    if len(fields) != len(form.multi_items()):
        raise BadInput("this form was sent with a field twice", cure="open the page again")
    return fields


def entry_of(fields: Mapping[str, str], what: str) -> int:
    """Return the number of the entry that a form is about. Raises BadInput for what no page of ours sends."""
    with or_bad_input(f"that is no {what} of this page", cure="open the page again; nothing was entered"):
        return typed_count(fields.get("entry", ""))


def check_no_badge(values: Iterable[str]) -> None:
    """Raise BadInput for a badge's code where none is asked for: it comes into no entry and on no page."""
    if any(BADGE_FORM.search(value) for value in values):
        raise BadInput("that is a badge; nothing was entered", cure="it is scanned where one signs in")


def hand_of(request: Request, fields: Mapping[str, str]) -> Hand:
    """Return who acts: the person signed in at the desk, else the desk in its own name.

    ``fields``: of the form; its ``tap`` is the action's own id.
    """
    desk, desks = desk_of(request), desks_of(request)
    person = desks.signed_in(desk, minutes=signed_minutes(request))
    how = desks.signed_how(desk) if person else ""
    return Hand(by=person or desk.name, desk=desk.name, tap=fields.get("tap", ""), signed=how)


def signed_minutes(request: Request) -> int:
    """Return how long a person stays signed in without an action."""
    return cast(int, request.app.state.signed_minutes)


ENTERED_BEFORE: Final = "this was entered before, and is not counted twice"
TEMPLATES: Final = Path(__file__).with_name("templates")
_STATUS: Final = ((Refused, 409), (PlanFault, 409), (BadInput, 400), (LedgerFault, 503))


def show(
    request: Request,
    template: str,
    *,
    status: int = 200,
    refused: MountbookError | None = None,
    **values: object,
) -> HTMLResponse:
    """Return the page: the template with these values, in the frame that every page has.

    ``new_tap()`` in a template makes the id of the action that a form sends. ``refused``: why an action was
    not done; the page says so where it includes ``refused.html``.
    """
    desk = getattr(request.state, "desk", None)
    person = desks_of(request).signed_in(desk) if desk is not None else ""
    html = (
        _templates()
        .get_template(template)
        .render(
            {
                "shop": request.app.state.shop,
                "here": request.url.path,
                "sign_in": sign_in_address(request),
                "navigation": NAVIGATION,
                "desk": desk.name if desk is not None else "",
                "person": person,
                "new_tap": new_tap,
                "static": ADDRESS_OF,
                "act_on": "",
                "cautions": (DEFER_ON_A_PAGE, NO_SETTING),
                "refused": None if refused is None else in_page_words(request, refused),
                "unsigned": isinstance(refused, AnotherSigns),
            }
            | values
        )
    )
    return HTMLResponse(html, status_code=status if refused is None else 409)


@cache
def _templates() -> Environment:
    """Return the templates of the pages; ``ways`` says where on the pages a command's step is done."""
    made = environment(TEMPLATES)
    made.filters["ways"] = way_links
    return made


Fields = Mapping[str, str]
Acts = Mapping[str, Callable[[Desk, Fields], str | Done]]
"""The buttons of a page by their ``do``, each with what it enters and says."""


async def press(
    request: Request,
    fields: Fields,
    acts: Acts,
    shown: Callable[..., Awaitable[Response]],
    *,
    may: Callable[[Fields], Awaitable[None]] | None = None,
) -> Response:
    """Do what the button of a form says, and show the page again with ``said``, or with why it was
    ``refused``; either way with the ``fields`` that were typed. ``may``: refuses it before.
    """
    act = acts.get(fields.get("do", ""))
    if act is None:
        raise BadInput("that is no button of this page", cure="open the page again; nothing was entered")
    try:
        if may is not None:
            await may(fields)
        acted = await served_of(request).act(hand_of(request, fields), lambda desk: act(desk, fields))
    except (Refused, BadInput) as fault:
        return await shown(request, refused=fault, fields=fields)
    return await shown(request, said=acted.came or ENTERED_BEFORE, fields=fields)


async def show_look(
    request: Request, template: str, look: Callable[[Ledger], dict[str, object]]
) -> HTMLResponse:
    """Return the page of the values that ``look`` makes of the ledger. It is drawn once the ledger is free
    for the next desk.
    """
    values = await served_of(request).look(look)
    return show(request, template, **values)  # type: ignore[arg-type]  # ``status`` may be among them


def sign_in_address(request: Request) -> str:
    """Return where one signs in, and comes back from to the page that asks."""
    with_query = request.url.query and not BADGE_FORM.search(request.url.query)
    asked = request.url.path + (f"?{request.url.query}" if with_query else "")
    return f"/sign?then={quote(asked, safe='/')}"


def in_page_words(request: Request, fault: MountbookError) -> MountbookError:
    """Return the error with the words of a page where those of the commands name an option of theirs."""
    if not isinstance(fault, AnotherSigns):
        return fault
    desk = getattr(request.state, "desk", None)
    nobody = desk is not None and desk.name in fault.sentence  # the desk's own name signed
    how = "one of these signs in, then sends it again" if nobody else "one of these signs"
    alone = "sign in, then send it again" if nobody else fault.cure
    return AnotherSigns(
        "nobody is signed in at this desk, and this needs a signature" if nobody else fault.sentence,
        cure=f"{how}: {', '.join(fault.names)}" if fault.names else alone,
        names=fault.names,
    )


def next_steps(request: Request, fault: MountbookError) -> tuple[PageWord, ...]:
    """Return the pages on which a refused action goes on, the best first."""
    path = request.url.path
    if getattr(request.state, "desk", None) is None:
        return (PageWord("Type the code", "/let-in"),)
    if path.startswith("/sign"):
        return PageWord("Sign in", "/sign"), PageWord("Set a PIN", "/pin")
    if path.startswith("/pin"):
        return PageWord("Set a PIN", "/pin"), PageWord("Sign in", "/sign")
    room = next((page for page in NAVIGATION if path.startswith(page.address)), NAVIGATION[0])
    sign = (PageWord("Sign in", sign_in_address(request)),) if isinstance(fault, AnotherSigns) else ()
    return *sign, PageWord(f"Back to {room.word}", room.address)


def show_error(request: Request, fault: MountbookError, *, status: int | None = None) -> HTMLResponse:
    """Return the error as a page: one sentence, its cure, what would go instead, and where it goes on.

    ``status``: where that of the fault's kind is not meant.
    """
    of_kind = next((number for kind, number in _STATUS if isinstance(fault, kind)), 500)
    instead = fault.instead if isinstance(fault, Refused) else ()
    said = in_page_words(request, fault)
    return show(
        request,
        "error.html",
        status=status or of_kind,
        sentence=said.sentence,
        cure=said.cure,
        instead=instead,
        steps=next_steps(request, fault),
    )
