"""Rows to values: every cell of a row read by what its column holds, with the answers given about it."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any, Final

from fleet.facts.columns import Field, Holds
from fleet.facts.kinds import KIND_NOT_KNOWN
from imports.answers import (
    LEAVE_OUT,
    NO_ANSWERS,
    NOT_KNOWN,
    OF_COLUMN,
    PADDED,
    RIGHT,
    About,
    Answers,
    GivenAnswer,
    plain_answer,
    question_id,
)
from imports.cell_values import TagForms, lost_zeros, padded_width, read_cell, tag_forms, written
from imports.cells import Cell, Content, column_letter
from imports.days import DAY_FIRST, MONTH_FIRST, UNDECIDED, column_order, half_read
from imports.findings import FINE, Severity, plain
from imports.header_match import MappedColumn, header_text, required_keys
from imports.header_rows import context_of_name
from imports.headers import FIELDS, Table
from imports.quantities import NOTHING, UNITS_MM, Read, half_size, note, tidy
from imports.rows import OPTIONAL, TAG_DOUBTS, UNIT_DOUBT, FoundTable, Row, TableContext
from imports.sheet_prepared import marks_of
from imports.table_findings import missing_cure, missing_severity

_LEFT_OUT: Final = "left_out_by_answer"


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
            turned=frozenset(c.key for c in table.columns if c.turned),
            left=table.left,
            answers=answers,
        )
        self._today = today
        self._from_csv = from_csv
        self._kinds = kinds
        self._memo: dict[tuple[Any, ...], Read] = {}
        self._above: Row | None = None
        self._missing = table.missing
        self._needed = set(required_keys(table.table, {c.key for c in table.columns}))
        if any(c.place is not None for c in table.columns):
            self._needed -= {"y_mm"}  # asked by the holes of a piece
        self._padded = padded_width(self._cells("tag"))
        self._forms: dict[str, TagForms] = {}
        self._half_read = {
            c.key
            for c in table.columns
            if c.key in FIELDS and FIELDS[c.key].holds is Holds.DAY and half_read(self._cells(c.key))
        }
        self._units: dict[str, GivenAnswer] = {}
        self._sheet_length = "" if from_csv else _length_of_sheet(table, self._cells("length_cm"))
        self._factors = {
            c.key: Decimal(-1 if c.turned else 1) * (Decimal("0.5") if c.halved else 1)
            for c in table.columns
            if c.turned or c.halved
        }
        self._readers = [
            (c.key, _field(c), self._unit(c.key, c.unit), self._order(c.key))
            for c in table.columns
            if c.key in FIELDS
        ]

    def column_of(self, key: str) -> int:
        """The number of the column that holds the key; 0 where none does."""
        return next((c.number for c in self._table.columns if c.key == key), 0)

    def _cells(self, key: str) -> list[Cell]:
        number = self.column_of(key)
        return [cells[number] for _, cells in self._table.raw if number in cells]

    def _about_column(self, about: About, key: str) -> GivenAnswer | None:
        return self._place.answers.of(about, self._table.table.value, key, self._place.headers.get(key, ""))

    def _unit(self, key: str, stated: str) -> str:
        """The unit of a column as answered, where at least half of its cells need it; else as stated."""
        answer = self._about_column(About.UNIT, key)
        if answer is None or answer.text not in UNITS_MM:
            return stated
        cells = self._cells(key)
        doubtful = sum(self._read(c, key, FIELDS[key], stated, "").code == UNIT_DOUBT for c in cells)
        self._memo.clear()
        if doubtful * 2 >= len(cells) or (key in ("x_mm", "y_mm") and not doubtful):
            return answer.text
        self._units[key] = answer
        return stated

    def _order(self, key: str) -> str:
        if FIELDS[key].holds is not Holds.DAY:
            return UNDECIDED
        answer = self._about_column(About.DAY_ORDER, key)
        if answer is not None and answer.text in (DAY_FIRST, MONTH_FIRST):
            return answer.text
        return column_order(self._cells(key))

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
        if read.code == _LEFT_OUT:
            row.left_out = True
        row.remark(
            read.severity or Severity.NOTE,
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
            if key in self._factors and isinstance(read.value, Decimal):
                read = read._replace(value=_to_um(read.value * self._factors[key]))
            if key == "tag" and self._padded:
                read = lost_zeros(read, self._padded)
            if read.code == "tag_is_date":
                read = self._tag_forms(key).asked(read, cell)
            if self._place.answers.by_id:
                read = self._as_answered(cell, key, read, unit, order)
            if read.value == KIND_NOT_KNOWN and key == "kind" and self._table.table is not Table.SKI:
                read = NOTHING
            self._memo[known] = read
        return read

    def _tag_forms(self, key: str) -> TagForms:
        if key not in self._forms:
            self._forms[key] = tag_forms(self._cells(key))
        return self._forms[key]

    def _as_answered(self, cell: Cell, key: str, read: Read, unit: str, order: str) -> Read:
        """The reading by what was answered about this text, or about tags that look so; else as it is."""
        table, answers = self._table, self._place.answers
        identity = question_id(About.WORD, table.table.value, key, cell.text)
        if FIELDS[key].holds is Holds.TAG and read.code in TAG_DOUBTS:
            of_tags = question_id(
                About.TAG, table.table.value, read.code, table.sheet.name, self._place.shape
            )
            if of_tags in answers.by_id and identity not in answers.by_id:
                said = answers.by_id[of_tags]
                if said.text == PADDED and self._padded:
                    return self._noted(cell, f"{tidy(cell.text):0>{self._padded}}", of_tags, said)
                if read.code == "tag_is_date" and said.text not in (RIGHT, LEAVE_OUT):
                    tag = written(cell, said.text, self._tag_forms(key).digits)
                    return read if tag is None else self._noted(cell, tag, of_tags, said)
                if cell.content is Content.DATE and said.text == RIGHT:
                    return read  # a day is no tag
                return self._noted(cell, cell.text if said.text == RIGHT else said.text, of_tags, said)
        answer = answers.by_id.get(identity)
        if answer is None and read.code == UNIT_DOUBT and key in self._units:
            answer = self._units[key]
            again = read_cell(cell, key, FIELDS[key], answer.text, order, self._today, self._from_csv)
            if again.value is not None:
                return self._noted(cell, again.value, identity, answer)._replace(question="")
        if answer is None and read.code in OF_COLUMN:
            identity = question_id(About.CHECK, table.table.value, read.code, key, table.sheet.name)
            answer = answers.by_id.get(identity)
        if answer is None or answer.text in UNITS_MM:
            return read
        if answer.text == NOT_KNOWN and key == "binding_model":
            return self._noted(cell, answer.text, identity, answer)._replace(code="said_unknown")
        if answer.leaves_out or answer.text == NOT_KNOWN:
            return self._noted(cell, answer.text, identity, answer)
        text = half_size(cell, answer.text) if read.code == "half_sizes" else answer.text
        again = read_cell(Cell(text), key, FIELDS[key], unit, order, self._today, False, self._kinds)
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
            identity = question_id(About.BLANK, table.table.value, key, table.sheet.name, self._place.shape)
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
        for key in self._missing:
            identity = question_id(About.ALL, table.table.value, key, table.sheet.name, self._place.shape)
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
        answer = row.answer_to(identity)
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
            FINE,
            key=key,
            question=identity,
        )
        return True


def _to_um(mm: Decimal) -> Decimal:
    """Half of a width that itself is whole micrometres may not be."""
    return mm.quantize(Decimal("0.001")) if mm != mm.quantize(Decimal("0.001")) else mm


def _field(column: MappedColumn) -> Field:
    """Return what the column holds; counted from the tail, it is any place of a ski."""
    field_, place = FIELDS[column.key], column.place
    if place is not None and place.across and not place.explicit:
        what = place.words if column.halved else field_.what
        high = 2 * field_.high if column.halved else field_.high
        return replace(field_, what=what, low=0, high=high, signed=False)
    if place is not None and not place.across and (column.of or not (place.plus_said or place.explicit)):
        return replace(field_, what=place.words, low=-_LONGEST_SKI_MM, high=_LONGEST_SKI_MM)
    return replace(field_, low=0, high=_LONGEST_SKI_MM) if column.from_tail else field_


_LONGEST_SKI_MM: Final = 2_400
"""No ski of a shop is longer (common practice, no source)."""


def _length_of_sheet(table: FoundTable, said: Sequence[Cell]) -> str:
    """The ski length a sheet's name states, if most of its rows agree; else empty: then it is no length."""
    if table.table is not Table.SKI or "length_cm" in table.context:
        return ""
    stated = context_of_name(table.sheet.name, Table.SKI).get("length_cm", "")
    agreeing = sum(tidy(cell.text).removesuffix("cm").strip() == stated for cell in said)
    return stated if stated and agreeing * 2 >= len(said) > 0 else ""


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
