"""The questions of an import: one for each word, column, unit or table, whatever the number of its rows.

Values in, values out: the prompts, the pages, the answers file and the marked copy all begin here.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, Final

from fleet.base.errors import BadInput, nearest
from fleet.base.grouping import grouped
from fleet.base.units import counted, first_of
from fleet.facts.columns import Holds
from imports.answers import (
    KEEP_FIRST,
    KEEP_LAST,
    LEAVE_OUT,
    NOT_KNOWN,
    PADDED,
    RIGHT,
    About,
    GivenAnswer,
    answers_text,
    is_of_column,
    parts_of,
    plain_answer,
)
from imports.cell_values import read_cell, written
from imports.cells import Cell, Sheet
from imports.days import DAY_FIRST, MONTH_FIRST, UNDECIDED
from imports.directions import WHY, answers_for, is_direction
from imports.findings import Finding, Severity
from imports.headers import EQUIPMENT, FIELDS, SHEET_OF, Table
from imports.quantities import UNITS_MM
from imports.rows import CONFIRMABLE, MAY_BE_NOT_KNOWN, OPTIONAL
from imports.words import value_words

_SHOWN: Final = 4
_PARTS: Final = 4
"""So many parts of an id have words."""
_NUMBERS: Final = (Holds.COUNT, Holds.LENGTH, Holds.SHELL)
_USUAL: Final = {(Table.WANTED.value, "priority"): "1"}
"""The answers offered first for all rows of a column that is not there, or blank."""


_SAID: Final = {About.TWICE: "column", About.ALL: "column", About.BLANK: "row", About.CHECK: "row"} | {
    About.KEEP: "row",
    About.DAY_ORDER: "day order",
}
"""Kinds of question whose name is not the word that other programs read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """An answer that may be right, and what speaks for it or what it does."""

    answer: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportQuestion:
    """One question, with the kind and the parts of its id.

    ``places``: sheet, row and column letter of each cell it stands in, or of its header.

    ``settles``: how many rows one answer settles. ``guesses``: the best first, the ones that leave rows out
    last. ``closed``: no other answer than a guess is one.
    """

    id: str
    kind: About
    parts: tuple[str, ...]
    text: str
    places: tuple[tuple[str, int | None, str | None], ...]
    tags: tuple[str, ...]
    settles: int
    guesses: tuple[Guess, ...]
    closed: bool = False

    @property
    def about(self) -> str:
        """The thing that one answer settles, in a word or two."""
        return _SAID.get(self.kind, self.kind.value)

    @property
    def of_number(self) -> bool:
        """Return whether a number is an answer, so that offers cannot be chosen by theirs."""
        return self.kind in (About.WORD, About.BLANK, About.ALL) and FIELDS[self.parts[1]].holds in _NUMBERS

    def to_json(self) -> dict[str, Any]:
        """As other programs read it."""
        return {
            "id": self.id,
            "about": self.about,
            "text": self.text,
            "settles": self.settles,
            "places": [
                {"sheet": sheet, "row": row, "column": column} for sheet, row, column in self.places[:100]
            ],
            "proposals": [{"answer": guess.answer, "why": guess.why} for guess in self.guesses],
        }


def questions_of(findings: Iterable[Finding]) -> tuple[ImportQuestion, ...]:
    """The open questions of an import, those that settle most rows first.

    A doubt of which no answer is one (a file that cannot be opened) is no question.
    """
    groups = grouped(findings, lambda f: f.question if f.severity is not Severity.NOTE else None)
    found = [_question(identity, group) for identity, group in groups.items() if identity]
    order = {
        About.TABLE: 0,
        About.ITEM: 0,
        About.ALL: 1,
        About.COLUMN: 1,
        About.TWICE: 1,
        About.UNIT: 2,
        About.DIRECTION: 2,
    }
    return tuple(sorted(found, key=lambda question: (order.get(question.kind, 3), -question.settles)))


