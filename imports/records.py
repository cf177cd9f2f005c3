"""Rows to values: every cell of a row read by what its column holds, remarks collected, nothing thrown."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any, Final

from fleet.facts.brakes import Brake
from fleet.facts.columns import Field, Holds
from fleet.facts.kinds import KIND_NOT_KNOWN
from imports.answers import NO_ANSWERS, NOT_KNOWN, PADDED, RIGHT, Answers, GivenAnswer, plain_answer
from imports.cells import Cell, Content, column_letter
from imports.copy_marks import marks_of
from imports.days import DAY_FIRST, MONTH_FIRST, UNDECIDED, column_order, day, half_read
from imports.doubt_words import is_ditto, is_tick, says_unknown
from imports.fields import FIELDS
from imports.findings import Finding, Severity, plain
from imports.found_table import FoundTable
from imports.guarded_text import unguarded
from imports.header_match import MappedColumn, header_text, required_keys
from imports.headers import Table
from imports.quantities import (
    NOTHING,
    UNITS_MM,
    Read,
    ask,
    count,
    length,
    mondopoint,
    note,
    tidy,
    tidy_words,
    unreadable,
)
from imports.question_id import About, question_id
from imports.sheet_name import context_of_name
from imports.table_findings import missing_cure, missing_severity
from imports.tags import lost_zeros, padded_width, tag
from imports.words import value_words, word

CONFIRMABLE: Final = frozenset(
    {
        "bsl_is_shell_size",
        "bsl_far_from_shell",
        "bsl_too_short",
        "hidden_row",
        "ragged_row",
        "near_tag",
        "mark_implausible",
        "zone_off_ski",
        "hole_off_ski",
        "mounted_before_bought",
        "struck_row",
        "tag_is_one_ski",
        "length_not_sheets",
        "quantity_in_model",
        "date_half_read",
        "says_gone",
        "dragged_series",
    }
)
"""Questions that *ok* settles: the value stands in the row and only its likelihood was in doubt."""
NO_BINDING: Final = frozenset(
    {"none", "no", "no binding", "without", "without binding", "flat"}
    | {"keine", "keine bindung", "ohne", "ohne bindung", "nein", "sans", "sans fixation", "aucune", "non"}
)
"""Words in a binding column that say there is none; never the name of a model."""
NO_BRAKE: Final = frozenset(
    {"none", "no brake", "without", "without brake", "keine", "keine bremse", "ohne", "ohne bremse"}
    | {"sans", "sans frein", "aucun"}
)
"""Words in a brake column that say there is none."""
BRAKE_NOT_KNOWN: Final = frozenset({"not known", "unknown", "not measured", "unbekannt", "inconnu"})
"""Words in a brake column that say what a blank says."""
_BRAKE_WORDS: Final[Mapping[str, Brake | None]] = {
    **dict.fromkeys(NO_BRAKE, Brake.NONE),
    **dict.fromkeys(BRAKE_NOT_KNOWN),
    header_text(Brake.TOLD).words: Brake.TOLD,
}


OPTIONAL: Final[Mapping[str, frozenset[str]]] = {
    Table.SKI: frozenset(
        (
            "kind",
            "waist_mm",
            "construction",
            "mark_offset_mm",
            "mark_from_tail_mm",
            "zone_back_mm",
            "zone_front_mm",
            "zone_half_width_mm",
            "inspected",
            "inspected_on",
            "brake_mm",
            "bsl_mm",
            "mount_date",
            "toe_stands_mm",
            "heel_stands_mm",
            "earlier_mounts",
        )
    ),
    Table.BOOT: frozenset(
        (
            "mondopoint",
            "bsl_mm",
            "bsl_measured",
            "sole_type",
            "kind",
            "wear",
        )
    ),
}
"""Values that a row may come in without: a doubt about one costs that value, and the row is not plannable
for what lacks."""
_DOUBTED: Final = frozenset(
    (
        "bsl_is_shell_size",
        "bsl_far_from_shell",
        "bsl_too_short",
        "duckbill_convention",
        "mark_implausible",
        "zone_off_ski",
        "mounted_before_bought",
        "inspection_without_day",
        "date_half_read",
        "dragged_series",
        "inspected_without_holes",
        "inspected_with_too_few_holes",
        "stands_out_of_travel",
    )
)
"""Doubts about a value that stands in the row: it is not taken while they are open."""
_OF_UNIT: Final = frozenset(("unit_doubtful",))
_OF_DAY_ORDER: Final = frozenset(("ambiguous_date",))
TAG_DOUBTS: Final = frozenset(
    (
        "zeros_lost",
        "tag_is_number",
        "tag_is_power",
        "tag_format",
        "near_tag",
        "tag_is_one_ski",
    )
)
_LEFT_OUT: Final = "left_out_by_answer"
_OF_WORD: Final = frozenset(
    (
        "binding_unknown",
        "pattern_in_doubt",
        "unknown_pair",
        "fit_without_pattern",
        "pattern_unknown",
        "binding_kind_unknown",
    )
)
"""Doubts about what a text means, though it was read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableContext:
    """The things that all rows of a table share: header texts by key, the header's shape, the answers.

    ``from_tail``: its places are counted from the tail.
    """

    headers: Mapping[str, str] = field(default_factory=dict)
    shape: str = ""
    left: int = 1
    answers: Answers = NO_ANSWERS
    from_tail: bool = False


