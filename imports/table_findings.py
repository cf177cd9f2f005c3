"""Findings about a whole sheet, table or column, each with its cure."""

from collections.abc import Collection, Mapping, Sequence
from itertools import groupby
from typing import Final

from fleet.base.units import counted, first_of
from imports.answers import LEAVE_OUT, About, question_id
from imports.cells import Sheet, column_letter
from imports.findings import FINE, Finding, Severity
from imports.header_match import MappedColumn, header_text, nearest_key
from imports.header_rows import NAME_KEYS, hinted
from imports.headers import Table

_MAY_BE = (Table.SKI, Table.BOOT, Table.HOLE, Table.BINDING, Table.WANTED)
"""The things that the rows of a sheet may be whose header nobody knows."""
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
        FINE,
    ),
    "hidden_column": (Severity.NOTE, "the column {header!r} is hidden; it was read as {means}", FINE),
    "length_behind": (
        Severity.NOTE,
        "the column {header!r} holds the model and behind it the length: it was read as both",
        FINE,
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
        FINE,
    ),
    "lines_named": (
        Severity.NOTE,
        "its lines have no names: each is called by the sheet and its row, such as '{sheet} {first}'",
        FINE,
    ),
    "either_side": (Severity.NOTE, "in {rows} ± says a hole on either side of the middle line", FINE),
    "value_from_sheet_name": (
        Severity.NOTE,
        "{key} is {value} for {rows} of {sheet!r}: its name says so, or you do",
        FINE,
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
    "no_table": (Severity.NOTE, "the sheet {sheet!r} holds no table and is left out", FINE),
    "answered": (Severity.NOTE, "{sheet}: {words}", FINE),
    "duplicate_column": (
        Severity.QUESTION,
        "two columns mean {key}: {first!r} in {there} and {header!r} in {here}",
        "rename or remove the one that does not count",
    ),
    "unknown_column": (
        Severity.NOTE,
        "the column {header!r} is not known and is left out",
        '--column "{header}=KEY", if it holds one of our values',
    ),
    "unknown_column near": (
        Severity.QUESTION,
        "the column {header!r} is not known; did you mean {near}?",
        '--column "{header}={near}", or --column "{header}=" to leave it out',
    ),
    "section_titles": (
        Severity.NOTE,
        "the titles {titles} {taken}",
        '--column "section titles=KEY", if they are another',
    ),
    "answered titles": (
        Severity.NOTE,
        "the titles {titles} {taken}",
        '--column "section titles=KEY", if they are another',
    ),
    "missing_column": (
        Severity.QUESTION,
        "the table of {table} rows has no column for {key}",
        'add it, name it with --column "HEADER={key}", or say it for all rows:'
        ' --all-rows "{sheet}:{key}=VALUE"',
    ),
    "column_without_header": (
        Severity.NOTE,
        "column {here} has no header; {cells} left out",
        "give it a header, if it holds one of our values",
    ),
    "column_without_header more": (
        Severity.NOTE,
        "{count} more columns without a header are left out",
        FINE,
    ),
    "mixed_list": (
        Severity.NOTE,
        "one list for several kinds of equipment, split by {columns}: {counts} row(s)",
        FINE,
    ),
    "item_unknown": (
        Severity.QUESTION,
        "{said} under {header!r}: is it a ski, a boot or a binding?",
        "say what it is, or leave the row out",
    ),
    "answered item": (
        Severity.NOTE,
        "{said} under {header!r}: is it a ski, a boot or a binding? {answer}",
        FINE,
    ),
    "no_header": (
        Severity.BAD,
        "no header row was recognised on the sheet {sheet!r} ({count} rows)",
        "say what its rows are, and each column is asked about; or leave the sheet out",
    ),
    "rows_before_header": (Severity.NOTE, "{rows} before the header, not read as data: {where}", FINE),
    "rows_before_header data": (
        Severity.QUESTION,
        "{rows} before the header may be data: {where}",
        "give them a header of their own, or remove them",
    ),
    "rows_skipped": (
        Severity.NOTE,
        "{rows} of repeated headers, totals or remarks, not read as data: {where}",
        FINE,
    ),
    "other_equipment": (
        Severity.NOTE,
        "{rows} for equipment that is neither ski, boot nor binding, not read as data: {where}",
        FINE,
    ),
}
"""Severity, sentence and cure of each code. Behind a blank: another finding of that code."""