def _question(identity: str, group: Sequence[Finding]) -> ImportQuestion:
    known = parts_of(identity)
    assert known is not None
    about, parts = known
    whole = about in (About.ALL, About.TABLE, About.COLUMN, About.TWICE)
    settles = _rows(about, group)
    first = group[-1] if whole and len(group) > 1 and group[-1].guesses else group[0]
    guesses, closed = _guesses(about, parts, group)
    return ImportQuestion(
        id=identity,
        kind=about,
        parts=parts,
        text=_text(about, group, first, settles),
        places=tuple(dict.fromkeys((f.sheet or "", f.row, f.column) for f in group)),
        tags=tuple(dict.fromkeys(f.tag for f in group if f.tag)),
        settles=settles,
        guesses=guesses,
        closed=closed,
    )


_TEXTS: Final = {
    About.WORD: "{raw!r} stands in {many} of {sheets} for {what}: what is it? ({message})",
    About.ALL: "{sheets} has no column for {key} ({many}): which column says {what}, or what is it for all?",
    About.BLANK: "{what} is missing in {many} of {sheets} ({some}): what is it there?",
    About.DIRECTION: "{message} ({many} of {sheets}, such as {raw}): from where, and which way?",
    About.UNIT: "{message} ({many} of {sheets}, {what}): in which unit are such numbers?",
    About.DAY_ORDER: "{raw!r} and the like in {many} of {sheets}, {what}: day first, or month first?",
}
"""Questions about many cells, as sentences."""


def _text(about: About, group: Sequence[Finding], first: Finding, rows: int) -> str:
    """The question as a sentence that says where it stands and how much it settles."""
    sheets = " and ".join(repr(name) for name in dict.fromkeys(f.sheet for f in group if f.sheet))
    many, message, key, some = counted(rows, "row"), first.message, first.key or "", _some(group)
    what = FIELDS[key].what if key in FIELDS else key
    if about in _TEXTS:
        return _TEXTS[about].format(
            raw=first.raw, many=many, sheets=sheets, what=what, message=message, key=key, some=some
        )
    if about in (About.ITEM, About.TAG, About.CHECK) and rows > 1:
        return f"{message} (in {many} of {sheets}: {some})"
    place = f"{first.sheet} {first.column or 'row '}{first.row}: " if first.row is not None else ""
    return f"{place}{message}{': what does a row tell of?' if first.code == 'no_header' else ''}"


_OF_ANSWERS: Final = {
    About.WORD: "'{2}' as {what} of a {0}",
    About.COLUMN: "the column '{1}' of a {0}",
    About.TWICE: "which column is {what}: {2}",
    About.UNIT: "the unit of {what} in the column '{2}'",
    About.DAY_ORDER: "day or month first in the column '{2}'",
    About.DIRECTION: "from where and which way {what} counts in the column '{2}'",
    About.TABLE: "what the rows of the sheet '{0}' are",
    About.ITEM: "what a row is that says '{0}{1}'",
    About.ALL: "{what} of all rows of the sheet '{2}'",
    About.BLANK: "{what} where it is blank in the sheet '{2}'",
    About.TAG: "the tags of the sheet '{2}'",
    About.CHECK: "{2} in doubt in the sheet '{3}' ({1})",
    About.KEEP: "which of the rows of {1} counts",
}
"""The matter of an answer given before, by the parts of its id."""


def id_text(identity: str) -> str:
    """Return what an answer is about in words, where its question is not at hand."""
    known = parts_of(identity)
    if known is None:
        return identity
    about, parts = known
    key = parts[1] if len(parts) > 1 else ""
    what = FIELDS[key].what.removeprefix("the ") if key in FIELDS else key
    return _OF_ANSWERS[about].format(*parts, *("",) * _PARTS, what=what)


def _rows(about: About, group: Sequence[Finding]) -> int:
    """Return the number of rows that a question is about. A header that lacks a column is none of them: it
    says so in other words than its rows, and of the holes in a row it says nothing.
    """
    rows = {(f.sheet, f.row) for f in group if f.row is not None}
    return max(len(rows) - (about is About.ALL and len({f.message for f in group}) > 1), 1)


