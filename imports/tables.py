"""Finding the tables in a sheet: header rows by their words, what lies between them, what is no data."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from fleet.base.units import counted
from imports.answers import LEAVE_OUT, NO_ANSWERS, About, Answers, question_id, shape
from imports.cell_values import tag_like
from imports.cells import Cell, Content, Sheet, column_letter
from imports.column_fit import (
    plain_words_first,
    settled,
    with_columns,
    with_length_behind,
    with_sections,
    with_windows,
)
from imports.directions import directed
from imports.gate import MAX_COLUMNS
from imports.header_match import (
    HOLE_FACTS,
    HOLE_KEY,
    ChosenColumns,
    MappedColumn,
    header_text,
    match_columns,
    required_keys,
)
from imports.header_rows import (
    Headline,
    best_table,
    context_of_name,
    decided_table,
    headline_at,
    headline_of,
    hinted,
    is_transposed,
)
from imports.header_says import by_letter
from imports.headers import EQUIPMENT, SHEET_OF, Table
from imports.rows import FAR_RIGHT, FoundTable, SheetReading
from imports.several_tables import (
    begun_anew,
    begun_beside,
    by_sizes,
    equipment_class,
    goes_on,
    lone_text,
    parts_of,
    side_by_side,
    type_column,
)
from imports.sheet_prepared import fill_merged_down
from imports.table_findings import TableRemarks, missing_severity, one_line, twice_id
from imports.words import value_words

EXPORT_MARK: Final = "mountbook: an export"
EXPORT_HEAD: Final = "ledger entry"
"""The beginning of an exported workbook's first sheet, and of the row that names the entry it was made at."""
GUIDE_MARK: Final = "mountbook: a guide with examples; this sheet is never imported"
IGNORED_KEYS: Final = ("entry", "by")
"""Columns of an export that say where a row came from; they are for reading only."""
_MAY_STATE_STATUS: Final = (Table.SKI, Table.BOOT)
_TOTALS: Final = re.compile(
    r"^(?:sub\s?-?total[ei]?s?|tot\.?|total[ei]?s?|grand total|sums?|summe|zwischensumme|gesamt|somme"
    r"|sous\s?-?total|summa|totalt|celkem|razem|suma|skupaj|合計)\b\W*",
    re.IGNORECASE,
)
_TAG_KEYS: Final = ("tag", "pair_tag", "wish", "pattern", "model", "name", "binding_id", "sole_type")


def read_sheet(
    sheet: Sheet,
    chosen: Mapping[str, str] | None = None,
    *,
    for_all: Mapping[str, str] | None = None,
    from_csv: bool = False,
    answers: Answers = NO_ANSWERS,
) -> SheetReading:
    """All tables of one sheet. What is neither header nor data is named, by number.

    ``chosen``: header text -> key, the user's own mapping. ``for_all``: key -> value that the user states
    for every row of a table that has no such column. ``answers``: what was answered about its columns, and
    about what its rows are.
    """
    chosen = ChosenColumns(chosen or {}, answers)
    reading = SheetReading(sheet=sheet)
    remarks = TableRemarks(sheet, reading.findings)
    spans = fill_merged_down(sheet)
    current: list[FoundTable] = []
    loose: list[int] = []
    answered = answers.of(About.TABLE, sheet.name, "")
    near = answered is None  # else the answer says what the rows are whose headers are only like known ones
    numbers = sorted(sheet.rows)
    skip_to = 0
    for place, number in enumerate(numbers):
        if number <= skip_to:
            continue
        cells = sheet.rows[number]
        going_on = [t for t in current if not (_says_first(cells, t) and _repeats(cells, t))]
        if len(going_on) < len(current):
            _take_row(going_on, number, cells, reading)
            continue
        below = numbers[place + 1] if place + 1 < len(numbers) and numbers[place + 1] == number + 1 else None
        above = number - 1 if not current and number - 1 in loose else None
        line = headline_at(
            sheet, number, above=above, below=below, spans=spans, chosen=chosen, near=near and not current
        )
        if line is None and not current and answered is not None and answered.text in list(Table):
            line = headline_of(sheet, number, Table(answered.text))
            if line is not None:
                remarks.answered(number, f"its rows are {answered.text}, {answered.said_by}", "")
        kept = current if line is None else [t for t in current if goes_on(t, number, chosen)]
        begun = begun_beside(kept, number, below, spans, chosen)
        if begun is not None:
            opened = _open_tables(sheet, begun, chosen, remarks)
            for row in range(number, begun.last + 1):
                _take_row(kept, row, sheet.rows[row], reading)
            reading.tables += opened
            current, skip_to = side_by_side([*kept, *opened], remarks), begun.last
            continue
        if line is not None:
            if any(_repeats(cells, table) for table in current):
                reading.skipped_rows.append(number)
                continue
            if line.first in loose:
                loose.remove(line.first)
            skip_to = line.last
            current = _open_tables(sheet, line, chosen, remarks)
            reading.tables += current
            continue
        if not current:
            loose.append(number)
            continue
        _take_row(current, number, cells, reading)
    reading.tables = [
        part for table in reading.tables for part in _split_mixed(table, chosen, remarks, reading)
    ]
    away = [table for table in reading.tables if _left_out(table, answers)]
    for table in away:
        remarks.answered(table.header_row, "it is left out by the answer given", table.shape)
    reading.tables = [_sure(table, chosen, remarks, answers) for table in reading.tables if table not in away]
    reading.titles = {n: text for n in loose if (text := lone_text(sheet.rows[n]))} | reading.titles
    if len({table.left for table in reading.tables}) == 1:
        reading.tables = [with_sections(table, reading.titles, chosen, remarks) for table in reading.tables]
    if away and not reading.tables:
        return reading
    reading.tables = [with_length_behind(table, remarks) for table in reading.tables]
    reading.tables = [
        _either_side(_directed(settled(table, remarks, chosen), answers), remarks) for table in reading.tables
    ]
    unlike = [table for table in reading.tables if near and not table.columns]
    for table in unlike:
        reading.tables.remove(table)  # of headers that were only like ours, and no value fitted one
        remarks.not_a_table(table.header_row)
    if unlike and not reading.tables:
        return reading
    reading.tables = [with_windows(table, remarks) for table in reading.tables]
    for table in reading.tables:
        _state_for_all(table, for_all or {})
        _look_at_columns(table, remarks, answers, from_csv=from_csv)
    _say_rest(reading, remarks, loose)
    return reading