@dataclass(slots=True, kw_only=True)
class Row:
    """One data row: its values in the units of their keys, its cells, and what was remarked about it.

    ``doubted``: keys whose value is not taken while a question about it is open.
    """

    table: Table
    sheet: str
    number: int
    file: str
    values: dict[str, Any]
    cells: dict[str, tuple[int, Cell]]
    findings: list[Finding] = field(default_factory=list)
    left_out: bool = False
    repeat: bool = False
    answer: str = ""
    place: TableContext = field(default_factory=TableContext)
    doubted: set[str] = field(default_factory=set)

    @property
    def tag(self) -> str | None:
        """Return what the row is called by: its tag, pattern, line or name."""
        for key in ("tag", "pair_tag", "wish", "pattern", "model", "name"):
            found = self.values.get(key)
            if found is not None:
                return str(found)
        return None

    @property
    def verdict(self) -> str:
        """``good``, or the worst severity remarked."""
        worst = max((f.severity for f in self.findings), key=lambda s: s.rank, default=None)
        return worst.value if worst else "good"

    @property
    def usable(self) -> bool:
        """Not set aside, and nothing in question or bad but values that it may come in without."""
        if self.left_out:
            return False
        for finding in self.findings:
            if finding.severity is not Severity.NOTE and not finding.keeps_row:
                return False
        return True

    def sure(self, key: str) -> Any:
        """The value of a key; None where it is in doubt."""
        return None if key in self.doubted else self.values.get(key)

    def remark(
        self,
        severity: Severity,
        code: str,
        message: str,
        fix: str,
        *,
        key: str | None = None,
        taken: Any = None,
        guesses: tuple[str, ...] = (),
        question: str = "",
        column: int = 0,
        about: str = "",
    ) -> None:
        """Say something about this row, at the cell of ``key`` where it has one, else in that column.

        ``question``: the id of what settles it, else it follows from code, key (or ``about``) and text.
        """
        raw = about if column else None
        if key is not None and key in self.cells:
            column, raw = self.cells[key][0], self.cells[key][1].text
        keeps = False
        if severity is not Severity.NOTE:
            question = question or self._question(code, key, raw, about)
            keeps = (
                key is not None
                and key in OPTIONAL.get(self.table, ())
                and (code in _DOUBTED or self.values.get(key) is None)
            )
            if keeps and key is not None:
                self.doubted.add(key)
        self.findings.append(
            Finding(
                severity=severity,
                code=code,
                sheet=self.sheet,
                row=self.number,
                column=column_letter(column) if column else None,
                tag=self.tag,
                raw=raw,
                taken=taken,
                message=message,
                fix=fix,
                key=key,
                guesses=guesses,
                question=question,
                keeps_row=keeps,
            )
        )

    def _question(self, code: str, key: str | None, raw: str | None, about: str = "") -> str:
        """The id of the question that settles a doubt of that code."""
        table, place, name = self.table.value, self.place, key or ""
        if code in _OF_UNIT:
            return question_id(About.UNIT, table, name, place.headers.get(name, ""))
        if code in _OF_DAY_ORDER:
            return question_id(About.DAY_ORDER, table, name, place.headers.get(name, ""))
        if code == "duplicate":
            return question_id(About.KEEP, table, str(self.tag))
        if code == "missing_column":
            return question_id(About.ALL, table, name, self.sheet, place.shape)
        if code in TAG_DOUBTS:
            return question_id(About.TAG, table, code, self.sheet, place.shape)
        if key is not None and raw and (code in _OF_WORD or self.values.get(key) is None):
            return question_id(About.WORD, table, key, raw)
        if code == "missing_value":
            return question_id(About.BLANK, table, name, self.sheet, place.shape)
        return question_id(About.CHECK, table, code, about or name, self.sheet)

    @property
    def confirmed(self) -> bool:
        """Return whether somebody answered that the row is right as it stands."""
        return self.answer == RIGHT

    def ask(
        self,
        code: str,
        message: str,
        fix: str,
        *guesses: str,
        key: str | None = None,
        about: str = "",
        column: int = 0,
    ) -> None:
        """A question about this row. One that a person has answered becomes a note.

        ``guesses``: what may be meant, the best first. ``about``: the word in doubt, where one answer holds
        for all rows that say it; ``column``: where it stands, if that is the column of no value.
        """
        if self.confirmed and code in CONFIRMABLE:
            self.note(code, f"{message} (confirmed in the file)", key=key)
            return
        if self.place.answers.by_id and self._settled(code, message, key, about):
            return
        self.remark(
            Severity.QUESTION, code, message, fix, key=key, guesses=guesses, about=about, column=column
        )

    def _settled(self, code: str, message: str, key: str | None, about: str = "") -> bool:
        """Return whether an answer settles the doubt: said as a note, and done."""
        raw = self.cells[key][1].text if key is not None and key in self.cells else None
        identity = self._question(code, key, raw, about)
        answer = self.place.answers.by_id.get(identity)
        if answer is None:
            return False
        if answer.text == RIGHT and code in CONFIRMABLE:
            words = "right"
        elif answer.leaves_out:
            self.left_out, words = True, "the row is left out"
        elif answer.text == NOT_KNOWN and key is not None and key in OPTIONAL.get(self.table, ()):
            self.values[key], words = None, "not known"
        else:
            return False
        self.remark(
            Severity.NOTE,
            "answered",
            f"{message}: {words}, {answer.said_by}",
            "nothing, if that is right",
            key=key,
            question=identity,
        )
        return True

    def note(
        self,
        code: str,
        message: str,
        fix: str = "nothing, if that is right",
        *,
        key: str | None = None,
        taken: Any = None,
    ) -> None:
        """Something taken and said aloud."""
        self.remark(Severity.NOTE, code, message, fix, key=key, taken=taken)