def _some(group: Sequence[Finding]) -> str:
    of_tags = any(f.key in ("tag", "pair_tag") for f in group)
    names = list(dict.fromkeys((f.raw if of_tags else f.tag) or f"row {f.row}" for f in group))
    return first_of(names, _SHOWN)


_ALWAYS: Final = {
    About.DAY_ORDER: (
        Guess(answer=DAY_FIRST, why="3/4 is 3 April"),
        Guess(answer=MONTH_FIRST, why="3/4 is 4 March"),
    ),
    About.KEEP: (
        Guess(answer=KEEP_FIRST, why="the others go"),
        Guess(answer=KEEP_LAST, why="the others go"),
    ),
}
"""Answers that are offered whatever the file says."""
_LEFT_OUT: Final = {About.COLUMN: "the column is none of ours", About.TABLE: "the sheet is left out"}
"""The meaning of *leave out*, where that is not about rows."""


def _guesses(
    about: About, parts: tuple[str, ...], group: Sequence[Finding]
) -> tuple[tuple[Guess, ...], bool]:
    """Answers that may be right, and whether there are no others."""
    said = dict.fromkeys(answer for finding in group for answer in finding.guesses)
    found = [Guess(answer=answer, why="") for answer in said if answer != LEAVE_OUT]
    table, key = parts[0], parts[1] if len(parts) > 1 else ""
    many = _rows(about, group)
    rows = "its row does not come in" if many == 1 else f"its {many} rows do not come in"
    away = Guess(answer=LEAVE_OUT, why=_LEFT_OUT.get(about, rows))
    if about in _ALWAYS:
        return _ALWAYS[about] + ((away,) if about is About.KEEP else ()), True
    if about is About.TWICE:
        return tuple(found), True
    if about in (About.COLUMN, About.TABLE, About.ITEM):
        return (*found, away), about is About.ITEM
    if about is About.UNIT:
        units = dict.fromkeys(answer.rpartition(" ")[2] for answer in said)
        return tuple(
            Guess(answer=unit, why="then they are usual") for unit in units if unit in UNITS_MM
        ), False
    if about is About.DIRECTION:
        return (*(Guess(answer=answer, why=WHY.get(answer, "")) for answer in said), away), False
    if about is About.TAG:
        if key == "tag_is_date":
            return (*(Guess(answer=answer, why=_was(answer)) for answer in said), away), False
        padded = [Guess(answer=PADDED, why="as long as the others")] if key == "zeros_lost" else []
        right = "they are one" if key == "zeros_differ" else "the tags are as they stand"
        return (*padded, Guess(answer=RIGHT, why=right), away), True
    if about is About.CHECK:
        if key in CONFIRMABLE:
            found.append(Guess(answer=RIGHT, why="it is right as it stands"))
        if key == "missing_row":
            return (Guess(answer=RIGHT, why="they may be missing; the ledger keeps them"),), True
        if len(parts) > 2 and parts[2] in OPTIONAL.get(table, ()):
            found.append(Guess(answer=NOT_KNOWN, why="the value is not taken; the rest of the row is"))
        return (*found, away), True
    if about is not About.WORD and not found and key in FIELDS and FIELDS[key].holds is Holds.WORD:
        choices = dict.fromkeys(value_words().get(key, {}).values())
        found = [Guess(answer=choice, why="") for choice in choices if choice != NOT_KNOWN]
    if about in (About.ALL, About.BLANK) and (table, key) in _USUAL:
        found.append(Guess(answer=_USUAL[table, key], why="all of them come in, none before another"))
    if key in MAY_BE_NOT_KNOWN.get(table, ()):
        found.append(Guess(answer=NOT_KNOWN, why="the value stays open; the rest of the row comes in"))
    return (*found, away), False


_APRIL: Final = Cell("2026-04-03")


def _was(answer: str) -> str:
    """Return what an answer about tags that became days means."""
    tag = written(_APRIL, answer)
    return "the tags are as they stand" if tag is None else f"3 April was {tag}"


