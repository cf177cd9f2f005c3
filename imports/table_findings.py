"""Findings about a whole sheet, table or column, each with its cure."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Final

from fleet.base.units import counted, first_of
from imports.answers import LEAVE_OUT, About, GivenAnswer, question_id
from imports.cells import Sheet, column_letter
from imports.findings import Finding, Severity
from imports.header_match import MappedColumn, header_text, nearest_key
from imports.header_rows import NAME_KEYS, hinted
from imports.header_says import by_letter
from imports.headers import EQUIPMENT, Table

_MAY_BE = (Table.SKI, Table.BOOT, Table.HOLE, Table.BINDING, Table.WANTED)
"""The things that the rows of a sheet may be whose header nobody knows."""
_FINE = "nothing, if that is right"
_SHOWN = 5
_SAYS: Final[Mapping[str, tuple[Severity, str, str]]] = {
    "header_near": (
        Severity.NOTE,
        "the column {header!r} was read as {means}: its header is nearly {near!r}, and its values fit",
        '--column "{header}=KEY", if it is another',
    ),
    "header_by_values": (
        Severity.NOTE,
        "the column {header!r} was read as {means}: its values say so",
        '--column "{header}=KEY", if it is another',
    ),
    "header_convention": (
        Severity.NOTE,
        "the column {header!r} counts {how}: its numbers are turned to ours",
        _FINE,
    ),
    "hidden_column": (Severity.NOTE, "the column {header!r} is hidden; it was read as {means}", _FINE),
    "length_behind": (
        Severity.NOTE,
        "the column {header!r} holds the model and behind it the length: it was read as both",
        _FINE,
    ),
    "status_ignored": (
        Severity.NOTE,
        "a status column clears no pair and moves none that is known; only a new pair comes along held,"
        " in quarantine or away, where it says so in our words",
        "use the commands of the counter",
    ),
    "left_is_a": (
        Severity.NOTE,
        "the left ski was taken as ski A and the right one as ski B: name them so on the skis",
        _FINE,
    ),
    "lines_named": (
        Severity.NOTE,
        "its lines have no names: each is called by the sheet and its row, such as '{sheet} {first}'",
        _FINE,
    ),
    "either_side": (Severity.NOTE, "in {rows} ± says a hole on either side of the middle line", _FINE),
    "value_from_sheet_name": (
        Severity.NOTE,
        "{key} is {value} for {rows} of {sheet!r}: its name says so, or you do",
        _FINE,
    ),
    "section_titles_unknown": (
        Severity.QUESTION,
        "titles stand over the rows, {titles}, and no column says {missing}: what do they say?",
        '--column "section titles={first}", or --column "section titles=" to leave them out',
    ),
    "table_in_doubt": (
        Severity.QUESTION,
        "nothing on the sheet {sheet!r} says whether its rows are skis or boots",
        "name the sheet Skis or Boots, or add a column that tells (length_cm, mondopoint)",
    ),
    "too_many_columns": (
        Severity.BAD,
        "the header has {count} columns; the limit is {limit}",
        "save the columns that matter as a new sheet",
    ),
    "transposed": (
        Severity.BAD,
        "the sheet {sheet!r} has its headers down a column: it is transposed",
        "turn it (copy, paste transposed), so that each ski or boot is one row",
    ),
    "no_table": (Severity.NOTE, "the sheet {sheet!r} holds no table and is left out", _FINE),
}
"""The finding of each code, as its severity, its sentence and its cure."""


class TableRemarks:
    """Adds findings about one sheet to a list."""

    def __init__(self, sheet: Sheet, findings: list[Finding]) -> None:
        self._sheet = sheet
        self._findings = findings

    def _add(
        self,
        severity: Severity,
        code: str,
        message: str,
        fix: str,
        *,
        row: int | None = None,
        column: int | None = None,
        raw: str | None = None,
        question: str = "",
        guesses: tuple[str, ...] = (),
        key: str | None = None,
    ) -> None:
        self._findings.append(
            Finding(
                question=question,
                guesses=guesses,
                key=key,
                severity=severity,
                code=code,
                sheet=self._sheet.name,
                row=row,
                column=None if column is None else column_letter(column),
                raw=raw,
                message=message,
                fix=fix,
            )
        )

    def say(
        self,
        code: str,
        row: int | None = None,
        column: MappedColumn | None = None,
        *,
        question: str = "",
        guesses: tuple[str, ...] = (),
        key: str | None = None,
        **words: object,
    ) -> None:
        """Add a finding of the table of sentences. ``words``: what its sentence names beside the column."""
        severity, message, fix = _SAYS[code]
        words |= {"sheet": self._sheet.name, "key": key}
        if column is not None:
            words |= {"header": one_line(column.header), "means": column.key, "near": column.near}
        self._add(
            severity,
            code,
            message.format(**words),
            fix.format(**words),
            row=row,
            column=column.number if column else None,
            raw=column.header if column else None,
            question=question,
            guesses=guesses,
            key=key,
        )

    def answered(self, row: int, words: str, shape: str) -> None:
        """The answer: about the whole table."""
        self._add(
            Severity.NOTE,
            "answered",
            f"{self._sheet.name}: {words}",
            _FINE,
            row=row,
            question=question_id(About.TABLE, self._sheet.name, shape),
        )

    def duplicate_column(self, row: int, column: MappedColumn, first: MappedColumn, table: Table) -> None:
        """Two columns that mean the same value."""
        self._add(
            Severity.QUESTION,
            "duplicate_column",
            f"two columns mean {column.key}: {one_line(first.header)!r} in {column_letter(first.number)} and "
            f"{one_line(column.header)!r} in {column_letter(column.number)}",
            "rename or remove the one that does not count",
            row=row,
            column=column.number,
            raw=column.header,
            key=column.key,
            question=twice_id(table, first, column),
            guesses=(column_letter(first.number), column_letter(column.number)),
        )

    def unknown_column(
        self,
        row: int,
        number: int,
        text: str,
        table: Table,
        taken: Collection[str],
        guesses: tuple[str, ...] = (),
        best: str = "",
    ) -> None:
        """A header nobody knows: left out with a note, or asked if it comes near a known one.

        ``guesses``: keys that its values look like; then it is asked too. ``best``: the likeliest of them,
        whatever the header is like.
        """
        header = one_line(text)
        near = best or nearest_key(text, table)
        if near in taken:
            near = None
        near = near or (guesses[0] if guesses else None)
        if near is not None:
            more = tuple(key for key in guesses if key != near)
            self._add(
                Severity.QUESTION,
                "unknown_column",
                f"the column {header!r} is not known; did you mean {near}?",
                f'--column "{header}={near}", or --column "{header}=" to leave it out',
                row=row,
                column=number,
                raw=text,
                question=question_id(About.COLUMN, table.value, header_text(text).words),
                guesses=(near, *more, LEAVE_OUT),
            )
            return
        self._add(
            Severity.NOTE,
            "unknown_column",
            f"the column {header!r} is not known and is left out",
            f'--column "{header}=KEY", if it holds one of our values',
            row=row,
            column=number,
            raw=text,
        )

    def by_values(self, row: int, column: MappedColumn) -> None:
        """A header of two meanings, decided by the values beneath it, instead of what was said of it."""
        self.forget(row, column.number)
        self.say("header_by_values", row, column)

    def sections(self, row: int, titles: Sequence[str], key: str, question: str) -> None:
        """The titles between the rows, taken for a column."""
        words = f"were read as {key} of the rows under them" if key else "are no value of the rows under them"
        self._add(
            Severity.NOTE,
            "answered" if question else "section_titles",
            f"the titles {some_titles(titles)} {words}",
            '--column "section titles=KEY", if they are another',
            row=row,
            question=question,
        )

    def may_hold(
        self, row: int, number: int, text: str, table: Table, keys: Sequence[str], best: str = ""
    ) -> None:
        """A header nobody knows over values that look like ours: asked, instead of what was noted of it."""
        self.forget(row, number)
        self.unknown_column(row, number, text, table, (), guesses=tuple(keys), best=best)

    def forget(self, row: int, number: int) -> None:
        """Take back what was said of a header, of which its values say more."""
        letter = column_letter(number)
        self._findings[:] = [
            f
            for f in self._findings
            if not (f.code in ("unknown_column", "duplicate_column") and f.row == row and f.column == letter)
        ]

    def missing_column(self, row: int, table: Table, key: str, shape: str) -> None:
        """A column without which no row can be understood (the name of the thing), or none be stored."""
        self._add(
            missing_severity(table, key),
            "missing_column",
            f"the table of {table.value} rows has no column for {key}",
            missing_cure(self._sheet.name, key),
            row=row,
            key=key,
            question=question_id(About.ALL, table.value, key, self._sheet.name, shape),
        )

    def headless_columns(self, row: int, counts: Mapping[int, int]) -> None:
        """Cells in columns without a header."""
        for column, count in list(counts.items())[:_SHOWN]:
            self._add(
                Severity.NOTE,
                "column_without_header",
                f"column {column_letter(column)} has no header; {counted(count, 'filled cell')} left out",
                "give it a header, if it holds one of our values",
                row=row,
                column=column,
            )
        if len(counts) > _SHOWN:
            self._add(
                Severity.NOTE,
                "column_without_header",
                f"{len(counts) - _SHOWN} more columns without a header are left out",
                _FINE,
                row=row,
            )

    def sides_by_letter(self, row: int, columns: Sequence[MappedColumn]) -> None:
        """Headers that say left and right ski: the ledger's skis are A and B."""
        said = next((c for c in columns if by_letter(words := header_text(c.header).words) != words), None)
        if said is not None:
            self.say("left_is_a", row, said)

    def mixed_list(
        self,
        row: int,
        columns: Sequence[int],
        headers: Mapping[int, str],
        counts: Mapping[Table, int],
        strangers: list[int],
    ) -> None:
        """A list of several kinds of equipment was split."""
        said = ", ".join(f"{count} {table.value}" for table, count in counts.items())
        self._add(
            Severity.NOTE,
            "mixed_list",
            "one list for several kinds of equipment, split by"
            f" {' and '.join(repr(one_line(headers[column])) for column in columns)}: {said} row(s)",
            _FINE,
            row=row,
            column=columns[0],
            raw=headers[columns[0]],
        )
        if strangers:
            self.rows_skipped(
                "other_equipment", "for equipment that is neither ski, boot nor binding", strangers
            )

    def item_unknown(
        self, row: int, column: int, header: str, text: str, identity: str, answer: GivenAnswer | None
    ) -> None:
        """A row of a list of several kinds of equipment that does not say of which it is, or its answer."""
        said = f"{one_line(text)!r}" if text else "nothing"
        self._add(
            Severity.QUESTION if answer is None else Severity.NOTE,
            "item_unknown" if answer is None else "answered",
            f"{said} under {one_line(header)!r}: is it a ski, a boot or a binding?"
            + ("" if answer is None else f" {answer.text}, {answer.said_by}"),
            "say what it is, or leave the row out" if answer is None else _FINE,
            row=row,
            column=column,
            raw=text,
            question=identity,
            guesses=(*(table.value for table in EQUIPMENT), LEAVE_OUT),
        )

    def no_header(self, row: int) -> None:
        """Data, but no header."""
        self._add(
            Severity.BAD,
            "no_header",
            f"no header row was recognised on the sheet {self._sheet.name!r} ({len(self._sheet.rows)} rows)",
            "say what its rows are, and each column is asked about; or leave the sheet out",
            row=row,
            question=question_id(About.TABLE, self._sheet.name, ""),
            guesses=tuple(
                table.value
                for table in sorted(_MAY_BE, key=lambda table: not hinted(self._sheet.name, table))
            ),
        )

    def not_a_table(self, row: int) -> None:
        """Take back what was said of a row that was taken for a header, and ask as of data without one."""
        self._findings[:] = [f for f in self._findings if f.row != row]
        self.no_header(row)

    def rows_above(self, rows: list[int]) -> None:
        """Rows that look like data, above the first header."""
        self._add(
            Severity.QUESTION,
            "rows_before_header",
            f"{counted(len(rows), 'row')} before the header may be data: {number_ranges(rows)}",
            "give them a header of their own, or remove them",
            row=rows[0],
            raw=self._first_text(rows[0]),
            question=question_id(About.CHECK, "", "rows_before_header", "", self._sheet.name),
        )

    def rows_skipped(self, code: str, what: str, rows: list[int]) -> None:
        """Rows that are no data, by number."""
        self._add(
            Severity.NOTE,
            code,
            f"{counted(len(rows), 'row')} {what}, no data: {number_ranges(rows)}",
            _FINE,
            row=rows[0],
            raw=self._first_text(rows[0]),
        )

    def _first_text(self, number: int) -> str:
        return next((cell.text for _, cell in sorted(self._sheet.rows[number].items())), "")