def _says_first(cells: Mapping[int, Cell], table: FoundTable) -> bool:
    """Return whether a row begins as the table's header does, in whatever words: no name of a thing does."""
    first = min(table.headers)
    return first in cells and cells[first].text == table.headers[first]


def _repeats(cells: Mapping[int, Cell], table: FoundTable) -> bool:
    """Return whether a header says the table's own again; in another unit it begins a new table."""
    theirs = {n: header_text(c.text) for n, c in cells.items() if table.left <= n <= table.right}
    mine = {n: header_text(text) for n, text in table.headers.items()}
    alike = [n for n, said in mine.items() if n in theirs and theirs[n].words == said.words]
    if any(theirs[n].unit and theirs[n].unit != mine[n].unit for n in alike):
        return False
    return bool(mine) and len(alike) >= max(2, len(mine) * 0.8)


def _open_tables(
    sheet: Sheet, line: Headline, chosen: ChosenColumns, remarks: TableRemarks
) -> list[FoundTable]:
    """One table, or several side by side: where empty columns part complete headers, or one begins anew."""
    parts = parts_of(line.headers)
    if not all(_is_complete(part, chosen, sheet.name) for part in parts):
        parts = begun_anew(sheet, line, parts)
    if len(parts) == 1:
        return [_open_table(sheet, line, chosen, remarks, left=1, right=FAR_RIGHT)]
    ends = [*(min(part) - 1 for part in parts[1:]), FAR_RIGHT]
    found = []
    for part, end in zip(parts, ends, strict=True):
        table, _ = best_table(part, sheet.name, chosen)
        if table is None:
            for number, text in part.items():
                remarks.unknown_column(line.last, number, text, line.table, ())
            continue
        begun = replace(line, headers=part, table=table)
        found.append(_open_table(sheet, begun, chosen, remarks, left=min(part), right=end))
    return found


def _is_complete(part: Mapping[int, str], chosen: ChosenColumns, sheet_name: str) -> bool:
    """Return whether a part says all that its rows need, but for what the sheet's name or one answer says."""
    table, _ = best_table(part, sheet_name, chosen)
    if table is None:
        return False
    keys = {c.key for c in match_columns(part, table, chosen)[0]}
    said = {"kind", *context_of_name(sheet_name, table), *keys}
    return all(key in said for key in required_keys(table, keys))


