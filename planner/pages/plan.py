"""The plan: made in a process of its own, its sets as a board, why, what else, and its work orders issued.

The solver takes a core for seconds to minutes; so it runs as the command does, beside the pages, and no scan
waits for it. Plans lie in the folder ``plans`` beside the ledger.
"""

import asyncio
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from threading import Thread
from typing import Final, cast
from urllib.parse import urlencode

from fleet.base.days import typed_day
from fleet.base.errors import BadInput, Refused
from fleet.base.units import counted
from fleet.ledger.desk import Desk, EnteredBefore
from fleet.ledger.ledger import Ledger
from planner.pages.web import (
    Fields,
    RedirectResponse,
    Request,
    Response,
    Route,
    at_hand,
    hand_of,
    served_of,
    show,
)
from planner.paper.issued_sheets import issue_drawn
from planner.plan.plan_file import read_plan
from planner.plan.values import PlannedSet

_SORTS: Final[dict[str, Callable[[PlannedSet], object]]] = {
    "pair": lambda each: each.pair,
    "boot": lambda each: each.boot,
    "wish": lambda each: each.wish,
    "way": lambda each: each.way.rung.rank,
    "holes": lambda each: -each.way.drilled,
    "minutes": lambda each: -each.minutes,
}
_LINES: Final = 12


@dataclass(slots=True)
class RunningCommand:
    """A command that runs beside the pages: what it said so far, and how it ended (None: it still runs).

    ``head``: the newest entry of the ledger when it began.
    """

    lines: list[str] = field(default_factory=list)
    ended: int | None = None
    head: int = 0


def _running(request: Request) -> dict[str, RunningCommand]:
    return cast(dict[str, RunningCommand], request.app.state.running)


def _folder(request: Request) -> Path:
    return served_of(request).path.resolve().parent / "plans"


def _plans(request: Request) -> list[str]:
    """Return the names of the plans, the newest first. A name from a request is only looked up among them."""
    folder = _folder(request)
    if not folder.is_dir():
        return []
    found = (path.parent for path in folder.glob("*/plan.json"))
    return [path.name for path in sorted(found, key=lambda path: path.stat().st_mtime, reverse=True)]


def _named(request: Request, name: str) -> Path:
    if name not in _plans(request):
        raise BadInput("there is no such plan", cure="choose one of the list, or make one")
    return _folder(request) / name


async def _page(request: Request) -> Response:
    running = [(name, run) for name, run in _running(request).items() if run.ended is None]
    failed = [
        (name, run.lines[-_LINES:])
        for name, run in _running(request).items()
        if run.ended and not name.startswith("why ")
    ]
    return show(request, "plan.html", plans=_plans(request), running=running, failed=failed, shown=_LINES)


async def _run(request: Request, fields: Fields) -> Response:
    """Begin to make a plan, with the words that `mountbook plan` takes."""
    typed = ["plan"]
    if ready_by := fields.get("ready_by", "").strip():
        typed += ["--ready-by", typed_day(ready_by, "the day").isoformat()]
    if minutes := fields.get("minutes", "").strip():
        if not minutes.isascii() or not minutes.isdigit():
            raise BadInput(f"{minutes!r} is no number of minutes", cure="digits, or nothing for no limit")
        typed += ["--minutes", minutes]
    if fields.get("last_sets"):
        typed.append("--what-sets-cost")
    if any(run.ended is None for run in _running(request).values()):
        raise Refused("a plan is being made already", cure="wait until it is there")
    name = f"{served_of(request).now():plan-%Y%m%d-%H%M%S}"
    folder = _folder(request)
    folder.mkdir(exist_ok=True)
    _start(request, name, [*typed, "--out", str(folder / name)])
    return RedirectResponse("/plan", status_code=303)


def _start(request: Request, name: str, typed: list[str], *, answer_only: bool = False) -> RunningCommand:
    """Run a command beside the pages, in a process of its own; a thread hears what it says.

    ``answer_only``: not what it says of its work, unless it fails.
    """
    run = _running(request)[name] = RunningCommand()
    command = ["-m", "planner.cli.main", "--ledger", str(served_of(request).path), *typed]

    def listen() -> None:
        with subprocess.Popen(
            [sys.executable, *command],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE if answer_only else subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
        ) as process:
            if answer_only:
                answer, work = process.communicate()  # both at once: a full pipe would stop it
                run.lines += (answer + work if process.returncode else answer).splitlines()
            else:
                assert process.stdout is not None
                run.lines += (line.rstrip() for line in process.stdout)
        run.ended = process.returncode

    Thread(target=listen, daemon=True).start()
    return run


