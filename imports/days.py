"""Days as people type them. The order of day and month is decided for a whole column, never for a cell.

Names of months, full and short, in the languages of shops, come from Babel's data.
"""

import re
import unicodedata
from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from typing import Final

from imports.cells import Cell, Content
from imports.quantities import Read, ask, note, tidy, unreadable

_THREE: Final = re.compile(
    r"^(\d{1,4})\s?([./-])\s?(\d{1,2})\s?\2\s?(\d{1,4})\.?(?:[ T]\d{1,2}:\d{2}(?::\d{2})?)?$"
)
_NAMED: Final = re.compile(
    r"^(\d{1,2})(?:[.°]|er|o|st|nd|rd|th)?[ -](?:de )?([^\W\d]+)\.?[ -](?:del? )?(\d{4}|\d{2})$"
    r"|^([^\W\d]+)\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})$"
)
_COUNTED_MONTH: Final = re.compile(r"^(\d{4}) ?年 ?(\d{1,2}) ?月 ?(\d{1,2}) ?日$")
"""``2024年3月5日``. Two digits of the year may count an era, and are asked."""
DAY_FIRST: Final = "day first"
MONTH_FIRST: Final = "month first"
UNDECIDED: Final = ""


def column_order(cells: Iterable[Cell]) -> str:
    """Return whether a column writes the day or the month first, from the cells that leave no choice.

    A column that proves both orders, or neither, is UNDECIDED.
    """
    day_first = month_first = False
    for cell in cells:
        if cell.content is not Content.TEXT:
            continue
        found = _THREE.match(tidy(cell.text))
        if not found or len(found[1]) == 4 or _year_anywhere(found):
            continue
        first, second = int(found[1]), int(found[3])
        if found[2] == "." or (first > 12 >= second):
            day_first = True
        elif second > 12 >= first:
            month_first = True
    if day_first == month_first:
        return UNDECIDED
    return DAY_FIRST if day_first else MONTH_FIRST


def looks_like_day(text: str) -> bool:
    """Return whether a text has the form of a day, whatever its order."""
    clean = tidy(text)
    return bool(_THREE.match(clean) or _NAMED.match(clean) or _COUNTED_MONTH.match(clean))


def half_read(cells: Iterable[Cell]) -> bool:
    """Return whether a program read some of a column's days with day and month swapped.

    It shows where texts are left that it could not read (25/03/2024), while every real date has a day that
    could be a month: those it read, perhaps the wrong way round.
    """
    left_as_text = False
    real = []
    for cell in cells:
        if cell.content is Content.DATE and isinstance(cell.value, date):
            real.append(cell.value)
        elif cell.content is Content.TEXT:
            found = _THREE.match(tidy(cell.text))
            if found and found[2] != "." and len(found[1]) < 4:
                left_as_text = left_as_text or int(found[1]) > 12 or int(found[3]) > 12
    return left_as_text and bool(real) and all(moment.day <= 12 for moment in real)


_NOT_SHOWN: Final = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.')
"""The parts of a number format that show no figure."""


def shows_day(style: str) -> bool:
    """Return whether a number format shows the day of a date, and not only the month of a year.

    A spreadsheet keeps a typed ``11/2024`` as the first of that month, in a format that shows no day.
    """
    shown = _NOT_SHOWN.sub("", style).lower()
    return "d" in shown or "y" not in shown


def day(cell: Cell, *, what: str, order: str, today: date) -> Read:
    """A day as ISO text. Two-digit years are taken as 20xx with a note; a day to come is asked."""
    stopped = unreadable(cell, what)
    if stopped is not None:
        return stopped
    how = ""
    if cell.content is Content.DATE and cell.value is not None:
        moment = cell.value
        found = moment.date() if isinstance(moment, datetime) else moment
        assert isinstance(found, date)
        if found.day == 1 and cell.style and not shows_day(cell.style):
            return ask("month_only", f"{found:%Y-%m} says a month and no day", "enter it like 2024-11-30")
    elif cell.content is Content.NUMBER and isinstance(cell.value, Decimal):
        if not 20_000 <= cell.value <= 60_000:
            return ask("not_a_date", f"{cell.text} is not a day", "enter it like 2024-11-30")
        from imports.sheet_parts import serial_to_date

        serial = serial_to_date(cell.value, False)
        assert serial is not None
        found = serial.date() if isinstance(serial, datetime) else serial
        how = f"the day number {cell.text} was read as {found.isoformat()}"
    else:
        read = _from_text(cell.text, order, today)
        if isinstance(read, Read):
            return read
        found, how = read
    if found > today:
        return ask("future_date", f"{what} is {found.isoformat()}, a day to come", "check the year")
    if found.year < 1960:
        return ask("implausible_date", f"{what} is {found.isoformat()}, long ago", "check the year")
    text = found.isoformat()
    return note(text, "date_read", how) if how else Read(text)