def _open_table(
    sheet: Sheet, line: Headline, chosen: ChosenColumns, remarks: TableRemarks, *, left: int, right: int
) -> FoundTable:
    headers = {c: text for c, text in line.headers.items() if c <= MAX_COLUMNS}
    if len(headers) < len(line.headers):
        remarks.say("too_many_columns", line.last, count=len(line.headers), limit=MAX_COLUMNS)
    mapped, unknown = match_columns(headers, line.table, chosen)
    unique: dict[str, MappedColumn] = {}
    for column in plain_words_first(line.table, mapped):
        stated = replace(column, unit=column.unit or line.units.get(column.number, ""))
        first = unique.setdefault(column.key, stated)
        if first is not stated:
            kept = _answered_twice(line.table, column, stated, first, chosen)
            if kept is None:
                there, here = column_letter(first.number), column_letter(column.number)
                remarks.say(
                    "duplicate_column",
                    line.last,
                    column,
                    question=twice_id(line.table, first, column),
                    guesses=(there, here),
                    key=column.key,
                    first=one_line(first.header),
                    there=there,
                )
            else:
                unique[column.key] = kept
    for number, text in unknown:
        remarks.unknown_column(line.last, number, text, line.table, unique)
    for key in IGNORED_KEYS:
        unique.pop(key, None)
    status = unique.get("status")
    if status is not None:
        remarks.say("status_ignored", line.last, status)
        if line.table not in _MAY_STATE_STATUS:
            del unique["status"]
    context = {k: v for k, v in context_of_name(sheet.name, line.table).items() if k not in unique}
    for key in [each for each in required_keys(line.table, unique) if each not in unique]:
        of_all = (line.table.value, key, sheet.name, shape(headers.values(), left))
        said = chosen.answers.of(About.ALL, *of_all)
        word = header_text(said.text).words if said else None
        named = next((n for n, text in headers.items() if header_text(text).words == word), None)
        if named is not None:
            remarks.forget(line.last, named)
            unique[key] = MappedColumn(number=named, header=headers[named], key=key)
    return FoundTable(
        table=line.table,
        sheet=sheet,
        header_row=line.last,
        header_first=line.first,
        columns=tuple(unique.values()),
        headers=headers,
        context=context,
        told=line.hits == 0,
        left=left,
        right=right,
    )


def _answered_twice(
    table: Table, column: MappedColumn, second: MappedColumn, first: MappedColumn, chosen: ChosenColumns
) -> MappedColumn | None:
    """Return the one of two columns that counts, where that was answered with its letter."""
    answer = chosen.answers.by_id.get(twice_id(table, first, column))
    if answer is None:
        return None
    return next((c for c in (first, second) if column_letter(c.number) == answer.text.upper()), None)


def _take_row(
    tables: Sequence[FoundTable], number: int, cells: Mapping[int, Cell], reading: SheetReading
) -> None:
    taken = False
    for table in tables:
        alone = table.left == 1 and table.right == FAR_RIGHT
        mine = cells if alone else {n: c for n, c in cells.items() if table.left <= n <= table.right}
        by_key = {c.key: (c.number, mine[c.number]) for c in table.columns if c.number in mine}
        if not mine or _is_no_data(table, mine, by_key):
            if len(tables) > 1 and (title := lone_text(mine)):
                table.titles[number] = title
            continue
        table.raw.append((number, mine))
        taken = True
    if not taken:
        reading.skipped_rows.append(number)
        if title := lone_text(cells):
            reading.titles[number] = title


def _is_no_data(table: FoundTable, cells: Mapping[int, Cell], by_key: Mapping[str, tuple[int, Cell]]) -> bool:
    """Totals, signatures and remarks: a total's word first, or a lone cell that is no tag."""
    first = cells[min(cells)]
    if first.content is Content.TEXT:
        total = _TOTALS.match(first.text.strip())
        if total and not any(c.isdigit() for c in first.text[total.end() :].strip()[:3]):
            return True
    own = [c for c in cells.values() if not c.merged]
    if not own:
        return True
    if len(by_key) <= 1 and len(own) <= 2 and len(table.columns) > 2:
        alone = next((by_key[k][1] for k in _TAG_KEYS if k in by_key), None)
        return alone is None or not tag_like(alone.text)
    return False