def _table(name: str) -> Table | None:
    return Table(name) if name in list(Table) else None


_CHOICES: Final = {
    About.UNIT: ("mm", "cm", "m", "in"),
    About.DAY_ORDER: (DAY_FIRST, MONTH_FIRST),
    About.TABLE: tuple(table.value for table in SHEET_OF),
    About.ITEM: tuple(table.value for table in EQUIPMENT),
}
"""All the answers to such a question, whatever the file says."""


def checked_answer(
    identity: str, text: str, *, question: ImportQuestion | None, today: date, kinds: Collection[str] = ()
) -> str:
    """The answer as it counts. Raises BadInput for one that is none, with the nearest that is.

    ``question``: the open question, where there is one. ``kinds``: those that the shop has added.
    """
    known = parts_of(identity)
    if known is None:
        raise BadInput(f"there is no question {identity!r}", cure="take it from `import FILE --ask`")
    about, parts = known
    said = plain_answer(text)
    offered = [guess.answer for guess in question.guesses] if question else []
    for answer in offered:
        if said.casefold() == answer.casefold():
            return answer
    if question is not None and question.closed:
        raise _none(said, offered, identity)
    if said == LEAVE_OUT and about not in (About.UNIT, About.DAY_ORDER, About.TWICE):
        return said
    if about in _CHOICES:
        return _one_of(said, _CHOICES[about], identity)
    if about is About.DIRECTION:
        key = parts[1] if len(parts) > 1 else ""
        direction = is_direction(said, key, parts[0])
        if direction is None:
            ways = (way for way in answers_for(key) if is_direction(way, key, parts[0]))
            raise _none(said, dict.fromkeys((*offered, *ways)), identity)
        return direction
    if about is About.COLUMN:
        plan = SHEET_OF.get(_table(parts[0]) or Table.SKI)
        return _one_of(said, plan.keys if plan else (), identity)
    if about is About.CHECK and is_of_column(parts):
        which = (KEEP_LAST, KEEP_FIRST) if parts[1] == "half_sizes" else ()
        return _one_of(said, (*which, NOT_KNOWN, LEAVE_OUT), identity)
    from_file = question is None and said == RIGHT
    if (
        about is About.TAG
        and parts[1:2] == ("tag_is_date",)
        and not from_file
        and written(_APRIL, said) is None
    ):
        raise _none(said, offered or ("day-month", "month-day", RIGHT, LEAVE_OUT), identity)
    if about in (About.WORD, About.BLANK, About.ALL):
        return _value(said, parts, identity, offered, today=today, kinds=kinds)
    return said


def _value(
    said: str,
    parts: tuple[str, ...],
    identity: str,
    offered: Sequence[str],
    *,
    today: date,
    kinds: Collection[str],
) -> str:
    key = parts[1] if len(parts) > 1 else ""
    if key not in FIELDS:
        raise BadInput(f"{identity}: there is no value called {key!r}", cure="take the id from `--ask`")
    field = FIELDS[key]
    if said == NOT_KNOWN:
        if key in MAY_BE_NOT_KNOWN.get(parts[0], ()):
            return said
        raise BadInput(
            f"{identity}: a row cannot come in without {field.what}",
            cure=f"give {field.what}, or answer: {LEAVE_OUT}",
        )
    read = read_cell(Cell(said), key, field, "", UNDECIDED, today, False, kinds)
    if read.value is None or read.severity not in (None, Severity.NOTE):
        near = nearest(said, offered)
        hint = f"did you mean {near!r}? " if near else ""
        raise BadInput(f"{identity}: {read.message or f'{said!r} says nothing'}", cure=f"{hint}{read.fix}")
    return said


def _one_of(said: str, choices: Collection[str], identity: str) -> str:
    if said.casefold() in choices:
        return said.casefold()
    raise _none(said, choices, identity)


def _none(said: str, choices: Collection[str], identity: str) -> BadInput:
    near = nearest(said, choices)
    hint = f"did you mean {near!r}? " if near else ""
    return BadInput(f"{identity}: {said!r} is no answer", cure=f"{hint}answer one of: {', '.join(choices)}")


