"""Files in, rows out: through the gate, to the tables, to values, with every remark collected."""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.facts.kinds import shop_kinds
from fleet.facts.policy import Policy, default_policy
from fleet.tables.snapshot import Fleet
from imports.answers import LEAVE_OUT, NO_ANSWERS, About, Answers, parts_of, question_id
from imports.cells import Cell, Content, Sheet
from imports.cross_checks import ask_about_series, check_together
from imports.findings import Finding, Severity
from imports.gate import Admitted, FileKind, GateRefusal, admit
from imports.header_match import header_hits, header_text
from imports.header_rows import hinted
from imports.headers import Table
from imports.hole_shapes import OneHole, counting, hole_tables, is_spread, place_from_others, settle_hole
from imports.leaving import hear_alarms, hear_leaving
from imports.questions import answers_on, checked_answers, is_question_sheet
from imports.row_checks import answered, check_row
from imports.row_reader import RowReader
from imports.rows import FoundTable, Row, SheetReading
from imports.sheet_prepared import lists_people, mend_damaged, take_marks
from imports.sole import hear_eu_sizes, spread_shell_doubt
from imports.tables import EXPORT_HEAD, EXPORT_MARK, GUIDE_MARK, read_sheet
from imports.text_table import read_text_table
from imports.workbook import NOT_SEEN, read_other_book, read_workbook

IGNORED_FILES: Final = ("entries.csv", "policy.csv")
"""Tables of an export that no import may write: history and policy."""


@dataclass(slots=True, kw_only=True)
class Reading:
    """All that was read: rows in file order, findings about files, sheets and columns, and the sheets.

    ``unread_holes``: sheets of holes, by their name, that do not come in and of which no row could be read.
    """

    name: str
    sha256: str
    files: tuple[tuple[str, str], ...]
    rows: list[Row] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    sheets: list[SheetReading] = field(default_factory=list)
    exported_at: tuple[int, str] | None = None
    unread_holes: list[str] = field(default_factory=list)
    answers: Answers = NO_ANSWERS


def read_files(
    paths: Sequence[Path],
    *,
    today: date,
    policy: Policy | None = None,
    columns: Mapping[str, str] | None = None,
    for_all: Mapping[str, Mapping[str, str]] | None = None,
    answers: Answers = NO_ANSWERS,
    fleet: Fleet | None = None,
) -> Reading:
    """Read workbooks, csv files or a folder written by export.

    ``columns``: header text -> key, the user's own mapping. ``for_all``: sheet name in small letters ->
    key -> value for rows of a table without such a column. ``answers``: what was answered of the questions
    of an earlier look, and what the shop's ledger remembers. ``fleet``: the marks that it knows.
    Raises BadInput for a path that is not there; every other fault is a finding.
    """
    members, name = _members(paths)
    admitted: list[Admitted] = []
    findings: list[Finding] = []
    for path in members:
        try:
            admitted.append(admit(path))
        except GateRefusal as refusal:
            findings.append(_refusal(path.name, refusal))
    digests = tuple((file.name, file.sha256) for file in admitted)
    reading = Reading(
        name=name, sha256=_digest(digests, paths), files=digests, findings=findings, answers=answers
    )
    for path in paths:
        if path.is_dir():
            reading.exported_at = _exported_at(path)
    for file in admitted:
        _read_one(
            file,
            reading,
            today=today,
            policy=policy or default_policy(),
            columns=columns or {},
            for_all=for_all or {},
            answers=answers,
        )
    check_together(
        [row for row in reading.rows if not row.left_out],
        exported=reading.exported_at is not None,
        fleet=fleet,
    )
    return reading


def _members(paths: Sequence[Path]) -> tuple[list[Path], str]:
    members: list[Path] = []
    for path in paths:
        if not path.exists():
            raise BadInput(f"there is no file {path}", cure="check the name and the folder")
        if path.is_dir():
            found = sorted(p for p in path.iterdir() if p.suffix.lower() == ".csv" and p.is_file())
            if not found:
                raise BadInput(f"the folder {path} holds no .csv file", cure="name a workbook or a csv file")
            members += [p for p in found if p.name.lower() not in IGNORED_FILES]
        else:
            members.append(path)
    return members, ", ".join(path.name or str(path) for path in paths)


