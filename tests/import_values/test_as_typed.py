"""Every cell of ``as_typed.csv`` is read as its row says: the value, or the question with words and cure."""

from __future__ import annotations

import csv
import re
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from babel.dates import format_date

from imports.cell_values import (
    TagForms,
    is_quantity,
    lost_zeros,
    padded_width,
    read_cell,
    shown_whole,
    tag,
    tag_like,
    tag_range,
)
from imports.cells import Cell, Content
from imports.days import LANGUAGES, column_order, day, half_read, month_of, without_doubt
from imports.headers import FIELDS
from imports.quantities import (
    Read,
    amount_of,
    ask,
    count,
    half_size,
    length,
    mondopoint,
    number,
    tidy,
    tidy_words,
)
from imports.words import word

TODAY = date(2026, 11, 26)
ROWS = list(csv.DictReader(Path(__file__).with_name("as_typed.csv").read_text(encoding="utf-8").splitlines()))


def typed(text: str) -> str:
    r"""The text of a cell; ``\u{200b}`` for what cannot be seen."""
    return re.sub(r"\\u\{([0-9a-f]+)\}", lambda found: chr(int(found[1], 16)), text)


def cell_of(row: dict[str, str]) -> Cell:
    """Text unless the row says what the spreadsheet stored: a number, a day, an error ..."""
    text, more = typed(row["cell"]), options(row)
    holds = row["holds"] or "text"
    value: Decimal | date | bool | None = None
    if holds == "number":
        value = Decimal(more.get("stored", text))
    elif holds == "date":
        value = datetime.fromisoformat(text) if " " in text else date.fromisoformat(text)
    elif holds == "truth":
        value = text == "TRUE"
    return Cell(text, Content(holds), value, style=more.get("format", ""), formula="formula" in more)


def options(row: dict[str, str]) -> dict[str, str]:
    """``unit=cm; signed`` and the like."""
    pairs = (option.partition("=") for option in row["more"].split("; ") if option)
    return {name: value for name, _, value in pairs}


def read(row: dict[str, str]) -> Read:
    cell, more = cell_of(row), options(row)
    match row["read_as"].split(maxsplit=1):
        case ["length", what]:
            return length(
                cell,
                what=what,
                out_unit=more.get("in", "mm"),
                header_unit=more.get("unit", ""),
                low=Decimal(more["low"]),
                high=Decimal(more["high"]),
                signed="signed" in more,
            )
        case ["count", what]:
            return count(cell, what=what, high=int(more["high"]))
        case ["shell"]:
            return mondopoint(cell, header_unit=more.get("unit", ""))
        case ["day", what]:
            return day(cell, what=what, order=more.get("order", ""), today=TODAY)
        case ["word", key]:
            return word(cell, key=key, what=f"the {key}")
        case ["tag"]:
            return tag(cell)
        case ["cell", key]:
            kinds, unit, order = (more.get(name, "") for name in ("kinds", "unit", "order"))
            return read_cell(
                cell, key, FIELDS[key], unit, order, TODAY, "csv" in more, kinds.split("+") if kinds else ()
            )
    raise AssertionError(row["read_as"])


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['read_as']}: {row['cell']} {row['more']}")
def test_a_cell_is_read_as_the_table_says(row: dict[str, str]) -> None:
    found = read(row)
    said = (
        "" if found.value is None else str(found.value),
        found.severity.value if found.severity else "",
        found.code,
        found.message,
        found.fix,
    )
    assert said == tuple(typed(row[name]) for name in ("value", "severity", "code", "says", "to_do"))


def test_the_table_asks_every_reader_and_gives_a_cure_with_every_question() -> None:
    assert {row["read_as"].split()[0] for row in ROWS} == {
        *("length", "count", "shell", "day", "word", "tag"),
        "cell",
    }
    assert all(row["to_do"] and not row["value"] for row in ROWS if row["severity"] in ("question", "bad"))
    assert all(row["why"] for row in ROWS)


