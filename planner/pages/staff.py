"""The staff list: who may sign until when, who is qualified for what, who has a PIN or a badge.

And the release testers: until when the calibration of each counts, and a new one.
"""

import sqlite3
from datetime import date, timedelta
from functools import partial
from typing import Final

from fleet.base.days import day_text, typed_day
from fleet.base.entries import name_key
from fleet.base.errors import MountbookError, Refused
from fleet.base.typed_text import said as as_said
from fleet.facts.gates import QUALIFICATIONS
from fleet.facts.staff import Role, Staff, listed, may_list_in_need
from fleet.ledger.desk import Desk
from fleet.ledger.people import list_person
from fleet.rules.gate_desk import calibrated, qualify
from fleet.rules.gates import Qualification, qualifications
from fleet.tables.snapshot import read_staff
from planner.bench.today import last_day_words
from planner.pages.sign import checked_pin
from planner.pages.web import (
    Acts,
    Fields,
    Request,
    Response,
    Route,
    pins_of,
    press,
    served_of,
    show,
    today_of,
)


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


async def _do(request: Request) -> Response:
    async def second_signs(fields: Fields) -> None:
        if second := fields.get("second"):
            await checked_pin(request, second, fields.get("second_pin", ""))

    return await press(request, _ACTS, _shown, may=second_signs)


async def _shown(
    request: Request, *, said: str = "", refused: MountbookError | None = None, fields: Fields | None = None
) -> Response:
    def look(connection: sqlite3.Connection) -> tuple[date, dict[str, Staff], tuple[Qualification, ...]]:
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
)