_NUMERALS: Final = ("i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii")
_ROMAN: Final = {numeral: month for month, numeral in enumerate(_NUMERALS, 1)}
"""Months as Roman numerals, which stand between day and year in Polish, Hungarian and older hands."""


def _year_anywhere(found: re.Match[str]) -> bool:
    """``24-03-05``: two digits and hyphens, as some write the year first and others last."""
    return found[2] == "-" and len(found[1]) == len(found[4]) == 2


def _past(year: int, month: int, day_of_month: int, today: date) -> bool:
    try:
        return date(year, month, day_of_month) <= today
    except ValueError:
        return False


_OF_YEAR: Final = re.compile(
    r"^(?:(?P<number>\d{1,2})[./-]\d{4}|\d{4}[./-](?P<later>\d{1,2})"
    r"|(?P<name>[^\W\d]+)\.? ?'?(?:\d{4}|\d{2}))$"
)
"""A month of a year: ``11/2024``, ``2024-11``, ``nov. 2024``."""


def _no_day(text: str, clean: str, cure: str) -> Read:
    """A question about a text that is no day; of a month, one for the whole column."""
    found = _OF_YEAR.match(clean)
    if found and (month_of(found["name"]) if found["name"] else int(found["number"] or found["later"]) <= 12):
        return ask("month_only", f"{text!r} says a month and no day", cure)
    return ask("not_a_date", f"{text!r} is not a day", cure)


def _from_text(text: str, order: str, today: date) -> tuple[date, str] | Read:
    clean = tidy(text)
    cure = "enter it like 2024-11-30"
    found = _THREE.match(clean)
    if found:
        first, second, third = found[1], int(found[3]), found[4]
        if len(first) == 4:
            year, month, day_of_month = int(first), second, int(third)
        else:
            if len(third) not in (2, 4) or len(first) > 2:
                return ask("not_a_date", f"{text!r} is not a day", cure)
            if _year_anywhere(found) and _past(2000 + int(first), second, int(third), today):
                return ask("ambiguous_date", f"{text!r}: the year may come first or last", cure)
            year = int(third) + (2000 if len(third) == 2 else 0)
            decided = DAY_FIRST if found[2] == "." else order
            if not decided and int(first) != second:
                if int(first) > 12 >= second:
                    decided = DAY_FIRST
                elif second > 12 >= int(first):
                    decided = MONTH_FIRST
                else:
                    return ask(
                        "ambiguous_date",
                        f"{text!r}: nothing in the column says whether day or month comes first",
                        cure,
                    )
            day_of_month, month = (int(first), second) if decided != MONTH_FIRST else (second, int(first))
        how = "" if len(first) == 4 else f"{text!r} was read as {year:04}-{month:02}-{day_of_month:02}"
    else:
        counted, named = _COUNTED_MONTH.match(clean), _NAMED.match(clean)
        if counted:
            year, month, day_of_month = int(counted[1]), int(counted[2]), int(counted[3])
        else:
            word = (named[2] or named[4]) if named else ""
            of_year = month_of(word) or _ROMAN.get(word.casefold())
            if not named or of_year is None:
                return _no_day(text, clean, cure)
            month, day_of_month = of_year, int(named[1] or named[5])
            year_text = named[3] or named[6]
            year = int(year_text) + (2000 if len(year_text) == 2 else 0)
        how = f"{text!r} was read as {year:04}-{month:02}-{day_of_month:02}"
    try:
        return date(year, month, day_of_month), how
    except ValueError:
        return ask("not_a_date", f"{text!r} is no day of the calendar", cure)


NEAR_LANGUAGES: Final = ("en", "de", "de_AT", "fr")
LANGUAGES: Final = (*NEAR_LANGUAGES, "it", "es", "nb", "sv", "cs", "pl", "sl")
"""Japanese counts its months, which needs no names."""
_MORE: Final = (("mrz", 3), ("maerz", 3), ("feber", 2), ("fev", 2))
"""Short and older forms in use that Babel's data do not have; German, German, Austrian, French."""


def month_of(word: str, languages: tuple[str, ...] = LANGUAGES) -> int | None:
    """Return the month that a word names, with or without its accents and its point; None: no month."""
    return _months(languages).get(_plain(word))


@cache
def _months(languages: tuple[str, ...]) -> dict[str, int]:
    from babel.dates import get_month_names

    return without_doubt(
        (
            *_MORE,
            *(
                (name, month)
                for language in languages
                for width in ("wide", "abbreviated")
                for context in ("format", "stand-alone")
                for month, name in get_month_names(width, context, language).items()
            ),
        )
    )


def without_doubt(names: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Return the month of each name. A name that means two months, in two languages, is none."""
    found: dict[str, set[int]] = {}
    for name, month in names:
        found.setdefault(_plain(name), set()).add(month)
    return {name: min(months) for name, months in found.items() if len(months) == 1}


def _plain(word: str) -> str:
    letters = unicodedata.normalize("NFD", word.casefold().rstrip("."))
    return "".join(letter for letter in letters if not unicodedata.combining(letter))