class RowReader:
    """Reads the data rows of one table: units, orders of days and widths of tags are known for the whole."""

    def __init__(
        self,
        table: FoundTable,
        *,
        today: date,
        from_csv: bool,
        kinds: Collection[str] = (),
        answers: Answers = NO_ANSWERS,
    ) -> None:
        self._table = table
        self._place = TableContext(
            headers={c.key: header_text(c.header).words for c in table.columns},
            shape=table.shape,
            from_tail=any(c.from_tail for c in table.columns),
            left=table.left,
            answers=answers,
        )
        self._today = today
        self._from_csv = from_csv
        self._kinds = kinds
        self._memo: dict[tuple[Any, ...], Read] = {}
        self._above: Row | None = None
        self._needed = required_keys(table.table, {c.key for c in table.columns})
        self._padded = padded_width(cells["tag"][1] for _, cells in table.rows if "tag" in cells)
        self._half_read = {
            c.key
            for c in table.columns
            if c.key in FIELDS
            and FIELDS[c.key].holds is Holds.DAY
            and half_read(cells[c.key][1] for _, cells in table.rows if c.key in cells)
        }
        self._units: dict[str, GivenAnswer] = {}
        self._sheet_length = "" if from_csv else _length_of_sheet(table)
        self._turned = {c.key for c in table.columns if c.turned}
        self._readers = [
            (c.key, _field(c), self._unit(c.key, c.unit), self._order(c.key))
            for c in table.columns
            if c.key in FIELDS
        ]

    def column_of(self, key: str) -> int:
        """The number of the column that holds the key; 0 where none does."""
        return next((c.number for c in self._table.columns if c.key == key), 0)

    def _about_column(self, about: About, key: str) -> GivenAnswer | None:
        return self._place.answers.of(about, self._table.table.value, key, self._place.headers.get(key, ""))

    def _unit(self, key: str, stated: str) -> str:
        """The unit of a column as answered, where at least half of its cells need it; else as stated."""
        answer = self._about_column(About.UNIT, key)
        if answer is None or answer.text not in UNITS_MM:
            return stated
        cells = [cells[key][1] for _, cells in self._table.rows if key in cells]
        doubtful = sum(self._read(c, key, FIELDS[key], stated, "").code in _OF_UNIT for c in cells)
        self._memo.clear()
        if doubtful * 2 >= len(cells):
            return answer.text
        self._units[key] = answer
        return stated

    def _order(self, key: str) -> str:
        if FIELDS[key].holds is not Holds.DAY:
            return UNDECIDED
        answer = self._about_column(About.DAY_ORDER, key)
        if answer is not None and answer.text in (DAY_FIRST, MONTH_FIRST):
            return answer.text
        return column_order(cells[key][1] for _, cells in self._table.rows if key in cells)

    def read(self, number: int, cells: dict[str, tuple[int, Cell]]) -> Row:
        """One row: its values, and what is to be said about its cells."""
        table = self._table
        row = Row(
            table=table.table,
            sheet=table.sheet.name,
            number=number,
            file=table.sheet.file,
            values={},
            cells=cells,
            answer=plain_answer(marks_of(table.sheet, number, table.left)[1]),
            place=self._place,
        )
        remarks: list[tuple[str, Read]] = []
        for key, field_, unit, order in self._readers:
            entry = cells.get(key)
            if entry is None:
                row.values[key] = None
                continue
            read = self._read(entry[1], key, field_, unit, order)
            if read.code == "ditto":
                read = self._as_above(entry[1], key, read)
            row.values[key] = read.value
            if read.severity is not None:
                remarks.append((key, read))
        for key, text in table.context.items():
            row.values[key] = self._read(Cell(text), key, FIELDS[key], "", UNDECIDED).value
        for key, read in remarks:
            assert read.severity is not None
            self._remark(row, key, read)
        _look_at_row(row, table)
        self._look_at_half_read(row)
        length_said = row.values.get("length_cm")
        if self._sheet_length and length_said is not None and length_said != int(self._sheet_length):
            row.ask(
                "length_not_sheets",
                f"the ski is {length_said:f} cm long, but the sheet is called {row.sheet!r}",
                "correct the length, or move the row",
                key="length_cm",
            )
        self._ask_missing(row)
        self._above = row
        return row

    def _as_above(self, cell: Cell, key: str, read: Read) -> Read:
        """A mark for *as above* is the value of the row above, said aloud; of a tag it is a doubt."""
        value = self._above.values.get(key) if self._above is not None else None
        if value is None or FIELDS[key].holds is Holds.TAG:
            return read
        return note(value, "ditto_read", f"{cell.text!r} was read as in the row above: {plain(value)}")

    def _remark(self, row: Row, key: str, read: Read) -> None:
        """Say what was remarked about a cell; an answer that leaves its rows out does so."""
        assert read.severity is not None
        if read.code == _LEFT_OUT:
            row.left_out = True
        row.remark(
            read.severity,
            "answered" if read.code == _LEFT_OUT else read.code,
            read.message,
            read.fix,
            key=key,
            taken=read.value,
            guesses=read.guesses,
            question=read.question,
        )

    def _look_at_half_read(self, row: Row) -> None:
        """A real date among texts that the program could not read may have its day and month swapped."""
        for key in self._half_read & row.cells.keys():
            moment = row.cells[key][1].value
            if isinstance(moment, date) and moment.day != moment.month:
                row.ask(
                    "date_half_read",
                    f"{row.cells[key][1].text} may be another day: the spreadsheet read only those dates "
                    "of the column whose day could be a month, and may have swapped the two",
                    "check the day, enter all days of the column like 2024-11-30",
                    key=key,
                )

    def _read(self, cell: Cell, key: str, field_: Field, unit: str, order: str) -> Read:
        """A cell like one read before gives the same; columns repeat themselves a great deal."""
        known = (key, cell.text, cell.content, cell.style, cell.formula)
        read = self._memo.get(known)
        if read is None:
            read = read_cell(cell, key, field_, unit, order, self._today, self._from_csv, self._kinds)
            if key in self._turned and isinstance(read.value, Decimal):
                read = read._replace(value=-read.value)
            if key == "tag" and self._padded:
                read = lost_zeros(read, self._padded)
            if self._place.answers.by_id:
                read = self._as_answered(cell, key, read, unit, order)
            if read.value == KIND_NOT_KNOWN and key == "kind" and self._table.table is not Table.SKI:
                read = NOTHING
            self._memo[known] = read
        return read

    def _as_answered(self, cell: Cell, key: str, read: Read, unit: str, order: str) -> Read:
        """The reading by what was answered about this text, or about tags that look so; else as it is."""
        table, answers = self._table, self._place.answers
        identity = question_id(About.WORD, table.table.value, key, cell.text)
        if key == "tag" and read.code in TAG_DOUBTS:
            of_tags = question_id(About.TAG, table.table.value, read.code, table.sheet.name, table.shape)
            if of_tags in answers.by_id and identity not in answers.by_id:
                said = answers.by_id[of_tags]
                if said.text == PADDED and self._padded:
                    return self._noted(cell, f"{tidy(cell.text):0>{self._padded}}", of_tags, said)
                return self._noted(cell, cell.text if said.text == RIGHT else said.text, of_tags, said)
        answer = answers.by_id.get(identity)
        if answer is None and read.code in _OF_UNIT and key in self._units:
            answer = self._units[key]
            again = read_cell(cell, key, FIELDS[key], answer.text, order, self._today, self._from_csv)
            if again.value is not None:
                return self._noted(cell, again.value, identity, answer)._replace(question="")
        if answer is None or answer.text in UNITS_MM:
            return read
        if answer.leaves_out or answer.text == NOT_KNOWN:
            return self._noted(cell, answer.text, identity, answer)
        again = read_cell(Cell(answer.text), key, FIELDS[key], unit, order, self._today, False, self._kinds)
        if again.severity not in (None, Severity.NOTE):
            return read
        return self._noted(cell, again.value, identity, answer)

    def _noted(self, cell: Cell, value: Any, identity: str, answer: GivenAnswer) -> Read:
        if answer.leaves_out:
            words, code, value = "its row is left out", _LEFT_OUT, None
        elif answer.text == NOT_KNOWN:
            words, code, value = "not known", "answered", None
        else:
            words, code = f"read as {plain(value)!r}", "answered"
        read = note(value, code, f"{cell.text!r}: {words}, {answer.said_by}")
        return read._replace(question=identity)

    def _ask_missing(self, row: Row) -> None:
        """Ask for needed values that are blank, or whose column is not there."""
        table = self._table
        said = {f.column for f in row.findings if f.severity is not Severity.NOTE}
        for column in table.columns:
            key = column.key
            if (
                key not in self._needed
                or row.values.get(key) is not None
                or column_letter(column.number) in said
            ):
                continue
            identity = question_id(About.BLANK, table.table.value, key, table.sheet.name, table.shape)
            if not self._filled(row, key, identity):
                what = FIELDS[key].what
                row.remark(
                    Severity.QUESTION,
                    "missing_value",
                    f"{what} is missing",
                    f"enter {what}",
                    key=key,
                    column=column.number,
                )
        for key in table.missing:
            identity = question_id(About.ALL, table.table.value, key, table.sheet.name, table.shape)
            if not self._filled(row, key, identity):
                row.remark(
                    missing_severity(table.table, key),
                    "missing_column",
                    f"the table has no column for {key}",
                    missing_cure(table.sheet.name, key),
                    key=key,
                )

    def _filled(self, row: Row, key: str, identity: str) -> bool:
        """Return whether an answer fills a needed value that the row does not say."""
        answer = self._place.answers.by_id.get(identity)
        if answer is None:
            return False
        if answer.leaves_out:
            row.left_out = True
        elif answer.text == NOT_KNOWN:
            if key not in OPTIONAL.get(row.table, ()):
                return False
        else:
            read = self._read(Cell(answer.text), key, FIELDS[key], "", UNDECIDED)
            if read.value is None or read.severity not in (None, Severity.NOTE):
                return False
            row.values[key] = read.value
        words = f"{FIELDS[key].what} is {answer.text}" if not answer.leaves_out else "the row is left out"
        row.remark(
            Severity.NOTE,
            "answered",
            f"{words}, {answer.said_by}",
            "nothing, if that is right",
            key=key,
            question=identity,
        )
        return True