def _split_mixed(
    table: FoundTable, chosen: ChosenColumns, remarks: TableRemarks, reading: SheetReading
) -> list[FoundTable]:
    """A list of several kinds of equipment as one table for each; equipment that is not ours is named.

    A row of which the word is not known stands in no table until it is answered, and so does one that says
    nothing, unless the sheet's name says it.
    """
    whole = chosen.answers.of(About.TABLE, table.sheet.name, table.shape)
    if table.table not in EQUIPMENT or (whole is not None and whole.leaves_out):
        return [table]
    column = type_column(table.raw, table.headers, table.table) or 0
    sized = None if column else by_sizes(table.raw, table.headers)
    if not column and sized is None:
        return [table]
    reading.findings[:] = [
        f
        for f in reading.findings
        if not (f.row == table.header_row and f.code in ("unknown_column", "duplicate_column"))
    ]
    strangers: list[int] = []
    of_kind: dict[Table, list[tuple[int, Mapping[int, Cell]]]] = {} if sized is None else sized[1]
    for number, cells in table.raw if sized is None else ():
        text = " ".join(cells[column].text.split()) if column in cells else ""
        is_equipment, kind = equipment_class(text)
        if is_equipment and kind is None:
            strangers.append(number)
            continue
        if kind is None and whole is None and (text or not hinted(table.sheet.name, table.table)):
            identity = question_id(About.ITEM, text, *([] if text else [table.sheet.name]))
            answer = chosen.answers.by_id.get(identity)
            remarks.say(
                "answered item" if answer else "item_unknown",
                number,
                number=column,
                raw=text,
                question=identity,
                guesses=(*(each.value for each in EQUIPMENT), LEAVE_OUT),
                said=repr(text) if text else "nothing",
                header=one_line(table.headers[column]),
                answer=answer and f"{answer.text}, {answer.said_by}",
            )
            if answer is None or answer.leaves_out:
                continue
            kind = Table(answer.text)
        of_kind.setdefault(kind or table.table, []).append((number, cells))
    parts = {kind: _as_table(table, kind, chosen, raw, without=column) for kind, raw in of_kind.items()}
    known = {column, *(c.number for part in parts.values() for c in part.columns)}
    of = next(iter(parts)) if len(parts) == 1 else table.table
    for number, text in table.headers.items():
        if number not in known:
            remarks.unknown_column(table.header_row, number, text, of, ())
    by = (column,) if sized is None else sized[0]
    remarks.say(
        "mixed_list",
        table.header_row,
        number=by[0],
        raw=table.headers[by[0]],
        columns=" and ".join(repr(one_line(table.headers[each])) for each in by),
        counts=", ".join(f"{len(part.raw)} {kind.value}" for kind, part in parts.items()),
    )
    if strangers:
        remarks.rows("other_equipment", strangers)
    return list(parts.values())


def _as_table(
    table: FoundTable,
    target: Table,
    chosen: ChosenColumns,
    raw: Sequence[tuple[int, Mapping[int, Cell]]],
    *,
    without: int | None = None,
) -> FoundTable:
    """Those rows read as another table; ``without``: a column that only sorts the rows of several kinds.

    Then a header counts only where one of these rows says something under it: the others are of other rows.
    """
    said = {number for _, cells in raw for number in cells} if without is not None else {*table.headers}
    mapped, _ = match_columns({n: text for n, text in table.headers.items() if n in said}, target, chosen)
    unique: dict[str, MappedColumn] = {}
    ignored = IGNORED_KEYS if target in _MAY_STATE_STATUS else ("status", *IGNORED_KEYS)
    for column in plain_words_first(target, mapped):
        if column.number != without and column.key not in ignored:
            unique.setdefault(column.key, column)
    columns = [*unique.values()]
    if target is Table.SKI and "kind" not in unique and without is not None and _says_kinds(table, without):
        columns.append(MappedColumn(number=without, header=table.headers[without], key="kind"))
    other = replace(
        table,
        table=target,
        context=context_of_name(table.sheet.name, target),
        ragged=set(),
        raw=list(raw),
        told=without is not None,
    )
    return with_columns(other, columns)


def _directed(table: FoundTable, answers: Answers) -> FoundTable:
    """The table with its columns counting as it was answered."""
    columns = directed(table.table, table.columns, answers)
    return with_columns(table, columns) if columns != list(table.columns) else table


def _either_side(table: FoundTable, remarks: TableRemarks) -> FoundTable:
    """The table with two rows for each hole of which ``±14`` says how far it is from the middle line."""
    y = next((c.number for c in table.columns if table.table is Table.HOLE and c.key == "y_mm"), 0)
    both = [n for n, cells in table.raw if y in cells and cells[y].text.strip().startswith("±")]
    if not both:
        return table
    remarks.say("either_side", table.header_row, rows=counted(len(both), "row"))
    raw = [
        (
            number,
            {**cells, y: Cell(sign + cells[y].text.strip()[1:].strip())} if sign is not None else cells,
        )
        for number, cells in table.raw
        for sign in (("", "-") if number in both else (None,))
    ]
    return with_columns(replace(table, raw=raw), table.columns)


def _says_kinds(table: FoundTable, column: int) -> bool:
    """Return whether the column that sorts the equipment says for some of it what kind of ski it is."""
    kinds = value_words()["kind"]
    return any(header_text(cells[column].text).words in kinds for _, cells in table.raw if column in cells)


