"""Applying an import: the one place where a proposal becomes entries, all in one transaction."""

import hashlib
import json
import os
import shlex
import sqlite3
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from fleet.base.days import day_at, shop_day, stored_day_text
from fleet.base.entries import Body
from fleet.base.errors import BadInput, Refused, did_you_mean, nearest
from fleet.base.kept_names import NamesSaid
from fleet.base.typed_text import said
from fleet.base.uncollected import nothing_collected
from fleet.events.boots import BootChanged
from fleet.events.event import Event, Tap
from fleet.events.mounts import BindingChanged
from fleet.events.pairs import HoleChanged, PairChanged
from fleet.events.settings import (
    FitDeclared,
    ImportAnswered,
    ImportAnswerTakenBack,
    ImportDoubt,
    ImportDoubtsKept,
    PatternRecorded,
    PolicySet,
    StaffListed,
)
from fleet.events.stops import PairCarriedOver
from fleet.facts.columns import facts_in
from fleet.facts.kinds import shop_kinds
from fleet.facts.policy import default_policy
from fleet.facts.staff import Staff
from fleet.facts.standing import Place
from fleet.ledger.desk import head
from fleet.ledger.history import fleet_at
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import check_listing
from fleet.ledger.transaction import Transaction
from fleet.tables.snapshot import Fleet, read_fleet, read_staff
from imports.answers import Answers, GivenAnswer, is_of_rows, of_one_value, parts_of, remembered
from imports.directions import answers_for, direction_ids
from imports.findings import Finding, Severity
from imports.headers import FIELDS
from imports.proposal import Proposal, parse_leave_out, propose
from imports.questions import checked_answers, refused_answer
from imports.reading import Reading, read_files


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """An import tried or applied. ``opened`` is the zone of a ledger that this import began.

    ``first_list``: whether it listed the first people, which nobody had to sign.
    """

    proposal: Proposal
    applied: bool
    opened: str | None = None
    first_list: bool = False


@dataclass(frozen=True, slots=True)
class Copies:
    """The folder where a ledger's copies go, and who said so."""

    folder: str
    origin: str


@nothing_collected()
def look_at(
    ledger: Ledger | None,
    paths: Sequence[Path],
    *,
    leave_out: Sequence[str] = (),
    columns: Sequence[str] = (),
    all_rows: Sequence[str] = (),
    directions: Sequence[str] = (),
    answers: Mapping[str, str] | None = None,
    forgiving: bool = False,
    sha256: str | None = None,
    as_new: str = "",
    today: date,
) -> Proposal:
    """A dry run: read the files and compare them with the ledger, if there is one. Writes nothing.

    ``columns`` add to the mappings that earlier imports of this ledger were applied with. ``answers``:
    question id -> answer; one that is no answer, or whose id is a slip, is a finding, and the others count;
    BadInput where the files ask none of their questions (``forgiving``: passed over without a word). What
    the shop's ledger remembers stands below them, and for none that was answered now.
    ``directions``: how columns count, like ``x=from the tail``; BadInput where no column is called so.
    ``sha256``: the beginning of the hash the files must have; Refused otherwise. ``as_new``: the tag of a
    pair or boots that are read as if the ledger did not know them, nor what is on pairs that are not here.
    """
    fleet = read_fleet(ledger.connection) if ledger else None
    if fleet and as_new:
        pairs = {tag: pair for tag, pair in fleet.pairs.items() if tag != as_new}
        boots = {tag: boot for tag, boot in fleet.boots.items() if tag != as_new}
        away = {tag for tag, pair in fleet.pairs.items() if pair.place in (Place.IN_TRANSIT, Place.RETIRED)}
        bindings = {name: b for name, b in fleet.bindings.items() if b.on_pair not in away}
        fleet = replace(fleet, pairs=pairs, boots=boots, bindings=bindings)
    stated = parse_columns(columns)
    kinds = tuple(shop_kinds(fleet.policy)) if fleet else ()
    said = [(identity, text, dict[str, Any]()) for identity, text in (answers or {}).items()]
    given, refused = checked_answers(said, today=today, kinds=kinds)
    remembered = {
        identity: answer
        for identity, answer in profile_answers(ledger).items()
        if identity not in (answers or {})
    }
    stated_ways = [parse_direction(text) for text in directions]
    ways = {identity: GivenAnswer(way) for _, found in stated_ways for identity, way in found.items()}
    for_all = parse_all_rows(all_rows)
    reading = read_files(
        paths,
        today=today,
        policy=fleet.policy if fleet else None,
        columns=remembered_columns(ledger) | stated,
        for_all=for_all,
        answers=Answers(given | ways).over(Answers(remembered)),
        fleet=fleet,
    )
    if sha256 and not reading.sha256.startswith(sha256.lower()):
        raise Refused(
            f"{reading.name} is not the file that was looked at (sha256 {reading.sha256[:12]})",
            cure="look at it again without --apply",
        )
    _refuse_unused(reading, for_all)
    base, exported = _base(ledger, fleet, reading)
    proposal = propose(
        reading, fleet, base=base, exported=exported, leave_out=parse_leave_out(leave_out), columns=stated
    )
    proposal = replace(proposal, findings=(*refused, *proposal.findings))
    used = {finding.question for finding in proposal.findings}
    for header, found in stated_ways:
        if not used & found.keys():
            raise BadInput(
                f"no column of {reading.name} that counts in a direction is called {header!r}",
                cure='write the header as it stands, like --direction "x=from the tail"',
            )
    return proposal if forgiving else _with_moot_answers(proposal, given)