def _field(column: MappedColumn) -> Field:
    """Return what the column holds; counted from the tail, it is any place of a ski."""
    field_ = FIELDS[column.key]
    return replace(field_, low=0, high=_LONGEST_SKI_MM) if column.from_tail else field_


_LONGEST_SKI_MM: Final = 2_400
"""No ski of a shop is longer (common practice, no source)."""


def _length_of_sheet(table: FoundTable) -> str:
    """The ski length a sheet's name states, if most of its rows agree; else empty: then it is no length."""
    if table.table is not Table.SKI or "length_cm" in table.context:
        return ""
    stated = context_of_name(table.sheet.name, Table.SKI).get("length_cm", "")
    said = [cells["length_cm"][1].text for _, cells in table.rows if "length_cm" in cells]
    agreeing = sum(tidy(text).removesuffix("cm").strip() == stated for text in said)
    return stated if stated and agreeing * 2 >= len(said) > 0 else ""


def read_cell(
    cell: Cell,
    key: str,
    field_: Field,
    unit: str,
    order: str,
    today: date,
    from_csv: bool,
    kinds: Collection[str] = (),
) -> Read:
    """One cell by what its column holds. Blank text is nothing. ``kinds``: those that the shop has added."""
    if cell.content is Content.TEXT and not tidy(cell.text).strip(" -–—?"):
        if "?" in cell.text:
            return ask(
                "question_mark",
                f"{field_.what} is a question mark",
                f"enter {field_.what}, or leave it blank",
            )
        return NOTHING
    doubt = _no_value(cell, key, field_)
    if doubt is not None:
        return doubt
    if key == "brake_mm" and (words := header_text(cell.text).words) in _BRAKE_WORDS:
        return Read(_BRAKE_WORDS[words])
    if field_.holds is Holds.LENGTH:
        return length(
            cell,
            what=field_.what,
            out_unit=field_.unit,
            header_unit=unit,
            low=Decimal(field_.low),
            high=Decimal(field_.high),
            signed=field_.signed,
        )
    if field_.holds is Holds.TAG:
        return tag(cell._replace(style="csv") if from_csv else cell)
    if field_.holds is Holds.WORD:
        return word(cell, key=key, what=field_.what, more=kinds if key == "kind" else ())
    if field_.holds is Holds.COUNT:
        return count(cell, what=field_.what, high=field_.high)
    if field_.holds is Holds.SHELL:
        return mondopoint(cell, header_unit=unit)
    if field_.holds is Holds.DAY:
        return day(cell, what=field_.what, order=order, today=_horizon(key, today))
    if key == "binding_model" and header_text(cell.text).words in NO_BINDING:
        return note(None, "no_binding", f"{cell.text!r} was read as: no binding")
    if from_csv and cell.text.lstrip().startswith("="):
        return ask(
            "text_is_formula", f"{field_.what} is a formula, {cell.text!r}", "enter its result, or the text"
        )
    return _text(cell, field_)