class TableRemarks:
    """Adds findings about one sheet to a list."""

    def __init__(self, sheet: Sheet, findings: list[Finding]) -> None:
        self._sheet = sheet
        self._findings = findings

    def say(
        self,
        code: str,
        row: int | None = None,
        column: MappedColumn | None = None,
        *,
        severity: Severity | None = None,
        number: int = 0,
        raw: str | None = None,
        question: str = "",
        guesses: tuple[str, ...] = (),
        key: str | None = None,
        **words: object,
    ) -> None:
        """Add a finding of the table of sentences. ``words``: what its sentence names beside the column.

        ``number``, ``raw``: the column and its text, where it is no column of the table.
        """
        usual, message, fix = _SAYS[code]
        words = {"sheet": self._sheet.name, "key": key, "header": one_line(raw or "")} | words
        if column is not None:
            number, raw = column.number, column.header
            words |= {"header": one_line(column.header), "means": column.key, "near": column.near}
        letter = column_letter(number) if number else None
        self._findings.append(
            Finding(
                severity=severity or usual,
                code=code.partition(" ")[0],
                sheet=self._sheet.name,
                row=row,
                column=letter,
                raw=raw,
                message=message.format(here=letter, **words),
                fix=fix.format(**words),
                key=key,
                guesses=guesses,
                question=question,
            )
        )

    def answered(self, row: int, words: str, shape: str) -> None:
        """The answer: about the whole table."""
        self.say("answered", row, question=question_id(About.TABLE, self._sheet.name, shape), words=words)

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
        near = best or nearest_key(text, table)
        if near in taken:
            near = None
        near = near or (guesses[0] if guesses else None)
        if near is None:
            self.say("unknown_column", row, number=number, raw=text)
            return
        asked = question_id(About.COLUMN, table.value, header_text(text).words)
        offered = tuple(dict.fromkeys((near, *guesses, LEAVE_OUT)))
        self.say(
            "unknown_column near", row, number=number, raw=text, question=asked, guesses=offered, near=near
        )

    def by_values(self, row: int, column: MappedColumn) -> None:
        """A header of two meanings, decided by the values beneath it, instead of what was said of it."""
        self.forget(row, column.number)
        self.say("header_by_values", row, column)

    def sections(self, row: int, titles: Sequence[str], key: str, question: str) -> None:
        """The titles between the rows, taken for a column."""
        taken = f"were read as {key} of the rows under them" if key else "are no value of the rows under them"
        code = "answered titles" if question else "section_titles"
        self.say(code, row, question=question, titles=some_titles(titles), taken=taken)

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

    def headless_columns(self, row: int, counts: Mapping[int, int]) -> None:
        """Cells in columns without a header."""
        for column, count in list(counts.items())[:_SHOWN]:
            self.say("column_without_header", row, number=column, cells=counted(count, "filled cell"))
        if len(counts) > _SHOWN:
            self.say("column_without_header more", row, count=len(counts) - _SHOWN)

    def no_header(self, row: int) -> None:
        """Data, but no header."""
        likely = sorted(_MAY_BE, key=lambda table: not hinted(self._sheet.name, table))
        self.say(
            "no_header",
            row,
            question=question_id(About.TABLE, self._sheet.name, ""),
            guesses=tuple(table.value for table in likely),
            count=len(self._sheet.rows),
        )

    def not_a_table(self, row: int) -> None:
        """Take back what was said of a row that was taken for a header, and ask as of data without one."""
        self._findings[:] = [f for f in self._findings if f.row != row]
        self.no_header(row)

    def rows(self, code: str, rows: Sequence[int], question: str = "") -> None:
        """Rows that are no data, or may be some, by number."""
        first = next((cell.text for _, cell in sorted(self._sheet.rows[rows[0]].items())), "")
        said = counted(len(rows), "row")
        where = ("row " if len(rows) == 1 else "rows ") + number_ranges(rows)
        self.say(code, rows[0], raw=first, question=question, rows=said, where=where)


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
    return _SAYS["missing_column"][2].format(sheet=sheet, key=key)


def one_line(text: str) -> str:
    """A header as one line."""
    return " ".join(text.split())


def number_ranges(numbers: Collection[int]) -> str:
    """``[3, 4, 5, 9]`` -> ``3-5, 9``."""
    runs = groupby(enumerate(sorted(set(numbers))), lambda at: at[1] - at[0])
    ends = ([number for _, number in run] for _, run in runs)
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in ends)