def _refuse_unused(reading: Reading, for_all: Mapping[str, Mapping[str, str]]) -> None:
    """BadInput for a value said for all rows of a sheet of which no table takes it."""
    used = {
        (finding.sheet.casefold(), finding.key)
        for finding in reading.findings
        if finding.code == "value_from_sheet_name" and finding.sheet
    }
    for sheet, stated in for_all.items():
        for key in stated:
            if (sheet, key) not in used:
                raise BadInput(
                    f"no table of a sheet {sheet!r} takes {key} for all of its rows",
                    cure="see its sheets and columns without that option: a column that is there counts",
                )


def _asked_about(proposal: Proposal) -> set[str]:
    """Return the questions that anything found in the files belongs to."""
    return {
        finding.question
        for findings in (proposal.findings, *(row.findings for row in proposal.rows))
        for finding in findings
    }


def _with_moot_answers(proposal: Proposal, given: Mapping[str, GivenAnswer]) -> Proposal:
    """The proposal with a note for each answer that nothing asks for: another answer may have settled it.

    One that looks like a slip in an id that is asked for is refused; BadInput where no answer fits at all.
    """
    asked = [question.id for question in proposal.questions if question.id not in given]
    used = _asked_about(proposal)
    moot = [identity for identity in given if identity not in used]
    notes = []
    for identity in moot:
        near = nearest(identity, asked, likeness=0.9)
        slip = BadInput(
            f"nothing in {proposal.reading.name} asks {identity}",
            cure=f"did you mean {near}?" if near else "see --ask for what is open",
        )
        if len(moot) == len(given):
            raise slip
        if near:
            notes.append(refused_answer(given[identity].text, slip))
            continue
        notes.append(
            Finding(
                severity=Severity.NOTE,
                code="answer_not_needed",
                message=f"nothing asks {identity} any more: its answer was passed over",
                fix="nothing, if another answer settled it",
            )
        )
    return replace(proposal, findings=(*proposal.findings, *notes))


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileLine:
    """One answer that the shop's ledger remembers."""

    key: str
    question: str
    answer: str
    day: str
    by: str


def profile(ledger: Ledger | None) -> tuple[ProfileLine, ...]:
    """The answers of the shop in earlier imports, in the order of the questions."""
    if ledger is None:
        return ()
    rows = ledger.connection.execute(
        "SELECT key, question, answer, recorded_at_utc, by FROM import_answer JOIN entries ON seq = entry"
    ).fetchall()
    names = NamesSaid(ledger.connection)
    lines = [
        ProfileLine(
            key=row[0],
            question=said(ledger.connection, row[1]),
            answer=said(ledger.connection, row[2]),
            day=shop_day(row[3], ledger.zone).isoformat(),
            by=names.of(row[4]),
        )
        for row in rows
    ]
    return tuple(sorted(lines, key=lambda line: line.question))


def profile_answers(ledger: Ledger | None) -> dict[str, GivenAnswer]:
    """The same by question id, as the reader takes them; a blanked one is forgotten."""
    return {
        line.question: GivenAnswer(line.answer, f"on {stored_day_text(line.day)} by {line.by}")
        for line in profile(ledger)
        if parts_of(line.question) is not None
    }