_NAMED: Final = ("model", "binding_model", "rack", "season", "sole_type")
"""Texts that name something, so that *yes* names nothing."""


def _no_value(cell: Cell, key: str, field_: Field) -> Read | None:
    """Return what a text is that says no value: unknown, as above, or only *yes*; None for others."""
    if cell.content is not Content.TEXT or key in ("answer", "reason", "notes"):
        return None
    text = cell.text
    if field_.holds is Holds.WORD and header_text(text).words in value_words()[key]:
        return None
    if is_ditto(text):
        return ask("ditto", f"{text!r} says *as above*, and nothing stands above", f"enter {field_.what}")
    if field_.holds is Holds.TAG:
        return None
    if says_unknown(text):
        return note(None, "said_unknown", f"{text!r} was read as: not known")
    if key in _NAMED and is_tick(text):
        return ask(
            "only_yes", f"{text!r} says that there is one, not which: {field_.what}", f"enter {field_.what}"
        )
    return None


def _horizon(key: str, today: date) -> date:
    """A signature may count until a day to come; nothing else may have happened then."""
    return date(today.year + 20, 12, 31) if key == "valid_until" else today


def _text(cell: Cell, field_: Field) -> Read:
    stopped = unreadable(cell, field_.what)
    if stopped is not None:
        return stopped
    if cell.content is Content.DATE:
        return ask(
            "text_is_date", f"the spreadsheet made a date of {field_.what} ({cell.text})", "enter it as text"
        )
    if cell.content is Content.TRUTH:
        return ask("text_is_truth", f"{field_.what} is {cell.text}", "enter it as text")
    text = tidy_words(unguarded(cell.text))
    if not text:
        return NOTHING
    if len(text) > 500:
        return ask("text_too_long", f"{field_.what} has {len(text)} characters", "shorten it")
    if text != " ".join(unguarded(cell.text).split()):
        return note(text, "text_cleaned", f"invisible or odd characters were taken out of {text!r}")
    return Read(text)