def test_a_word_that_is_none_of_its_list_or_several_is_asked_with_every_one_of_them() -> None:
    asked = [row for row in ROWS if row["code"] in ("several_words", "unknown_word")]
    assert {row["code"] for row in asked} == {"several_words", "unknown_word"}
    for row in asked:
        found = read(row)
        near, _, listed = found.fix.rpartition(": ")
        assert set(found.guesses) == set(listed.split(", ")), row
        if meant := re.fullmatch(r"did you mean (.+)\? choose", near):
            assert found.guesses[0] == meant[1]


@pytest.mark.parametrize(
    ("answer", "size"), [("the first", "26.5"), ("the last", "27"), ("26", "26"), ("leave out", "leave out")]
)
def test_an_answer_names_one_of_two_half_sizes_or_says_its_own(answer: str, size: str) -> None:
    assert half_size(Cell("26,5 / 27", Content.TEXT, None), answer) == size


@pytest.mark.parametrize(
    ("text", "for_numbers", "for_names"),
    [
        ("  a  b ", "a b", "a b"),
        ("a\u200bb\ufeff", "ab", "ab"),
        ("a\u00a0b\u2011c", "a b-c", "a b-c"),
        ("\uff11\uff12", "12", "12"),
        ("5\u00bd", "5.5", "5\u00bd"),
        ("5 \u00bc 6\u00be", "5.25 6.75", "5 \u00bc 6\u00be"),
        ("x\u00bd", "x0.5", "x\u00bd"),
        ("1150\u00b2", "11502", "1150\u00b2"),
        ("\u2460 5\u00b2\u00b3", "1 523", "\u2460 5\u00b2\u00b3"),
        ("a\u00b2b\u00b3c\u00b2", "a2b3c2", "a\u00b2b\u00b3c\u00b2"),
        ("\U000f0000\u00b2", "\U000f00002", "\U000f0000\u00b2"),
        ("\u0663\u00b2", "\u06632", "\u0663\u00b2"),
    ],
)
def test_what_cannot_be_seen_goes_and_a_raised_number_stays_in_a_name(
    text: str, for_numbers: str, for_names: str
) -> None:
    """``1150`` with a raised 2 is no serial 11502."""
    assert (tidy(text), tidy_words(text)) == (for_numbers, for_names)


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("30.5cm.", ("30.5", "cm", "")),
        ("305 MM Sole", ("305", "mm sole", "")),
        ("1 234", ("1234", "", "a blank stands inside the number")),
        ("1'234,5", ("1234.5", "", "")),
        ("12,345", ("12.345", "", "the comma may be a decimal sign or a thousands sign")),
        ("100,000", ("100.000", "", "the comma may be a decimal sign or a thousands sign")),
        ("1000,000", ("1000.000", "", "")),
        ("0,000", ("0.000", "", "")),
        ("12.345", ("12.345", "", "")),
        ("-1/2", ("-0.5", "", "")),
        ("+1/2 in", ("0.5", "in", "")),
        ("-3 3/4 in", ("-3.75", "in", "")),
        ("3/1", ("3", "", "")),
        ("3 1/0", None),
        ("5 m2", None),
        ("K-5", None),
    ],
)
def test_a_number_and_what_stands_behind_it(text: str, amount: tuple[str, str, str] | None) -> None:
    found = amount_of(text)
    assert (None if found is None else (str(found.number), found.unit, found.doubt)) == amount


def test_a_cell_stored_as_a_number_is_that_number_whatever_it_shows() -> None:
    """``1/2`` shown as a fraction is stored as 0.5; a text whose value was lost is read as it shows."""
    assert number(Cell("1/4", Content.NUMBER, Decimal("0.5")), "it") == (Decimal("0.5"), "", "")
    assert number(Cell("0.25", Content.NUMBER), "it") == (Decimal("0.25"), "", "")
    assert number(Cell("0", Content.TEXT, Decimal(0), formula=True), "it") == (Decimal(0), "", "")


