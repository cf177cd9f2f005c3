"""Signing in at a desk with a PIN, setting a PIN beside a manager, and the staff list.

The list says who may sign until when, who is qualified for what, who has a PIN or a badge. With the release
testers (until when the calibration of each counts, and a new one), and the page of the desk itself: it is let
in, has a name, and sees the others, which it may throw out.
"""

import asyncio
import sqlite3
from collections.abc import Mapping
from datetime import date, timedelta
from functools import partial
from typing import Final
from urllib.parse import urlencode

from markupsafe import Markup

from fleet.base.days import day_text, time_text, typed_day
from fleet.base.entries import name_key
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.base.typed_text import said as as_said
from fleet.events.settings import QualificationStated
from fleet.facts.gates import QUALIFICATIONS
from fleet.facts.staff import HEADS, Role, Staff, listed, may_list_in_need
from fleet.ledger.desk import Desk, decider, deciders
from fleet.ledger.people import list_person
from fleet.rules.gate_desk import calibrated, qualify
from fleet.rules.gates import qualifications
from fleet.tables.connection import read_shop
from fleet.tables.snapshot import read_policy, read_staff
from planner.bench.today import last_day_words
from planner.pages.desks import BADGE_AND_PIN, BY_BADGE, BY_PIN
from planner.pages.table import NAVIGATION
from planner.pages.web import (
    Acts,
    Fields,
    RedirectResponse,
    Request,
    Response,
    Route,
    desk_of,
    desks_of,
    is_here,
    listed_one,
    pins_of,
    press,
    served_of,
    set_key,
    show,
    today_of,
)

_HERE: Final = ("/sign", "/pin", "/let-in")
"""Pages that lead nowhere after signing in."""


def _next(request: Request, text: str) -> str:
    """Return the page to go on to: one of ours, never an address that somebody wrote.

    A page that only takes a form cannot be opened again: its room is.
    """
    pages = (each for each in request.app.routes if isinstance(each, Route) and each.path not in _HERE)
    looks = {each.path for each in pages if "GET" in (each.methods or ())}
    path = text.partition("?")[0]
    if path in looks and text.isascii() and text.isprintable():
        return text
    room = next((page for page in NAVIGATION if path.startswith(f"{page.address}/")), NAVIGATION[0])
    return room.address


async def _page(request: Request) -> Response:
    def people(connection: sqlite3.Connection) -> list[tuple[str, str]]:
        today, staff = today_of(request, connection), read_staff(connection)
        in_need = may_list_in_need(staff, days=(today,)) or ()
        return [(each.name, each.role) for each in staff.values() if each.may_sign(today) or each in in_need]

    found = await served_of(request).read(people)
    return show(
        request,
        "sign.html",
        people=[(name, role, pins_of(request).has(name)) for name, role in found],
        first=await _first(request),
        then=_next(request, request.query_params.get("then", "")),
        badge_of=desks_of(request).badge_shown(desk_of(request)),
        badges=any(pins_of(request).has_badge(name) for name, _ in found),
    )


async def _sign_in(request: Request, fields: Fields) -> Response:
    name, minutes = await checked_pin(request, fields.get("name", ""), fields.get("pin", ""))
    with_badge = desks_of(request).badge_shown(desk_of(request)) == name
    return _signed(request, fields, name, minutes, BADGE_AND_PIN if with_badge else BY_PIN)


def _signed(request: Request, fields: Fields, name: str, minutes: int, how: str) -> Response:
    request.app.state.signed_minutes = minutes
    desks_of(request).sign_in(desk_of(request), name, minutes=minutes, how=how)
    return RedirectResponse(_next(request, fields.get("then", "")), status_code=303)


async def _badge(request: Request, fields: Fields) -> Response:
    """Sign in by a badge that was scanned, or ask for the PIN after it, by the shop's rule."""
    rules = await served_of(request).read(read_policy)
    name = await asyncio.to_thread(
        pins_of(request).person_of_badge,
        fields.get("badge", ""),
        desk_of(request),
        tries=rules.count("pin_tries"),
        wait_minutes=rules.count("pin_wait_minutes"),
    )
    if await listed_one(request, name) is None:
        raise Refused(f"{name} is not on the staff list any more", cure="sign in by name and PIN")
    if rules.setting("badge_alone").value == "yes":
        return _signed(request, fields, name, rules.count("desk_signed_minutes"), BY_BADGE)
    desks_of(request).show_badge(desk_of(request), name)
    return RedirectResponse(f"/sign?{urlencode({'then': fields.get('then', '')})}", status_code=303)


async def _make_badge(request: Request, fields: Fields) -> Response:
    """Make a person's badge, or void it, beside a manager who types a PIN; its code is shown once."""
    by = fields.get("by", "")
    person = await _beside(request, fields.get("name", ""), by, what="make a badge")
    await checked_pin(request, by, fields.get("pin_by", ""))
    pins = pins_of(request)
    if fields.get("do") == "void":
        pins.void_badge(person)
        return await _pin_form(request, voided=person)
    code = await asyncio.to_thread(pins.make_badge, person, by=by)
    return await _pin_form(request, badge_of=person, code=code)