def some_titles(titles: Sequence[str]) -> str:
    """The first titles, each on one line."""
    return first_of([repr(one_line(title)) for title in titles], _SHOWN)


def twice_id(table: Table, first: MappedColumn, second: MappedColumn) -> str:
    """The question which of two columns counts."""
    both = "+".join(header_text(column.header).words for column in (first, second))
    return question_id(About.TWICE, table.value, first.key, both)


def missing_severity(table: Table, key: str) -> Severity:
    """Bad where the row has no name or no place without it; else a question that one answer settles."""
    return Severity.BAD if key in NAME_KEYS.get(table, (key,)) else Severity.QUESTION


def missing_cure(sheet: str, key: str) -> str:
    """Return how to supply a missing column."""
    return (
        f'add it, name it with --column "HEADER={key}", '
        f'or say it for all rows: --all-rows "{sheet}:{key}=VALUE"'
    )


def one_line(text: str) -> str:
    """A header as one line."""
    return " ".join(text.split())


def number_ranges(numbers: Collection[int]) -> str:
    """``[3, 4, 5, 9]`` -> ``3-5, 9``."""
    runs = list(_runs(numbers))
    return ", ".join(f"{a}" if a == b else f"{a}-{b}" for a, b in runs)


def _runs(numbers: Collection[int]) -> Iterator[tuple[int, int]]:
    ordered = sorted(numbers)
    start = last = ordered[0]
    for n in ordered[1:]:
        if n != last + 1:
            yield start, last
            start = n
        last = n
    yield start, last