def test_a_cell_that_lost_its_value_is_read_as_it_shows_and_a_day_as_it_is_stored() -> None:
    def a_day(cell: Cell) -> Read:
        return day(cell, what="the day", order="", today=TODAY)

    assert a_day(Cell("5/3/24", Content.DATE, date(2024, 3, 5))) == Read("2024-03-05")
    assert a_day(Cell("2024-03-05", Content.DATE)) == Read("2024-03-05")
    assert a_day(Cell("45356", Content.NUMBER)).message == "'45356' is not a day"
    assert tag(Cell("K-031", Content.NUMBER)) == Read("K-031")
    assert tag(Cell("00031", Content.TEXT, Decimal(31))) == Read("00031")


def test_without_a_word_on_the_unit_the_key_s_unit_counts_and_no_minus_is_taken() -> None:
    low, high = Decimal(-60), Decimal(60)
    assert length(Cell("5"), what="it", out_unit="mm", low=low, high=high) == Read(Decimal(5))
    assert length(Cell("-5"), what="it", out_unit="mm", low=low, high=high).code == "negative"
    assert mondopoint(Cell("27.5")) == Read(Decimal("27.5"))
    assert mondopoint(Cell("275")).value == Decimal("27.5")


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("K-101 to K-120", ("K-101", "K-120")),
        ("K-101 TO 120", ("K-101", "K-120")),
        ("K-101 bis 120", ("K-101", "K-120")),
        ("K-101bis120", ("K-101", "K-120")),
        ("K-101...K-120", ("K-101", "K-120")),
        ("101..120", ("101", "120")),
        ("K-101-K-120", ("K-101", "K-120")),
        ("101 - 120", ("101", "120")),
        ("K-101-120", None),
        ("101-120", None),
        ("A1-B2", None),
        ("101 to K-120", None),
        ("K-101", None),
        ("A 1 to A 2", None),
    ],
)
def test_a_range_of_tags_has_one_stem(text: str, ends: tuple[str, str] | None) -> None:
    assert tag_range(text) == ends


def test_tags_of_digits_that_are_shorter_than_padded_ones_may_have_lost_zeros() -> None:
    def width(*texts: str) -> int:
        return padded_width(Cell(text) for text in texts)

    assert width("0031", "31") == width("31", "0031") == 4
    assert width("0031", "10031", " 5 ") == 5
    assert width("31", "131") == width("K-0031", "31") == width() == 0
    assert padded_width([Cell("0031", Content.NUMBER, Decimal(31)), Cell("0131", Content.NUMBER)]) == 0
    asked = lost_zeros(Read("31"), 4)
    assert asked.severity == "question"
    assert asked.code == "zeros_lost"
    assert asked.message == "31 is shorter than the other tags, which have 4 digits: zeros may be lost"
    assert asked.fix == "enter 0031 as text, if that is the tag"
    for good in (Read("031"), Read("0031"), Read("K31"), Read(None), Read(31)):
        assert lost_zeros(good, 3) is good


def test_a_lone_cell_may_be_a_tag_if_it_is_one_short_word_with_a_digit() -> None:
    assert [tag_like(text) for text in ("K-1", " K-1 ", "1" * 24)] == [True] * 3
    assert [tag_like(text) for text in ("spare", "K 1", "1" * 25, "")] == [False] * 4
    assert [is_quantity(text) for text in ("5 x", "X 5", "K-2 (3 pairs)", "12 pcs.")] == [True] * 4
    assert [is_quantity(text) for text in ("5", "x", "K-2 (3)", "5 mm")] == [False] * 4