async def _board(request: Request) -> Response:
    name = request.query_params.get("plan", "")
    folder = _named(request, name)
    plan = await asyncio.to_thread(read_plan, folder)
    sort = request.query_params.get("sort", "pair")
    text = request.query_params.get("text", "").strip()
    if sort not in _SORTS:
        raise BadInput(f"sets are not sorted by {sort!r}", cure=f"one of: {', '.join(_SORTS)}")
    sets = [each for each in plan.sets if text.casefold() in _words(each).casefold()]
    return show(
        request,
        "board.html",
        name=name,
        plan=plan,
        sets=sorted(sets, key=_SORTS[sort]),  # type: ignore[arg-type]
        sort=sort,
        text=text,
        links={
            each: f"/plan/board?{urlencode({'plan': name, 'sort': each, 'text': text})}" for each in _SORTS
        },
        files=[
            (file, f"/plan/file?{urlencode({'plan': name, 'file': file})}")
            for file in _FILES
            if file != _PICTURE and (folder / file).is_file()
        ],
        picture=f"/plan/file?{urlencode({'plan': name, 'file': _PICTURE})}"
        if (folder / _PICTURE).is_file()
        else "",
    )


def _words(each: PlannedSet) -> str:
    return f"{each.wish} {each.boot} {each.pair} {each.way.rung.value} {each.way.pattern} {each.binding_from}"


async def _why(request: Request) -> Response:
    """Say why a pair got its boot and what the best plan without that is, as `mountbook why PAIR FOLDER`."""
    folder, pair = _named(request, request.query_params.get("plan", "")), request.query_params.get("pair", "")
    plan = await asyncio.to_thread(read_plan, folder)
    if pair not in {each.pair for each in plan.sets}:
        raise BadInput(f"no set of this plan has the pair {pair}", cure="choose one on the board")
    asked, address = f"why {folder.name} {pair}", urlencode({"plan": folder.name, "pair": pair})
    newest = (await served_of(request).look(lambda ledger: ledger.head)).seq
    run = _running(request).get(asked)
    stale = run is not None and run.ended is not None and run.head != newest
    if run is None or (stale and request.query_params.get("again")):
        run = _start(request, asked, ["why", "--", pair, str(folder)], answer_only=True)
        run.head = newest
        return RedirectResponse(f"/plan/why?{address}", status_code=303)
    return show(
        request,
        "plan_why.html",
        pair=pair,
        name=folder.name,
        run=run,
        since=counted(newest - run.head, "entry", "entries") if stale else "",
        again=f"/plan/why?{address}&again=1",
    )


async def _issue(request: Request, fields: Fields) -> Response:
    """Judge the plan against the ledger of now, open its work orders and print them, as one action."""
    folder = _named(request, fields.get("name", ""))
    plan = await asyncio.to_thread(read_plan, folder)
    hand, served = hand_of(request, fields), served_of(request)

    @contextmanager
    def at_desk(*, now: datetime | None = None, copy: bool = False) -> Iterator[Desk]:
        with (
            Ledger.open(served.path) as opened,
            opened.copied() if copy else nullcontext(opened) as ledger,
            at_hand(ledger, hand, now=now or served.now()) as desk,
        ):
            yield desk

    def issued() -> list[str]:
        made, files, held_back, not_printed = issue_drawn(plan, folder, at_desk, paper="A4")
        written = files.publish()
        return [
            f"{len(made.orders) - len(made.stand)} work orders issued, {len(made.stand)} stand as they were,"
            f" {made.as_they_are} sets go out without work",
            *(f"COLLECT this sheet, it is void: {order.name}" for order in made.collect),
            *(f"NOT ISSUED {fault.name}: {fault.error}" for fault in held_back),
            *(f"NOT PRINTED {fault.name}: {fault.error}" for fault in not_printed),
            *(f"printed: {path.name}" for path in written),
        ]

    try:
        lines = await asyncio.to_thread(issued)
    except EnteredBefore:
        return show(request, "issued.html", name=folder.name, lines=(), again=True)
    return show(request, "issued.html", name=folder.name, lines=lines, again=False)


_PICTURE: Final = "last_sets.svg"
_FILES: Final = {
    "work_orders_issued.pdf": "application/pdf",
    "work_orders.pdf": "application/pdf",
    "season_prep.pdf": "application/pdf",
    "last_sets.pdf": "application/pdf",
    _PICTURE: "image/svg+xml",
    "plan.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


async def _file(request: Request) -> Response:
    """Hand out a file that the plan's folder holds, by its own name only."""
    folder = _named(request, request.query_params.get("plan", ""))
    file = request.query_params.get("file", "")
    if file not in _FILES or not (folder / file).is_file():
        raise BadInput("the plan has no such file", cure="choose one of its page")
    content = await asyncio.to_thread((folder / file).read_bytes)
    said = {"content-disposition": f'attachment; filename="{folder.name}-{file}"'}
    return Response(content, media_type=_FILES[file], headers=said)


ROUTES: Final = (
    Route("/plan", _page),
    Route("/plan/run", _run, methods=["POST"]),
    Route("/plan/board", _board),
    Route("/plan/why", _why),
    Route("/plan/issue", _issue, methods=["POST"]),
    Route("/plan/file", _file),
)