def answers_file(questions: Sequence[ImportQuestion], given: Mapping[str, str]) -> str:
    """The text of an answers file: what was answered, then each open question, its guesses as comments."""
    head = (
        "# One line a question: its id, a blank, your answer. A line that begins with # only says what was"
        " asked.\n# First what was answered already; then what is open, the best guess first.\n"
    )
    asked = [("", identity, answer) for identity, answer in given.items()]
    for question in questions:
        offers = "; ".join(f"{g.answer} ({g.why})" if g.why else g.answer for g in question.guesses)
        asked.append((f"\n{question.text}\n  answers: {offers}", question.id, given.get(question.id, "")))
    return head + answers_text(asked).replace("# \n", "\n")


if TYPE_CHECKING:
    from xlsxwriter import Workbook

QUESTION_SHEET: Final = "Open questions"
_MARK: Final = "mountbook: open questions. Answer in column C, then import this file."
_HEAD: Final = ("question", "rows", "your answer", "answers", "id; leave it as it is")
_WIDTHS: Final = (90, 8, 30, 60, 40)


def is_question_sheet(sheet: Sheet) -> bool:
    """Return whether the sheet is one that a marked copy added."""
    first = sheet.rows.get(1, {}).get(1)
    return first is not None and first.text == _MARK


def write_question_sheet(book: Workbook, name: str, questions: Sequence[ImportQuestion]) -> None:
    """Write the questions, those that settle most rows first, as texts."""
    sheet = book.add_worksheet(name)
    text = book.add_format({"num_format": "@", "text_wrap": True, "valign": "top"})
    room = book.add_format({"num_format": "@", "bg_color": "#FFD27F"})
    sheet.write_string(0, 0, _MARK)
    for column, (head, width) in enumerate(zip(_HEAD, _WIDTHS, strict=True)):
        sheet.write_string(1, column, head)
        sheet.set_column(column, column, width)
    for row, question in enumerate(questions, start=2):
        offered = "; ".join(f"{g.answer} ({g.why})" if g.why else g.answer for g in question.guesses)
        sheet.write_string(row, 0, question.text[:32000], text)
        sheet.write_number(row, 1, question.settles)
        sheet.write_blank(row, 2, None, room)
        sheet.write_string(row, 3, offered[:32000], text)
        sheet.write_string(row, 4, question.id, text)
    sheet.freeze_panes(2, 1)


def answers_on(sheet: Sheet) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """(question, answer, where it stands) of each row of a sheet of questions that was answered."""
    for number, cells in sorted(sheet.rows.items()):
        identity, answer = (cells[column].text.strip() if column in cells else "" for column in (5, 3))
        if number > 2 and answer and parts_of(identity) is not None:
            yield identity, answer, {"sheet": sheet.name, "row": number, "column": "C"}


def checked_answers(
    answers: Iterable[tuple[str, str, Mapping[str, Any]]], *, today: date, kinds: Collection[str]
) -> tuple[dict[str, GivenAnswer], list[Finding]]:
    """(the answers that count by question, a finding for each of the others), said where it stands."""
    given, faults = {}, []
    for identity, text, place in answers:
        try:
            said = checked_answer(identity, text, question=None, today=today, kinds=kinds)
        except BadInput as fault:
            faults.append(refused_answer(text, fault, **place))
        else:
            given[identity] = GivenAnswer(said)
    return given, faults


def refused_answer(
    answer: str,
    fault: BadInput,
    *,
    sheet: str | None = None,
    row: int | None = None,
    column: str | None = None,
) -> Finding:
    """An answer that is none, said where it stands; its question stays open, and the other answers count."""
    return Finding(
        severity=Severity.BAD,
        code="no_answer",
        sheet=sheet,
        row=row,
        column=column,
        raw=answer,
        message=fault.sentence,
        fix=fault.cure or "correct the answer, or clear it",
    )
