"""One request: the desk it comes from, the fields of its form, and the hand that acts by it."""

import sqlite3
from collections.abc import Iterable, Mapping
from datetime import date
from ipaddress import ip_address
from typing import Final, cast

from starlette.requests import Request
from starlette.responses import Response

from fleet.base.days import day_at
from fleet.base.errors import BadInput
from fleet.facts.staff import Staff, listed
from fleet.tables.snapshot import read_staff
from planner.pages.desks import DeskKept, Desks
from planner.pages.pins import BADGE_FORM, Pins
from planner.pages.served import Hand, ServedLedger

COOKIE: Final = "mountbook_desk"
_YEAR: Final = 31_536_000


def served_of(request: Request) -> ServedLedger:
    """Return the ledger behind the pages."""
    return cast(ServedLedger, request.app.state.served)


def zone_of(connection: sqlite3.Connection) -> str:
    """Return the shop's time zone."""
    return str(connection.execute("SELECT zone FROM shop").fetchone()[0])


def today_of(request: Request, connection: sqlite3.Connection) -> date:
    """Return the day that it is in the shop."""
    return day_at(served_of(request).now(), zone_of(connection))


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
    number = fields.get("entry", "")
    if not (number.isascii() and number.isdigit()):
        raise BadInput(f"that is no {what} of this page", cure="open the page again; nothing was entered")
    return int(number)


def check_no_badge(values: Iterable[str]) -> None:
    """Raise BadInput for a badge's code where none is asked for: it comes into no entry and on no page."""
    if any(BADGE_FORM.search(value) for value in values):
        raise BadInput("that is a badge; nothing was entered", cure="it is scanned where one signs in")


def hand_of(request: Request, fields: dict[str, str]) -> Hand:
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