async def _sign_out(request: Request, _: Fields) -> Response:
    desks_of(request).sign_out(desk_of(request))
    return RedirectResponse("/sign", status_code=303)


async def checked_pin(request: Request, typed: str, pin: str) -> tuple[str, int]:
    """Return the listed person whose PIN that is, and the minutes of the signature. Raises Refused."""

    def asked(connection: sqlite3.Connection) -> tuple[str, int, int, int]:
        person, policy = _chosen(read_staff(connection), typed), read_policy(connection)
        tries, wait = policy.count("pin_tries"), policy.count("pin_wait_minutes")
        return person.name, tries, wait, policy.count("desk_signed_minutes")

    name, tries, wait, minutes = await served_of(request).read(asked)
    pins, desk = pins_of(request), desk_of(request)
    await asyncio.to_thread(pins.check, name, pin, desk, tries=tries, wait_minutes=wait)
    return name, minutes


async def _beside(request: Request, name: str, by: str, *, what: str) -> str:
    """Return the listed person of that name, if the one who stands beside decides today. Raises Refused."""

    def deciding(connection: sqlite3.Connection) -> str:
        staff = read_staff(connection)
        person = _chosen(staff, name)
        decider(staff, by, days=(today_of(request, connection),), what=what)
        return person.name

    return await served_of(request).read(deciding)


def _chosen(staff: Mapping[str, Staff], name: str) -> Staff:
    person = listed(staff, name)
    if person is None:
        raise Refused("that is nobody of the staff list", cure="choose a name of the list")
    return person


async def _pin_form(
    request: Request, *, set_for: str = "", badge_of: str = "", code: str = "", voided: str = ""
) -> Response:
    def names(connection: sqlite3.Connection) -> tuple[list[str], list[str]]:
        staff = read_staff(connection)
        return list(staff), deciders(staff, days=(today_of(request, connection),))

    people, able = await served_of(request).read(names)
    first = await _first(request)
    return show(
        request,
        "pin.html",
        people=people,
        deciders=able,
        first=first,
        set_for=set_for,
        badge_of=badge_of,
        code=code,
        drawn=_drawn(code),
        voided=voided,
        badges=[name for name in people if pins_of(request).has_badge(name)],
    )


def _drawn(code: str) -> Markup:
    """Return the code as a picture for the scanner."""
    if not code:
        return Markup()
    import segno

    return Markup(
        segno.make(code, micro=False).svg_inline(scale=5, svgclass="code", lineclass=None, omitsize=True)
    )


async def _set_pin(request: Request, fields: Fields) -> Response:
    """Keep a PIN that a manager stands beside: with the manager's own, or the very first at the machine."""
    name = fields.get("name", "")
    by = fields.get("by", name)  # the first PIN is that of the person who decides
    person = await _beside(request, name, by, what="set a PIN")
    if await _first(request):
        if not is_here(request):
            raise Refused("the first PIN is set at the shop's own machine", cure="open the pages there")
        if name_key(by) != name_key(person):
            raise Refused("the first PIN is that of the person who decides", cure="set your own PIN first")
    else:
        await checked_pin(request, by, fields.get("pin_by", ""))
    if not fields.get("pin"):
        raise BadInput("no PIN was typed", cure="six digits or more")
    pins = pins_of(request)
    await asyncio.to_thread(pins.set_pin, person, fields["pin"], fields.get("again", ""), by=by)
    return await _pin_form(request, set_for=person)


async def _first(request: Request) -> bool:
    """Return whether nobody who decides has a PIN yet."""

    def names(connection: sqlite3.Connection) -> list[str]:
        return [each.name for each in read_staff(connection).values() if each.role in HEADS]

    return not any(pins_of(request).has(name) for name in await served_of(request).read(names))


async def _desk_page(request: Request) -> Response:
    zone = (await served_of(request).read(read_shop)).zone
    desks = [(each.name, time_text(each.since, zone)) for each in desks_of(request).all()]
    return show(request, "desk.html", desks=desks, may_throw_out=await _may_throw_out(request))


async def _rename(request: Request, fields: Fields) -> Response:
    name = fields.get("name", "")
    if await listed_one(request, name) is not None:
        raise Refused(f"{name} is a person of the staff list", cure="a desk has a name of its own")
    desks_of(request).rename(desk_of(request), name)
    return RedirectResponse("/desk", status_code=303)


async def _throw_out(request: Request, fields: Fields) -> Response:
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


async def _let_in(request: Request, fields: Fields) -> Response:
    _, key = desks_of(request).let_in_by_code(fields.get("code", ""))
    answer = RedirectResponse("/desk", status_code=303)
    set_key(request, answer, key)
    return answer


def _day(fields: Fields) -> date:
    return typed_day(fields.get("until", ""), "the last day")


def _list(desk: Desk, fields: Fields) -> str:
    person = list_person(
        desk,
        fields.get("name", ""),
        role=fields.get("role", ""),
        until=_day(fields),
        second=fields.get("second", ""),
    )
    return f"{person.name}: {person.role.value} until {day_text(person.valid_until)}"