def _left_out(table: FoundTable, answers: Answers) -> bool:
    said = answers.of(About.TABLE, table.sheet.name, table.shape)
    return said is not None and said.leaves_out


def _sure(table: FoundTable, chosen: ChosenColumns, remarks: TableRemarks, answers: Answers) -> FoundTable:
    """The table read as what it really is: a list of tags and models alone may be skis or boots."""
    said = answers.of(About.TABLE, table.sheet.name, table.shape)
    if said is not None and said.text in list(Table):
        remarks.answered(table.header_row, f"its rows are {said.text}, {said.said_by}", table.shape)
        of = Table(said.text)
        return table if of is table.table else _as_table(table, of, chosen, table.raw)
    if table.told:
        return table
    numbers = [c.number for c in table.columns if c.key in ("length_cm", "mondopoint")]
    sizes = [cells[n].text for n in numbers for _, cells in table.raw if n in cells]
    keys = {c.key: c.header for c in table.columns}
    decided = decided_table(table.table, keys | dict.fromkeys(table.context, ""), table.sheet.name, sizes)
    if decided is None:
        asked = question_id(About.TABLE, table.sheet.name, table.shape)
        may_be = (Table.SKI.value, Table.BOOT.value, LEAVE_OUT)
        remarks.say("table_in_doubt", table.header_row, question=asked, guesses=may_be)
        return table
    return table if decided is table.table else _as_table(table, decided, chosen, table.raw)


def _state_for_all(table: FoundTable, for_all: Mapping[str, str]) -> None:
    have = {c.key for c in table.columns}
    known = {c.key for c in SHEET_OF[table.table].columns} if table.table in SHEET_OF else set()
    stated = {k: v for k, v in for_all.items() if k in known and k not in have}
    table.context = {**table.context, **stated}
    if any(c.place is not None for c in table.columns):
        taken = {key.removeprefix(HOLE_KEY) for key in have}
        table.of_holes = {k: v for k, v in for_all.items() if k in HOLE_FACTS and k not in taken}


def _look_at_columns(table: FoundTable, remarks: TableRemarks, answers: Answers, *, from_csv: bool) -> None:
    for key in table.missing:
        if answers.of(About.ALL, table.table.value, key, table.sheet.name, table.shape) is not None:
            continue  # each row says what became of it
        remarks.say(
            "missing_column",
            table.header_row,
            severity=missing_severity(table.table, key),
            question=question_id(About.ALL, table.table.value, key, table.sheet.name, table.shape),
            key=key,
            table=table.table.value,
        )
    for key, value in {**table.context, **table.of_holes}.items():
        rows = counted(len(table.raw), "row")
        remarks.say("value_from_sheet_name", table.header_row, key=key, value=value, rows=rows)
    headless: Counter[int] = Counter()
    last = max(table.headers)
    known = {*table.headers, *(c.number for c in table.columns)}
    for number, cells in table.raw:
        for column in cells:
            if column not in known:
                headless[column] += 1
                if from_csv and column > last:
                    table.ragged.add(number)
    remarks.headless_columns(
        table.header_row, {c: n for c, n in headless.items() if not from_csv or c <= last}
    )
    plain = ((mapped, header_text(mapped.header).words) for mapped in table.columns)
    if sided := next((mapped for mapped, words in plain if by_letter(words) != words), None):
        remarks.say("left_is_a", table.header_row, sided)
    for mapped in table.columns:
        if mapped.turned or mapped.from_tail:
            how = "from the tail" if mapped.from_tail else "the other way"
            remarks.say("header_convention", table.header_row, mapped, how=how)
        if mapped.number in table.sheet.hidden_columns:
            remarks.say("hidden_column", table.header_row, mapped)


def _say_rest(reading: SheetReading, remarks: TableRemarks, loose: list[int]) -> None:
    sheet = reading.sheet
    wide = [n for n in loose if len(sheet.rows[n]) >= 3]
    if not reading.tables:
        if is_transposed(sheet):
            remarks.say("transposed", question=question_id(About.TABLE, sheet.name, ""))
        elif len(wide) >= 2:
            remarks.no_header(wide[0])
        elif sheet.rows:
            remarks.say("no_table")
        return
    if len(wide) >= 3:
        asked = question_id(About.CHECK, "", "rows_before_header", "", sheet.name)
        remarks.rows("rows_before_header data", wide, asked)
    elif loose:
        remarks.rows("rows_before_header", loose)
    if reading.skipped_rows:
        remarks.rows("rows_skipped", reading.skipped_rows)
