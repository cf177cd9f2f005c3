"""The release testers: until when the calibration of each counts, and a new one."""

from __future__ import annotations

import sqlite3
from datetime import date
from functools import partial
from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from fleet.base.days import day_text, typed_day
from fleet.base.errors import MountbookError
from fleet.base.typed_text import said as as_said
from fleet.ledger.desk import Desk
from fleet.rules.gate_desk import calibrated
from planner.bench.day.today import last_day_words
from planner.pages.asked import served_of, today_of
from planner.pages.shown import Acts, Fields, press, show


def _calibrated(desk: Desk, fields: Fields) -> str:
    device = fields.get("device", "").strip()
    on = typed_day(fields.get("on", ""), "the day of the calibration")
    until = typed_day(fields.get("until", ""), "the last day")
    calibrated(desk, device, on=on, until=until, certificate=fields.get("certificate", ""))
    return f"{device}: calibrated {day_text(on)}, counts until {day_text(until)}"


_ACTS: Final[Acts] = {"calibrated": _calibrated}
"""The button of the page, with the function of the command that does the same."""


async def _shown(
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
    Route("/bench/testers", _shown),
    Route("/bench/testers/do", partial(press, acts=_ACTS, shown=_shown), methods=["POST"]),
)