def _end(desk: Desk, fields: Fields) -> str:
    """List the person again with the same role, and another last day: nothing else ends a right."""
    name, until = fields.get("name", ""), _day(fields)
    person = listed(read_staff(desk.connection), name)
    if person is None:
        raise Refused(f"{name!r} is not on the staff list", cure="choose a name of the list")
    if until > person.valid_until:
        raise Refused(
            f"the right of {person.name} ends on {day_text(person.valid_until)}, before that day",
            cure="to give it for longer, list the person again",
        )
    list_person(desk, person.name, role=person.role.value, until=until)
    return f"{person.name} signs until {day_text(until)}, and not after it"


def _qualify(desk: Desk, fields: Fields) -> str:
    said = qualify(desk, fields.get("name", ""), what=fields.get("what", ""), until=_day(fields))
    return f"{said.name}: qualified for {said.what} until {day_text(said.until)}"


_ACTS: Final[Acts] = {"list": _list, "end": _end, "qualify": _qualify}
"""The buttons of the page, each with the function of the command that does the same."""


async def _do(request: Request, fields: Fields) -> Response:
    async def second_signs(fields: Fields) -> None:
        if second := fields.get("second"):
            await checked_pin(request, second, fields.get("second_pin", ""))

    return await press(request, fields, _ACTS, _shown, may=second_signs)


async def _shown(
    request: Request, *, said: str = "", refused: MountbookError | None = None, fields: Fields | None = None
) -> Response:
    def look(
        connection: sqlite3.Connection,
    ) -> tuple[date, dict[str, Staff], tuple[QualificationStated, ...]]:
        return today_of(request, connection), read_staff(connection), qualifications(connection)

    today, staff, qualified = await served_of(request).read(look)
    pins = pins_of(request)
    in_need = may_list_in_need(staff, days=(today,)) or ()
    people = [
        {
            "name": each.name,
            "role": each.role.value,
            "until": last_day_words(each.valid_until, today),
            "ended": not each.may_sign(today),
            "signs": " and a ".join(
                word for word, has in (("PIN", pins.has), ("badge", pins.has_badge)) if has(each.name)
            ),
            "qualified": [
                f"{said.what}, {last_day_words(said.until, today)}"
                for said in qualified
                if name_key(said.name) == name_key(each.name)
            ],
        }
        for each in staff.values()
    ]
    return show(
        request,
        "staff.html",
        refused=refused,
        said=said,
        people=people,
        acts_at="/staff/do",
        in_need=[each.name for each in in_need] if len(in_need) > 1 else (),
        roles=tuple(Role),
        matters=QUALIFICATIONS,
        yesterday=today - timedelta(days=1),
        typed={} if said else fields or {},
    )


def _calibrated(desk: Desk, fields: Fields) -> str:
    device = fields.get("device", "").strip()
    on = typed_day(fields.get("on", ""), "the day of the calibration")
    until = typed_day(fields.get("until", ""), "the last day")
    calibrated(desk, device, on=on, until=until, certificate=fields.get("certificate", ""))
    return f"{device}: calibrated {day_text(on)}, counts until {day_text(until)}"


_TESTER_ACTS: Final[Acts] = {"calibrated": _calibrated}
"""The button of the page, with the function of the command that does the same."""


async def _testers_shown(
    request: Request, *, said: str = "", refused: MountbookError | None = None, fields: Fields | None = None
) -> Response:
    def look(connection: sqlite3.Connection) -> list[dict[str, object]]:
        today = today_of(request, connection)
        rows = connection.execute(
            "SELECT device, calibrated_on, max(until), certificate FROM tester GROUP BY device ORDER BY 1"
        )
        return [
            {
                "device": device,
                "on": day_text(date.fromisoformat(on)),
                "until": last_day_words(date.fromisoformat(until), today),
                "certificate": certificate,
                "ended": date.fromisoformat(until) < today,
            }
            for device, on, until, certificate in (as_said(connection, list(row)) for row in rows)
        ]

    return show(
        request,
        "testers.html",
        acts_at="/bench/testers/do",
        refused=refused,
        said=said,
        testers=await served_of(request).read(look),
        typed={} if said else fields or {},
    )


ROUTES: Final = (
    Route("/staff", _shown),
    Route("/staff/do", _do, methods=["POST"]),
    Route("/bench/testers", _testers_shown),
    Route("/bench/testers/do", partial(press, acts=_TESTER_ACTS, shown=_testers_shown), methods=["POST"]),
    Route("/sign", _page),
    Route("/sign/in", _sign_in, methods=["POST"]),
    Route("/sign/badge", _badge, methods=["POST"]),
    Route("/sign/out", _sign_out, methods=["POST"]),
    Route("/pin", _pin_form),
    Route("/pin/set", _set_pin, methods=["POST"]),
    Route("/pin/badge", _make_badge, methods=["POST"]),
    Route(LET_IN, _ask_code),
    Route(LET_IN, _let_in, methods=["POST"]),
    Route("/desk", _desk_page),
    Route("/desk/rename", _rename, methods=["POST"]),
    Route("/desk/throw-out", _throw_out, methods=["POST"]),
)