def answer_key(identity: str) -> str:
    """The key under which the ledger finds a question."""
    return hashlib.sha256(identity.encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenDoubt:
    """One question that stayed open when the certain part of a file was taken in."""

    file: str
    question: str
    asked: str
    sheet: str
    rows: tuple[int, ...]
    day: str

    def to_json(self) -> dict[str, Any]:
        """As other programs read it."""
        return {
            "file": self.file,
            "id": self.question,
            "text": self.asked,
            "sheet": self.sheet,
            "rows": list(self.rows),
            "since": self.day,
        }


def open_doubts(ledger: Ledger) -> tuple[OpenDoubt, ...]:
    """The worklist: what stays open of files of which the certain part is in the ledger."""
    rows = ledger.connection.execute(
        "SELECT file, question, asked, sheet, rows, recorded_at_utc FROM import_doubt"
        " JOIN entries ON seq = entry ORDER BY file, number"
    ).fetchall()
    return tuple(
        OpenDoubt(
            file=row[0],
            question=said(ledger.connection, row[1]),
            asked=said(ledger.connection, row[2]),
            sheet=row[3],
            rows=tuple(int(number) for number in row[4].split(",") if number),
            day=shop_day(row[5], ledger.zone).isoformat(),
        )
        for row in rows
    )


def _kept(proposal: Proposal, ledger: Ledger | None) -> list[Event]:
    """The entries about the import itself: new answers that hold for the next file, and what stays open."""
    known = {identity: answer.text for identity, answer in profile_answers(ledger).items()}
    of_values = _of_values(proposal)
    used = _asked_about(proposal) | of_values.keys()
    entries: list[Event] = [
        ImportAnswered(key=answer_key(identity), question=identity, answer=answer.text)
        for identity, answer in (*proposal.reading.answers.by_id.items(), *of_values.items())
        if remembered(identity) and identity in used and known.get(identity) != answer.text
    ]
    doubts = tuple(
        ImportDoubt(
            question=question.id,
            asked=question.text,
            sheet=question.places[0][0],
            rows=tuple(sorted({row for _, row, _ in question.places if row is not None})),
        )
        for question in proposal.questions
    )
    before = [d for d in open_doubts(ledger) if d.file == proposal.reading.name] if ledger else []
    if [(d.question, d.rows) for d in doubts] != [(d.question, d.rows) for d in before]:
        entries.append(ImportDoubtsKept(file=proposal.reading.name, doubts=doubts))
    return entries


def _of_values(proposal: Proposal) -> dict[str, GivenAnswer]:
    """Return what was answered now about several rows, as answers about each thing: another one is asked."""
    given, found = proposal.reading.answers.by_id, {}
    of_rows = (finding for row in proposal.rows for finding in row.findings)
    for finding in (*of_rows, *proposal.findings):
        answer = given.get(finding.question)
        if answer is None or answer.since or finding.code != "answered":
            continue
        if finding.tag and is_of_rows(finding.question):
            found[of_one_value(finding.question, finding.tag, finding.raw or "")] = answer
    return found


def _base(ledger: Ledger | None, fleet: Fleet | None, reading: Reading) -> tuple[Fleet | None, bool]:
    """(the fleet the file was made from, whether it is an export); None where the ledger does not know.

    An export names its entry and the hash of it. A file of the shop's own was made from what the newest
    import of that name left behind.
    """
    if ledger is None or fleet is None:
        return None, False
    if reading.exported_at is not None:
        entry, digest = reading.exported_at
        row = ledger.connection.execute("SELECT hash FROM entries WHERE seq = ?", (entry,)).fetchone()
        if entry <= fleet.head.seq and row == (digest,):
            return (fleet if entry == fleet.head.seq else fleet_at(ledger, entry, called_today=True)), True
        return None, False
    for seq, body in _imports(ledger):
        if body.get("file") == reading.name:
            last = min(seq + int(body.get("entries", 0)), fleet.head.seq)
            return (fleet if last == fleet.head.seq else fleet_at(ledger, last, called_today=True)), False
    return None, False


def _imports(ledger: Ledger) -> Iterator[tuple[int, Body]]:
    """Applied imports, the newest first."""
    for seq, body in ledger.connection.execute(
        "SELECT seq, body FROM entries WHERE what = 'import applied' ORDER BY seq DESC"
    ):
        yield seq, json.loads(body)


def remembered_columns(ledger: Ledger | None) -> dict[str, str]:
    """Header -> key as earlier imports of this ledger were told; the newest word counts."""
    remembered: dict[str, str] = {}
    for _, body in _imports(ledger) if ledger else ():
        remembered = body.get("columns", {}) | remembered
    return remembered


@nothing_collected()
def apply(
    path: Path,
    proposal: Proposal,
    *,
    ledger: Ledger | None,
    by: str,
    now: datetime,
    shop: str,
    zone: str,
    copies: Copies | None = None,
    strict: bool = False,
    tap: Tap | None = None,
) -> Intake:
    """Write the certain part in one go, with what stays open beside it; ``strict``: only if nothing does.

    ``tap``: the action on a page by which it is taken in; EnteredBefore where it was before.

    A row in question is not in it, or comes without the value in doubt. Answers given for this file are
    remembered. ``copies``: where a new ledger's daily copies go, entered with it.
    Raises Refused where ``by`` may not sign what the file carries.
    """
    if proposal.outcome == "refuse" or (strict and proposal.outcome != "import"):
        return Intake(proposal=proposal, applied=False)
    kept = _kept(proposal, ledger)
    if not proposal.entries and (ledger is None or not kept):
        return Intake(proposal=proposal, applied=proposal.outcome == "import" or ledger is not None)
    lists = any(isinstance(event, StaffListed) for event in proposal.entries)
    today = day_at(now, ledger.zone if ledger else zone)
    if ledger is not None:
        first_list = lists and not read_staff(ledger.connection)
        with ledger.transaction(by=by, now=now, tap=tap) as transaction:
            _enter(transaction, proposal, kept, by=by, today=today)
        return Intake(proposal=proposal, applied=True, first_list=first_list)

    def first(transaction: Transaction) -> None:
        _enter(transaction, proposal, kept, by=by, today=today, begins=True)
        if copies is not None:
            setting = default_policy().setting("backup_folder")
            stated = {"value": copies.folder, "origin": copies.origin, "since": today.isoformat()}
            transaction.enter(PolicySet(name=setting.name, unit=setting.unit, **stated))

    with Ledger.create(path, shop=shop, zone=zone, by=by, now=now, first=first):
        pass
    return Intake(proposal=proposal, applied=True, opened=zone, first_list=lists)


_FOR_THE_SHOP: Final = (
    *(FitDeclared, PatternRecorded),
    *(PairChanged, HoleChanged, BootChanged, BindingChanged, ImportAnswered),
)
"""The entries of a file that a person alone would sign as head technician or manager."""


def _enter(
    transaction: Transaction,
    proposal: Proposal,
    kept: Sequence[Event],
    *,
    by: str,
    today: date,
    begins: bool = False,
) -> None:
    signed = (*proposal.entries, *kept)
    _check_rights(transaction.connection, signed, by=by, today=today, begins=begins)
    # the cause of a stop is a note, in this program's words: what stands in a file is not copied there
    notes = (
        event.source if isinstance(event, PairCarriedOver) else proposal.texts.get(id(event), "")
        for event in signed
    )
    transaction.enter_all(zip(signed, notes, strict=True))


def check_signer(ledger: Ledger, proposal: Proposal, *, by: str, now: datetime) -> None:
    """Refused where ``by`` may not sign what an import would enter, as `apply` would refuse it."""
    signed = (*proposal.entries, *_kept(proposal, ledger))
    _check_rights(ledger.connection, signed, by=by, today=day_at(now, ledger.zone), begins=False)


def _check_rights(
    connection: sqlite3.Connection, entries: Sequence[Event], *, by: str, today: date, begins: bool
) -> None:
    """Refused where ``by`` may not sign what the file carries. Only what ``begins`` a ledger needs nobody,
    and the first staff list.
    """
    people = [Staff(**facts_in(Staff, event)) for event in entries if isinstance(event, StaffListed)]
    signed = Counter(event.WHAT for event in entries if isinstance(event, _FOR_THE_SHOP))
    if signed and not begins:
        what = "take in what this file says anew"
        kinds = ", ".join(f"{number} {word}" for word, number in signed.items())
        if not read_staff(connection):
            raise Refused(
                f"nobody is listed who could {what} ({kinds})",
                cure="list the manager first, which nobody signs: mountbook staff add NAME --role manager"
                " --until DATE, or import a staff list alone; then type the same with --by NAME",
            )
        head(connection, by, days=[today], what=f"{what} ({kinds})")
    if people:
        check_listing(connection, people, by=by, days=[today])


def parse_columns(texts: Sequence[str]) -> dict[str, str]:
    """``Ski Nr=tag`` -> {"Ski Nr": "tag"}; an empty key leaves the column out."""
    chosen = {}
    for text in texts:
        header, sign, key = text.rpartition("=")
        if not sign or not header.strip():
            raise BadInput(f"{text!r} is no mapping", cure='write it like --column "Ski Nr=tag"')
        if key.strip() and key.strip() not in FIELDS:
            raise BadInput(
                f"there is no value called {key.strip()!r}", cure="see the headers of `mountbook blank`"
            )
        chosen[header.strip()] = key.strip()
    return chosen


def parse_direction(text: str) -> tuple[str, dict[str, str]]:
    """``x=from the tail`` -> ("x", its questions with that answer). Raises BadInput with all answers."""
    header, sign, way = text.rpartition("=")
    found = direction_ids(header, way) if sign and header.strip() and way.strip() else {}
    if not found:
        answers = "; ".join(dict.fromkeys((*answers_for("x_mm"), *answers_for("y_mm"))))
        raise BadInput(f"{text!r} says no direction", cure=f'write it like --direction "x=WAY": {answers}')
    return header.strip(), found


def parse_all_rows(texts: Sequence[str]) -> dict[str, dict[str, str]]:
    """``Skis:kind=telemark`` -> {"skis": {"kind": "telemark"}}."""
    stated: dict[str, dict[str, str]] = {}
    for text in texts:
        sheet, colon, rest = text.rpartition(":")
        key, sign, value = rest.partition("=")
        if not colon or not sign or key.strip() not in FIELDS or not value.strip():
            raise BadInput(f"{text!r} says no value", cure='write it like --all-rows "Skis:kind=telemark"')
        stated.setdefault(sheet.strip().casefold(), {})[key.strip()] = value.strip()
    return stated


def machine_zone() -> str | None:
    """The machine's time zone name: TZ, else what /etc/localtime points to; None where neither says."""
    from zoneinfo import available_timezones

    linked = Path("/etc/localtime").resolve().as_posix().partition("/zoneinfo/")[2]
    known = available_timezones()
    return next((name for name in (os.environ.get("TZ", "").lstrip(":"), linked) if name in known), None)


def write_marked(proposal: Proposal, path: Path) -> None:
    """The marked copy, whole or not at all."""
    from imports.marked_copy import write_marked_copy
    from planner.exchange.export.whole_file import whole_file

    with whole_file(path) as beside:
        write_marked_copy(proposal, beside)


def options_text(
    columns: Sequence[str],
    all_rows: Sequence[str],
    leave_out: Sequence[str],
    answers: Path | None = None,
    directions: Sequence[str] = (),
) -> str:
    """The options stated, as they must be typed again to apply what was looked at."""
    pairs = [
        *(("--column", text) for text in columns),
        *(("--all-rows", text) for text in all_rows),
        *(("--direction", text) for text in directions),
        *(("--leave-out", text) for text in leave_out),
        *([("--answers", str(answers))] if answers is not None else []),
    ]
    return "".join(f" {name} {shlex.quote(text)}" for name, text in pairs)


def take_back(ledger: Ledger, ids: Sequence[str], *, by: str, now: datetime) -> tuple[str, ...]:
    """Forget remembered answers; signed as the answers themselves are. BadInput for one that is not there."""
    known = {line.question: line for line in profile(ledger)}
    for identity in ids:
        if identity not in known:
            raise BadInput(
                f"no answer to {identity} is remembered",
                cure=did_you_mean(identity, known, "see `mountbook import profile`"),
            )
    today = day_at(now, ledger.zone)
    with ledger.transaction(by=by, now=now) as transaction:
        head(transaction.connection, by, days=[today], what="take back what was answered in an import")
        for identity in ids:
            transaction.enter(ImportAnswerTakenBack(key=known[identity].key))
    return tuple(ids)
