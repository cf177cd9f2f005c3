"""The tables found in a sheet, and a row of them: its values, and what was remarked; nothing is thrown."""

import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from fleet.facts.holes import Side
from imports.answers import (
    NO_ANSWERS,
    NOT_KNOWN,
    OF_COLUMN,
    RIGHT,
    About,
    Answers,
    GivenAnswer,
    is_of_rows,
    of_one_value,
    question_id,
    shape,
)
from imports.cells import Cell, Sheet, column_letter
from imports.findings import FINE, Finding, Severity
from imports.header_match import MappedColumn, header_text, required_keys
from imports.headers import Table
from imports.quantities import tidy

FAR_RIGHT: Final = 10**6
"""The last column of a table that has none to its right."""
ABOVE: Final = 2
"""So many rows above its header a table's first title may stand."""
DataRow = tuple[int, dict[str, tuple[int, Cell]]]


_RANGE: Final = re.compile(
    r"(?P<low>\d+(?:[.,]\d+)?) ?(?:cm)? ?(?:-|–|—|〜|~|to|bis|à|a|al|do|til|till) ?"
    r"(?P<high>\d+(?:[.,]\d+)?) ?(?:cm)?"
)


def range_end(cell: Cell, end: str) -> Cell:
    """The low or the high end of a range in a cell; a cell without one is both."""
    found = _RANGE.fullmatch(tidy(cell.text).casefold()) if end else None
    return cell if found is None else Cell(found[end])


@dataclass(slots=True, kw_only=True)
class FoundTable:
    """One table: its columns, and what stands in its data rows by row and column number.

    ``header_row`` is the last row of the header, ``header_first`` the first.
    ``context`` holds values that the sheet's name says for the whole table, ``of_holes`` those of all holes
    in the rows of a list of skis; ``ragged`` the rows with more cells than headers; ``titles`` lone texts
    between its rows, where other tables stand beside it. ``told``: an answer, or a column of its rows, says
    what they are. ``needs``: what its rows must say, where that is not what all of their kind must.
    """

    table: Table
    sheet: Sheet
    header_row: int
    header_first: int
    columns: tuple[MappedColumn, ...]
    headers: Mapping[int, str]
    raw: list[tuple[int, Mapping[int, Cell]]] = field(default_factory=list)
    needs: tuple[str, ...] | None = None
    of_holes: Mapping[str, str] = field(default_factory=dict)
    context: Mapping[str, str] = field(default_factory=dict)
    ragged: set[int] = field(default_factory=set)
    titles: dict[int, str] = field(default_factory=dict)
    told: bool = False
    left: int = 1
    right: int = FAR_RIGHT

    @property
    def rows(self) -> list[DataRow]:
        """Its data rows, as row number -> {key: (column, cell)}."""
        return [
            (
                n,
                {
                    c.key: (c.number, range_end(cells[c.number], c.end))
                    for c in self.columns
                    if c.number in cells
                },
            )
            for n, cells in self.raw
        ]

    @property
    def missing(self) -> tuple[str, ...]:
        """The keys that its rows must say, and for which it has neither a column nor one value for all."""
        said = {*self.context, *(c.key for c in self.columns)}
        needed = required_keys(self.table, said - self.context.keys()) if self.needs is None else self.needs
        return tuple(key for key in needed if key not in said)

    @property
    def shape(self) -> str:
        """A short name for its header, whatever the order of its columns."""
        return shape(self.headers.values(), self.left)

    def under(self, titles: Mapping[int, str]) -> Iterator[tuple[int, str]]:
        """Each row that stands under one of these titles, with the last one above it."""
        marks = sorted(titles.items())
        for number, _ in self.raw:
            above = bisect_left(marks, (number, ""))
            if above:
                yield number, marks[above - 1][1]

    @property
    def beside(self) -> int:
        """The number of the first column after its last."""
        return max((*self.headers, *(max(cells) for _, cells in self.raw))) + 1


@dataclass(slots=True, kw_only=True)
class SheetReading:
    """One sheet as it was read. ``titles``: lone texts among the rows of a table, by row."""

    sheet: Sheet
    tables: list[FoundTable] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    skipped_rows: list[int] = field(default_factory=list)
    titles: dict[int, str] = field(default_factory=dict)
    left_out: str = ""


