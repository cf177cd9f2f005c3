"""An inventory taken in on a page: the file, one question for all that it settles, what would change.

A file waits in a temporary folder of its own until the pages stop; nothing of it is in the ledger before it
is applied.
"""

import asyncio
import re
import secrets
import shutil
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from tempfile import gettempdir, mkdtemp
from typing import Final, cast

from starlette.datastructures import UploadFile

from fleet.base.days import day_at, stored_day_text
from fleet.base.errors import BadInput
from fleet.ledger.desk import EnteredBefore
from fleet.ledger.ledger import Ledger
from imports.page import COUNTED, count_rows, doubt_lines, ending_lines, head_lines
from imports.proposal import Proposal
from imports.questions import ImportQuestion, checked_answer, id_text
from planner.exchange import intake
from planner.exchange.open_files import Stated, keep_or_forget, one_open_file, open_files
from planner.pages.desks import short_hash
from planner.pages.web import (
    Fields,
    RedirectResponse,
    Request,
    Response,
    Route,
    check_hand,
    hand_of,
    served_of,
    show,
    show_look,
    tap_of_hand,
    today_of,
)

_ENDINGS: Final = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods", ".csv", ".tsv", ".txt")
_ASKED_AT_ONCE: Final = 20
_ASKED: Final = "answer it above, or put it right in the file and bring it again"


@dataclass(slots=True)
class WaitingFile:
    """A file that was brought, the answers given so far, and the questions that its page showed.

    ``given``: question id -> answer; ``asked``: question id -> question.
    """

    paths: tuple[Path, ...]
    name: str
    given: dict[str, str] = field(default_factory=dict)
    stated: Stated = field(default_factory=Stated)
    asked: dict[str, ImportQuestion] = field(default_factory=dict)


def _waiting(request: Request) -> dict[str, WaitingFile]:
    return cast(dict[str, WaitingFile], request.app.state.waiting)


def forget_brought(ledger: Path) -> None:
    """Delete the files that were brought to the pages of a ledger, also those that a killed server left."""
    for folder in Path(gettempdir()).glob(f"{_beginning(ledger)}*"):
        shutil.rmtree(folder, ignore_errors=True)


def _beginning(ledger: Path) -> str:
    """Return how the folders of the files that are brought to the pages of a ledger are called."""
    return f"mountbook-brought-{short_hash(ledger)}-"


def _file(request: Request, token: str) -> WaitingFile:
    found = _waiting(request).get(token)
    if found is None:
        raise BadInput("that file does not wait here any more", cure="bring it again")
    return found


async def _page(request: Request) -> Response:
    served = served_of(request)

    def look(ledger: Ledger) -> dict[str, object]:
        return {
            "doubts": intake.open_doubts(ledger),
            "profile": [
                (id_text(line.question), line.answer, stored_day_text(line.day), line.by)
                for line in intake.profile(ledger)
            ],
            "kept": list(open_files(ledger, served.path)),
            "waiting": _waiting(request),
            "endings": _ENDINGS,
        }

    return await show_look(request, "inventory.html", look)


async def _bring(request: Request) -> Response:
    """Keep the file that was brought, under a name of plain letters."""
    async with request.form(max_files=1, max_fields=4) as form:
        brought = form.get("file")
        if not isinstance(brought, UploadFile) or not brought.filename:
            raise BadInput("no file was chosen", cure="choose a workbook or a csv file")
        said, content = brought.filename, await brought.read()
    name = re.sub(r"[^\w. -]", "_", Path(said.replace("\\", "/")).name)[-80:].lstrip(". ")
    if Path(name).suffix.lower() not in _ENDINGS:
        raise BadInput(f"{name} is no spreadsheet", cure=f"one that ends in {', '.join(_ENDINGS)}")
    ledger, token = served_of(request).path, secrets.token_urlsafe(12)

    def keep() -> Path:
        path = Path(mkdtemp(prefix=_beginning(ledger))) / name
        path.write_bytes(content)
        return path

    _waiting(request)[token] = WaitingFile(paths=(await asyncio.to_thread(keep),), name=name)
    return RedirectResponse(f"/inventory/file?id={token}", status_code=303)


async def _open(request: Request, fields: Fields) -> Response:
    """Take up again the copy of a file of which something stayed open."""
    served, name = served_of(request), fields.get("file", "")
    found = await served.look(lambda ledger: one_open_file(ledger, served.path, name))
    token, answers = secrets.token_urlsafe(12), dict(found.answers)
    _waiting(request)[token] = WaitingFile(paths=found.paths, name=name, given=answers, stated=found.stated)
    return RedirectResponse(f"/inventory/file?id={token}", status_code=303)