@pytest.mark.parametrize(
    ("style", "shown"),
    [
        ("", "31"),
        ("csv", "31"),
        ("0000", "0031"),
        ('"K-"000" x"', "K-031 x"),
        ("0.0", None),
        ('""000', "031"),
    ],
)
def test_a_stored_number_is_the_tag_that_its_format_shows(style: str, shown: str | None) -> None:
    assert shown_whole(31, style) == shown


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["13/3/2024"], "day first"),
        (["3/13/2024"], "month first"),
        (["12/13/2024"], "month first"),
        (["13/12/2024"], "day first"),
        (["5.3.2024"], "day first"),
        (["5/3/2024", "12/12/2024"], ""),
        (["13/13/2024"], ""),
        (["13/3/2024", "3/13/2024"], ""),
        (["5.3.2024", "3/13/2024"], ""),
        (["5/3/2024", "soon", "13/3/2024"], "day first"),
        (["24-03-05"], ""),
        (["24-3-05"], ""),
        (["4-13-05"], "month first"),
        (["24-03-2005"], "day first"),
        (["24/03/05"], "day first"),
        (["2024-13-05", "2024-05-13", "3/13/2024"], "month first"),
        (["2024-3-13"], ""),
        ([], ""),
    ],
)
def test_a_column_writes_the_day_first_or_the_month_if_a_cell_leaves_no_choice(
    texts: list[str], order: str
) -> None:
    stored = [Cell("13/3/2024", Content.NUMBER, Decimal(45364)), Cell("13/3/2024", Content.DATE, TODAY)]
    assert column_order([*stored, *map(Cell, texts)]) == order


@pytest.mark.parametrize(
    ("texts", "days", "swapped"),
    [
        (["25/03/2024"], [12], True),
        (["03/25/2024"], [1, 12], True),
        (["13/03/2024"], [12], True),
        (["03/13/2024"], [12], True),
        (["12/12/2024"], [12], False),
        (["25/03/2024"], [13], False),
        (["25/03/2024"], [12, 13], False),
        (["25/03/2024"], [], False),
        ([], [12], False),
        (["25.03.2024"], [12], False),
        (["2024/03/25"], [12], False),
        (["soon", "25/03/2024", "12/03/2024"], [12], True),
    ],
)
def test_a_program_swapped_day_and_month_where_it_left_only_impossible_days_as_text(
    texts: list[str], days: list[int], swapped: bool
) -> None:
    real = [Cell("", Content.DATE, date(2024, 3, each)) for each in days]
    lost = [Cell("", Content.DATE), Cell("25/03/2024", Content.NUMBER, Decimal(1))]
    assert half_read([*lost, *real, *map(Cell, texts)]) is swapped


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_month_is_known_by_the_name_that_a_day_in_that_language_is_written_with(language: str) -> None:
    """Babel writes the day in full and short; read back it is the same day, and no name has two months."""
    for month in range(1, 13):
        written = date(2024, month, 5)
        for form in ("d. MMMM y", "d. MMM y"):
            cell = Cell(format_date(written, form, locale=language))
            assert day(cell, what="it", order="", today=TODAY).value == written.isoformat(), cell.text


def test_a_name_that_means_two_months_in_two_languages_is_no_month() -> None:
    names = [("listopad", 11), ("Listopad", 10), ("říj", 10), ("rij.", 10), ("lis", 11)]
    assert without_doubt(names) == {"rij": 10, "lis": 11}
    assert (month_of("SEPT."), month_of("set"), month_of("set", ("en",)), month_of("s")) == (9, 9, None, None)


def test_the_tag_that_a_day_most_likely_was_is_said_where_a_day_is_shown() -> None:
    forms = TagForms(forms=("day-month", "month-day"), digits=2)
    made = ask("tag_is_date", "the spreadsheet made a date of this tag", "enter the tag as text")
    shown = Cell("2026-04-03", Content.DATE, date(2026, 4, 3), style="d-m")
    said = forms.asked(made, shown)
    assert said.message == f"{made.message}; it was most likely '03-04' (day-month)"
    assert said.guesses == ("day-month", "month-day")
    unseen = forms.asked(made, Cell("########", Content.DATE))
    assert unseen.message == made.message
    typed_day = forms.asked(made, Cell("3-4"))
    assert typed_day.guesses == ("day-month", "month-day", "right")