CONFIRMABLE: Final = frozenset(
    {
        "bsl_is_shell_size",
        "bsl_far_from_shell",
        "bsl_too_short",
        "bsl_too_long",
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
        "zeros_differ",
        "drilled_for_named",
        "drilled_for_differs",
        "kind_differs",
    }
)
"""Questions that *ok* settles: the value stands in the row and only its likelihood was in doubt."""
OPTIONAL: Final[Mapping[str, frozenset[str]]] = {
    Table.SKI: frozenset(
        (
            "model",
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
            "rack",
        )
    ),
    Table.BOOT: frozenset(
        (
            "model",
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
MAY_BE_NOT_KNOWN: Final[Mapping[str, frozenset[str]]] = {
    **OPTIONAL,
    Table.SKI: OPTIONAL[Table.SKI] | {"binding_model"},
}
"""Values of which somebody may answer that nobody knows them: the row comes in without."""
_DOUBTED: Final = frozenset(
    (
        "bsl_is_shell_size",
        "bsl_far_from_shell",
        "bsl_too_short",
        "bsl_too_long",
        "duckbill_convention",
        "mark_implausible",
        "zone_off_ski",
        "mounted_before_bought",
        "inspection_without_day",
        "date_half_read",
        "drilled_for_named",
        "drilled_for_differs",
        "dragged_series",
        "inspected_without_holes",
        "inspected_with_too_few_holes",
        "stands_out_of_travel",
        "kind_differs",
    )
)
"""Doubts about a value that stands in the row: it is not taken while they are open."""
UNIT_DOUBT: Final = "unit_doubtful"
_SETTLED_BY_ANSWER: Final = frozenset(
    ("places_in_cm", "places_mirrored", "places_from_tail", "places_swapped")
)
"""Doubts about a whole column that no other answer than the one given would settle."""
TAG_DOUBTS: Final = frozenset(
    (
        "zeros_lost",
        "tag_is_number",
        "tag_is_power",
        "tag_format",
        "tag_is_date",
        "near_tag",
        "tag_is_one_ski",
        "zeros_differ",
    )
)
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


_ABOUT: Final[Mapping[str, About]] = {
    **dict.fromkeys((UNIT_DOUBT, "places_in_cm"), About.UNIT),
    "ambiguous_date": About.DAY_ORDER,
    **dict.fromkeys(("place_unstated", "places_mirrored", "places_from_tail"), About.DIRECTION),
    **dict.fromkeys(("places_swapped", "places_in_doubt"), About.DIRECTION),
    "duplicate": About.KEEP,
    "missing_column": About.ALL,
    **dict.fromkeys(TAG_DOUBTS, About.TAG),
    **dict.fromkeys(OF_COLUMN, About.CHECK),
}
"""Doubts of which the code says what one answer settles."""


CALLED_BY: Final = ("tag", "pair_tag", "wish", "pattern", "model", "name")
"""The keys that a row is called by: the first that it says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableContext:
    """The things that all rows of a table share: header texts by key, the header's shape, the answers.

    ``from_tail``: its places are counted from the tail; ``turned``: keys of which plus is the other way.
    """

    headers: Mapping[str, str] = field(default_factory=dict)
    shape: str = ""
    left: int = 1
    answers: Answers = NO_ANSWERS
    from_tail: bool = False
    turned: frozenset[str] = frozenset()


@dataclass(slots=True, kw_only=True)
class Row:
    """One data row: its values in the units of their keys, its cells, and what was remarked about it.

    ``doubted``: keys whose value is not taken while a question about it is open. ``not_taken``: keys whose
    value was read and says nothing that the ledger keeps.
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
    not_taken: set[str] = field(default_factory=set)

    @property
    def tag(self) -> str | None:
        """Return what the row is called by: its tag, pattern, line or name."""
        said = (self.values.get(key) for key in CALLED_BY)
        return next((str(name) for name in said if name is not None), None)

    @property
    def verdict(self) -> str:
        """``good``, or the worst severity remarked."""
        worst = max((f.severity for f in self.findings), key=lambda s: s.rank, default=None)
        return worst.value if worst else "good"

    @property
    def usable(self) -> bool:
        """Not set aside, and nothing in question or bad but values that it may come in without."""
        return not self.left_out and all(f.severity is Severity.NOTE or f.keeps_row for f in self.findings)

    @property
    def blocks(self) -> bool:
        """Return whether its thing waits for it: not where another row of the thing counts instead."""
        return not self.usable and not self.repeat

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
        name, sheet, place = key or "", self.sheet, self.place
        kind, header = _ABOUT.get(code), place.headers.get(name, "")
        if code == UNIT_DOUBT and place.answers.of(About.UNIT, self.table.value, name, header):
            kind = About.WORD  # the column's unit is answered, and this number is none of that unit
        if kind is None:
            of_word = name and raw and (code in _OF_WORD or self.values.get(name) is None)
            kind = About.WORD if of_word else About.BLANK if code == "missing_value" else About.CHECK
        if kind is About.DIRECTION and about:
            header = "+".join(header_text(one).words for one in about.split("+"))
        parts = {
            **dict.fromkeys((About.UNIT, About.DAY_ORDER, About.DIRECTION), (name, header)),
            **dict.fromkeys((About.ALL, About.BLANK), (name, sheet, place.shape)),
            About.WORD: (name, raw or ""),
            About.KEEP: (str(self.tag), about),
            About.TAG: (code, sheet, "" if code == "zeros_differ" else place.shape),  # one for all its blocks
            About.CHECK: (code, about or name, sheet),
        }
        return question_id(kind, self.table.value, *parts[kind])

    def answered(self, code: str, key: str) -> str:
        """Return what was answered to the doubt of that code, in our words; empty where nothing was."""
        raw = self.cells[key][1].text if key in self.cells else None
        answer = self.answer_to(self._question(code, key, raw), raw)
        return answer.text if answer is not None else ""

    def answer_to(self, identity: str, raw: str | None = None) -> GivenAnswer | None:
        """The answer to a question, else the one that the shop gave about this thing, if it says the same."""
        given, tag = self.place.answers.by_id, self.tag
        found = given.get(identity)
        if found is None and tag and is_of_rows(identity):
            found = given.get(of_one_value(identity, tag, raw or ""))
        return found

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
        answer = self.answer_to(identity, raw)
        if answer is None:
            return False
        if answer.text == RIGHT and code in CONFIRMABLE:
            words = RIGHT
        elif answer.leaves_out:
            self.left_out, words = True, "the row is left out"
        elif code in _SETTLED_BY_ANSWER:
            words = answer.text
        elif code == "kind_differs":
            self.values["kind"] = words = answer.text
        elif answer.text == NOT_KNOWN and key is not None and key in OPTIONAL.get(self.table, ()):
            self.values[key], words = None, "not known"
        else:
            return False
        self.remark(
            Severity.NOTE,
            "answered",
            f"{message}: {words}, {answer.said_by}",
            FINE,
            key=key,
            question=identity,
        )
        return True

    def wait_for(self, tag: str, *, left_out: bool) -> None:
        """Say that the row does not come in, because its pair's own row is left out, or in question yet."""
        if left_out:
            self.left_out = True
            self.note("pair_left_out", f"pair {tag} is left out, and this with it", key="pair_tag")
            return
        column, cell = self.cells.get("pair_tag", (0, None))
        self.findings.append(
            Finding(
                severity=Severity.QUESTION,
                code="pair_waits",
                sheet=self.sheet,
                row=self.number,
                column=column_letter(column) if column else None,
                tag=tag,
                raw=cell.text if cell is not None else None,
                message=f"it comes in with pair {tag}, of which the own row is in question",
                fix=f"answer what is asked of {tag}",
                key="pair_tag",
            )
        )

    def note(
        self,
        code: str,
        message: str,
        fix: str = FINE,
        *,
        key: str | None = None,
        taken: Any = None,
    ) -> None:
        """Something taken and said aloud."""
        self.remark(Severity.NOTE, code, message, fix, key=key, taken=taken)


def sides_of(row: Row) -> tuple[Side, ...]:
    """The skis a hole row speaks of."""
    said = str(row.values.get("ski"))
    return tuple(Side) if said == "both" else (Side(said),)


def ready(rows: Iterable[Row]) -> Iterator[Row]:
    """Return the rows to propose entries for: nothing blocks them, and none says again what another said."""
    return (row for row in rows if row.usable and not row.repeat)