def _look_at_row(row: Row, table: FoundTable) -> None:
    """Ask about what the sheet does to the row: hidden, ragged, filled from a merged cell."""
    before = marks_of(table.sheet, row.number, table.left)[0]
    if row.number in table.sheet.hidden_rows or "[hidden_row]" in before:
        row.ask(
            "hidden_row",
            "the row is hidden, by hand or by a filter",
            "show the row if it counts, or delete it",
        )
    if row.number in table.sheet.struck_rows or "[struck_row]" in before:
        row.ask(
            "struck_row",
            "cells of the row are struck through: is it still there?",
            "undo the striking if the row counts, or delete it",
        )
    if row.number in table.sheet.comments:
        row.note("comment", f"a comment on the row says {table.sheet.comments[row.number][:120]!r}")
    for code in ("ragged_row", "tag_is_power", "tag_is_formula", "text_is_formula"):
        if f"[{code}]" in before and not row.answer:
            row.ask(code, "asked in the marked copy and not answered yet", "answer it, or write ok")
    if row.number in table.ragged:
        row.ask(
            "ragged_row",
            "the row has more cells than the header: its values may stand in the wrong columns",
            "put quotes around a text with the separator in it",
        )
    merged = [key for key, (_, cell) in row.cells.items() if cell.merged]
    if merged:
        row.note("merged_filled", f"{', '.join(merged)} filled in from a merged cell above", key=merged[0])