def _digest(files: Sequence[tuple[str, str]], paths: Sequence[Path]) -> str:
    """The hash of one file, or of the sorted list of names and hashes of several."""
    if len(files) == 1 and len(paths) == 1 and not paths[0].is_dir():
        return files[0][1]
    said = "\n".join(f"{name} {digest}" for name, digest in sorted(files))
    return hashlib.sha256(said.encode()).hexdigest()


def _exported_at(folder: Path) -> tuple[int, str] | None:
    """The entry and hash an export folder was written at, from its descriptor; None where it does not say."""
    try:
        said = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
        entry, digest = said["ledger_entry"], said["ledger_head"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return (entry, digest) if type(entry) is int and isinstance(digest, str) else None


def _refusal(name: str, refusal: GateRefusal) -> Finding:
    return Finding(
        severity=Severity.BAD, code=refusal.code, message=refusal.sentence, fix=refusal.cure, raw=name
    )


def _read_one(
    file: Admitted,
    reading: Reading,
    *,
    today: date,
    policy: Policy,
    columns: Mapping[str, str],
    for_all: Mapping[str, Mapping[str, str]],
    answers: Answers,
) -> None:
    for code, message in file.remarks:
        reading.findings.append(Finding(code=code, message=f"{file.name}: {message}"))
    try:
        if file.kind is FileKind.WORKBOOK:
            sheets = read_workbook(file)
        elif file.kind is FileKind.OTHER_BOOK:
            sheets = read_other_book(file)
            reading.findings.append(Finding(code=NOT_SEEN[0], message=f"{file.name}: {NOT_SEEN[1]}"))
        else:
            sheet, remarks = read_text_table(file, header_hits=header_hits)
            sheets = [sheet]
            for code, message in remarks:
                reading.findings.append(Finding(code=code, message=f"{file.name}: {message}"))
    except GateRefusal as refusal:
        reading.findings.append(_refusal(file.name, refusal))
        return
    for sheet in [sheet for sheet in sheets if is_question_sheet(sheet)]:
        sheets.remove(sheet)
        given, faults = checked_answers(answers_on(sheet), today=today, kinds=tuple(shop_kinds(policy)))
        answers = Answers(given).over(answers)
        reading.findings += faults
    reading.answers = answers.over(reading.answers)
    _say_formulas(file.name, sheets, reading)
    for sheet in sheets:
        sheet.file = file.name
        take_marks(sheet)
        try:
            _read_sheet(
                sheet,
                reading,
                today=today,
                policy=policy,
                columns=columns,
                for_all=for_all.get(sheet.name.casefold(), {}),
                from_csv=file.kind is FileKind.TEXT,
                answers=answers,
            )
        except (ValueError, ArithmeticError, LookupError) as fault:
            reading.findings.append(_unforeseen(sheet, fault))


def _unforeseen(sheet: Sheet, fault: Exception) -> Finding:
    """The net under the reader: a sheet it stumbles over is refused aloud (the fuzz counts it a fault)."""
    return Finding(
        severity=Severity.BAD,
        code="unforeseen",
        sheet=sheet.name,
        message=f"the sheet {sheet.name!r} cannot be read: {fault}",
        fix="copy its values into the workbook of `mountbook blank`, and tell us about this file",
    )


def _say_formulas(name: str, sheets: Sequence[Sheet], reading: Reading) -> None:
    count = sum(
        cell.formula and cell.content is not Content.UNCOMPUTED
        for sheet in sheets
        for cells in sheet.rows.values()
        for cell in cells.values()
    )
    if count:
        reading.findings.append(
            Finding(
                code="formula_results",
                message=f"{name}: {counted(count, 'formula')}; the results stored in the file were read",
                fix="open and save it in your spreadsheet program, if they may be old",
            )
        )


def _read_sheet(
    sheet: Sheet,
    reading: Reading,
    *,
    today: date,
    policy: Policy,
    columns: Mapping[str, str],
    for_all: Mapping[str, str],
    from_csv: bool,
    answers: Answers,
) -> None:
    reading.exported_at = exported_mark(sheet) or reading.exported_at
    own = _why_left_out(sheet)
    left_out = own or _answered_away(sheet, answers)
    if left_out:
        reading.sheets.append(SheetReading(sheet=sheet, left_out=left_out))
        reading.findings.append(
            Finding(
                code="sheet_left_out",
                message=f"the sheet {sheet.name!r} is left out: {left_out}",
                sheet=sheet.name,
                question="" if own else question_id(About.TABLE, sheet.name, ""),
            )
        )
        if sheet.hidden:
            _holes_of_hidden(sheet, reading, today=today, columns=columns, from_csv=from_csv)
        return
    reading.findings += mend_damaged(sheet)
    found = read_sheet(sheet, columns, for_all=for_all, from_csv=from_csv, answers=answers)
    _say_answers(found, answers)
    reading.sheets.append(found)
    reading.findings += found.findings
    for table in found.tables:
        said = len(found.findings)

        def read(
            one: FoundTable, settle: Callable[[Row], None] | None = None, own: FoundTable = table
        ) -> list[Row]:
            reader = RowReader(
                one, today=today, from_csv=from_csv, kinds=tuple(shop_kinds(policy)), answers=answers
            )
            return [_row(reader, number, cells, policy, settle, own) for number, cells in one.rows]

        spread = is_spread(table) and table.table is Table.HOLE
        rows = [] if spread else read(table)
        if reading.exported_at is None and not spread:
            hear_leaving(table, rows, found.titles | table.titles)
            hear_alarms(table, rows)
            ask_about_series(rows)
            if table.table is Table.BOOT:
                hear_eu_sizes(table, rows)
                spread_shell_doubt(rows)
        several = _several_in_a_row(table, rows, read, answers, found.findings)
        reading.findings += found.findings[said:]
        reading.rows += [*rows, *several]


def _row(
    reader: RowReader,
    number: int,
    cells: dict[str, tuple[int, Cell]],
    policy: Policy,
    settle: Callable[[Row], None] | None,
    table: FoundTable,
) -> Row:
    """One row, checked, with the answer that stands beside it, which may be about another of its row."""
    row = reader.read(number, cells)
    if settle is not None:
        settle(row)
    check_row(row, policy)
    doubted = any(f.severity is not Severity.NOTE for f in row.findings)
    alone = settle is None and not is_spread(table)
    if not row.answer or not (alone or doubted or row.answer == LEAVE_OUT):
        return row
    again = answered(row, reader, policy)
    if settle is not None and again is not row:
        settle(again)
    return again


def _several_in_a_row(
    table: FoundTable,
    rows: Sequence[Row],
    read: Callable[[FoundTable, Callable[[Row], None]], list[Row]],
    answers: Answers,
    findings: list[Finding],
) -> list[Row]:
    """The rows of single holes and single skis that the table's rows hold beside their own."""
    own = {row.number: row for row in rows}
    found: list[tuple[OneHole, Row]] = []
    holes = hole_tables(table, answers)
    says = "; ".join(dict.fromkeys(hole.says for hole in holes if hole.says))
    if says:
        findings.append(
            Finding(
                code="several_holes_in_a_row",
                message=f"one row holds several holes: {says}; half of a width lies on each side",
                sheet=table.sheet.name,
                row=table.header_row,
            )
        )
    for hole in holes:

        def settle(row: Row, hole: OneHole = hole) -> None:
            if hole.whose:
                base = own[row.number]
                row.values["pair_tag"] = base.values.get("tag")
                row.left_out = row.left_out or base.left_out
            settle_hole(hole, row)

        found += [(hole, row) for row in read(hole.table, settle)]
    place_from_others(found)
    return [row for _, row in found]


def _answered_away(sheet: Sheet, answers: Answers) -> str:
    """Return why a sheet without a header that was understood is left out, where somebody answered so."""
    answer = answers.of(About.TABLE, sheet.name, "")
    return f"{LEAVE_OUT}, {answer.said_by}" if answer is not None and answer.leaves_out else ""


def _say_answers(found: SheetReading, answers: Answers) -> None:
    """One note for each answer about a column of this sheet that was used."""
    for identity, answer in answers.by_id.items():
        known = parts_of(identity)
        if known is None or known[0] not in _OF_COLUMNS:
            continue
        about, parts = known
        for table in found.tables:
            headers = {header_text(text).words for text in table.headers.values()}
            if about is About.DIRECTION:
                headers = {header_text(c.place.words if c.place else c.header).words for c in counting(table)}
            if parts[0] != table.table.value or not _speaks_of(about, parts, headers):
                continue
            if about is About.ALL and (parts[2:] != (found.sheet.name.casefold(), table.shape)):
                continue
            found.findings.append(
                Finding(
                    code="answered",
                    message=f"{_subject(about, parts)}: {answer.text}, {answer.said_by}",
                    sheet=found.sheet.name,
                    row=table.header_row,
                    question=identity,
                )
            )


_OF_COLUMNS: Final = (About.COLUMN, About.TWICE, About.UNIT, About.DAY_ORDER, About.DIRECTION, About.ALL)


def _speaks_of(about: About, parts: tuple[str, ...], headers: set[str]) -> bool:
    """Return whether a question is about one of these headers, in which a plus may stand, or about two."""
    return about is About.ALL or parts[-1] in headers or headers.issuperset(parts[-1].split("+"))


def _subject(about: About, parts: tuple[str, ...]) -> str:
    if about is About.COLUMN:
        return f"the column {parts[1]!r}"
    if about is About.ALL:
        return f"{parts[1]} of all rows"
    return f"{about.value.replace('-', ' ')} of {parts[1]} in the column {parts[-1]!r}"


def _holes_of_hidden(
    sheet: Sheet, reading: Reading, *, today: date, columns: Mapping[str, str], from_csv: bool
) -> None:
    """Hole rows of a sheet that is left out are read to know which skis they speak of, and set aside."""
    before = len(reading.rows)
    for table in read_sheet(sheet, columns, from_csv=from_csv).tables:
        if table.table is Table.HOLE:
            reader = RowReader(table, today=today, from_csv=from_csv)
            for number, cells in table.rows:
                row = reader.read(number, cells)
                row.left_out = True
                reading.rows.append(row)
    if len(reading.rows) == before and sheet.rows and hinted(sheet.name, Table.HOLE):
        reading.unread_holes.append(sheet.name)


def exported_mark(sheet: Sheet) -> tuple[int, str] | None:
    """The entry and hash that an exported workbook's first sheet names."""
    first = sheet.rows.get(1, {}).get(1)
    if first is None or not first.text.startswith(EXPORT_MARK):
        return None
    for cells in sheet.rows.values():
        if 1 in cells and cells[1].text == EXPORT_HEAD and 2 in cells:
            entry, _, digest = cells[2].text.partition(":")
            return (int(entry), digest) if entry.isascii() and entry.isdigit() and digest else None
    return None


def _why_left_out(sheet: Sheet) -> str:
    first = next((cells for _, cells in sorted(sheet.rows.items())), {})
    if any(isinstance(cell, Cell) and cell.text.startswith(GUIDE_MARK[:30]) for cell in first.values()):
        return "it is the guide with examples"
    if any(cell.text.startswith(EXPORT_MARK) for cell in first.values()):
        return "it is the summary of an export"
    if sheet.hidden:
        return f"it is hidden and has {counted(len(sheet.rows), 'filled row')}"
    if lists_people(sheet):
        return (
            f"it is a list of people ({counted(len(sheet.rows), 'row')}), and none of them is in the ledger"
        )
    return ""