async def _looked(request: Request, file: WaitingFile) -> Proposal:
    served = served_of(request)

    def look() -> Proposal:
        with Ledger.open(served.path) as ledger:
            today = day_at(served.now(), ledger.zone)
            return intake.look_at(
                ledger, file.paths, answers=file.given, forgiving=True, today=today, **asdict(file.stated)
            )

    return await asyncio.to_thread(look)


async def _shown(
    request: Request, token: str = "", *, wrong: Mapping[str, BadInput] | None = None
) -> Response:
    token = token or request.query_params.get("id", "")
    file = _file(request, token)
    proposal = await _looked(request, file)
    file.asked |= {each.id: each for each in proposal.questions}
    open_ones = [each for each in proposal.questions if each.id not in file.given]
    lines = doubt_lines(proposal, asked=_ASKED)
    if proposal.outcome == "refuse" or not (
        proposal.questions or proposal.entries
    ):  # no field, no button: why
        lines += ["", *ending_lines(proposal, applied=False, tried=False, files=[file.name])]
    return show(
        request,
        "inventory_file.html",
        status=400 if wrong else 200,
        token=token,
        file=file,
        proposal=proposal,
        questions=open_ones[:_ASKED_AT_ONCE],
        more=max(0, len(open_ones) - _ASKED_AT_ONCE),
        heads=COUNTED,
        counts=(counts := count_rows(proposal)),
        in_question=counts[-1][4],
        given=[
            (identity, file.asked[identity].text if identity in file.asked else id_text(identity), answer)
            for identity, answer in file.given.items()
        ],
        read=head_lines(proposal),
        lines=lines,
        wrong=wrong or {},
    )


async def _answer(request: Request, fields: Fields) -> Response:
    """Take the answers that are answers; a wrong one is said beside its question."""
    file = _file(request, token := fields.get("id", ""))
    if undone := fields.get("undo", ""):
        file.given.pop(undone, None)
        return await _shown(request, token)
    today = await served_of(request).read(lambda connection: today_of(request, connection))
    wrong: dict[str, BadInput] = {}
    for key, identity in fields.items():
        if not key.startswith("question") or identity not in file.asked:
            continue
        said = _said(fields, key.removeprefix("question"), file.asked[identity])
        if not said:
            continue
        try:
            file.given[identity] = checked_answer(identity, said, question=file.asked[identity], today=today)
        except BadInput as fault:
            wrong[identity] = fault
    return await _shown(request, token, wrong=wrong)


def _said(fields: Mapping[str, str], number: str, question: ImportQuestion) -> str:
    """Return what was typed, else the guess that was chosen; "" where the question is left for later."""
    if typed := fields.get(f"typed{number}", "").strip():
        return typed
    guesses = {str(at): guess.answer for at, guess in enumerate(question.guesses)}
    return guesses.get(fields.get(f"guess{number}", ""), "")


async def _apply(request: Request, fields: Fields) -> Response:
    """Take the certain part into the ledger as one action; what is open stays on the worklist."""
    served, hand = served_of(request), hand_of(request, fields)
    if await served.entered(hand):
        return show(request, "inventory_done.html", applied=True, again=True, left_open=0)
    file = _file(request, token := fields.get("id", ""))
    proposal, tap, now = await _looked(request, file), tap_of_hand(hand), served.now()

    def applied() -> intake.Intake:
        with Ledger.open(served.path) as ledger:
            check_hand(ledger.connection, hand, now=now)
            return intake.apply(
                served.path, proposal, ledger=ledger, by=hand.by, now=now, shop="", zone=ledger.zone, tap=tap
            )

    try:
        done = await asyncio.to_thread(applied)
    except EnteredBefore:
        return show(request, "inventory_done.html", applied=True, again=True, left_open=0)
    if done.applied:
        _waiting(request).pop(token)
        await asyncio.to_thread(keep_or_forget, served.path, done, file.paths, file.stated)
    return show(
        request,
        "inventory_done.html",
        applied=done.applied,
        again=False,
        left_open=len(proposal.questions),
    )


ROUTES: Final = (
    Route("/inventory", _page),
    Route("/inventory/bring", _bring, methods=["POST"]),
    Route("/inventory/open", _open, methods=["POST"]),
    Route("/inventory/file", _shown),
    Route("/inventory/answer", _answer, methods=["POST"]),
    Route("/inventory/apply", _apply, methods=["POST"]),
)
