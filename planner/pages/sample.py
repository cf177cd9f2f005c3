"""The in-season sample: drawn, what was found on each unit with a device, closed."""

from __future__ import annotations

import secrets
import sqlite3
from datetime import date
from functools import partial
from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from fleet.base.days import day_text, typed_day
from fleet.base.errors import MountbookError
from fleet.ledger.desk import Desk
from fleet.rules.sampling.record import (
    Sample,
    close_sample,
    draw_sample,
    newest_sample,
    not_operating,
    record_result,
    schedule,
)
from fleet.rules.sampling.rule import DeviationClass, NextSample, class_typed
from planner.pages.asked import served_of, today_of
from planner.pages.shown import Acts, Fields, press, show

_CLASSES: Final = {
    DeviationClass.NONE: "in order",
    DeviationClass.ONE: "class I: it is counted",
    DeviationClass.TWO: "class II: the pair is held at once",
    DeviationClass.THREE: "class III: the pair is locked away at once",
}


def _drawn(desk: Desk, _: Fields) -> str:
    return next(draw_sample(desk, seed=secrets.token_hex(8)).said())


def _result(desk: Desk, fields: Fields) -> str:
    unit, found = fields.get("unit", ""), class_typed(fields.get("found", ""))
    sample = record_result(
        desk, unit, found, device=fields.get("device", ""), remark=fields.get("remark", "")
    )
    return f"{[*sample.results][-1]}: {found}; {sample.to_go}"


def _closed(desk: Desk, _: Fields) -> str:
    sample = close_sample(desk)
    return f"sample {sample.entry}: {sample.closed}; the next: {schedule(desk.connection).words}"


def _not_counted(desk: Desk, fields: Fields) -> str:
    day = typed_day(fields.get("closed_day", ""), "the day")
    not_operating(desk, day, why=fields.get("why", "").strip() or "closed")
    return f"{day_text(day)} does not count as an operating day"


_ACTS: Final[Acts] = {
    "draw": _drawn,
    "result": _result,
    "close": _closed,
    "not-counted": _not_counted,
}
"""The buttons of the page, each with the function of the command that does the same."""


async def _page(request: Request) -> Response:
    return await _shown(request, fields={"unit": request.query_params.get("unit", "")})


async def _shown(
    request: Request, *, fields: Fields, said: str = "", refused: MountbookError | None = None
) -> Response:
    def look(connection: sqlite3.Connection) -> tuple[Sample | None, NextSample, date]:
        return newest_sample(connection), schedule(connection), today_of(request, connection)

    sample, due, today = await served_of(request).read(look)
    return show(
        request,
        "sample.html",
        refused=refused,
        sample=sample,
        due=due,
        today=today,
        acts_at="/evening/sample/do",
        said=said,
        classes=_CLASSES,
        typed={"device": fields.get("device", "")} if said else fields,
    )


ROUTES: Final = (
    Route("/evening/sample", _page),
    Route("/evening/sample/do", partial(press, acts=_ACTS, shown=_shown), methods=["POST"]),
)
