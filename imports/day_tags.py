"""Tags of which a spreadsheet made days (``3-4`` became 3 April): asked about once for their column.

The answer says how such a tag was written, ``day-month`` or ``month-day``, with the others' sign.
"""

import re
from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Final, NamedTuple

from imports.answers import RIGHT
from imports.cells import Cell, Content
from imports.days import NEAR_LANGUAGES, month_of, shows_day
from imports.quantities import Read, tidy

_NUMBERS: Final = re.compile(
    r"(\d{1,4})\s?([-./])\s?(\d{1,2})\s?\2\s?(\d{1,4})\.?(?: 00:00:00)?|(\d{4})年(\d{1,2})月(\d{1,2})日"
)
_DAY_OF_MONTH: Final = re.compile(r"(\d{1,2})(?:[-/ ]|\. ?)([^\W\d]+)\.?(?:[-. /](\d{2,4}))?")
_MONTH_OF_YEAR: Final = re.compile(r"([^\W\d]+)\.?[-. ](\d{2})")
_FORM: Final = re.compile(r"(?P<first>day|month)(?P<sign>[-/._ ]?)(?!(?P=first))(?:day|month)")
_TWO_NUMBERS: Final = re.compile(r"(\d{1,3})([-/._ ])(\d{1,3})")
_CENTURIES: Final = range(1900, 2100)


class ShownDay(NamedTuple):
    """The numbers of a day as a person sees it; ``day`` is 0 where only a month of a year is shown."""

    day: int
    month: int
    year: int


def shown_day(cell: Cell) -> ShownDay | None:
    """The day that a cell shows, or that a program may have made of its text; None where it shows none.

    ``03-set`` is one in some language. Letters first, as tags are often made (``PRO-24``), only the months
    of the nearest languages are: a short month elsewhere is a word here.
    """
    if cell.content is Content.DATE and isinstance(cell.value, date):
        return ShownDay(cell.value.day if shows_day(cell.style) else 0, cell.value.month, cell.value.year)
    text = tidy(cell.text)
    if found := _NUMBERS.fullmatch(text):
        first, second, third = (int(n) for n in found.groups() if n is not None and n.isdigit())
        years = [n for n in found.group(1, 4, 5) if n is not None and len(n) == 4]
        if years[:1] == [str(first)]:
            return _valid(third, second, first)
        if not years and len(found[4]) != 2:
            return None
        return _valid(first, second, third) or _valid(second, first, third)
    if (found := _DAY_OF_MONTH.fullmatch(text)) and (month := month_of(found[2])):
        return ShownDay(int(found[1]), month, int(found[3] or 0))
    if (found := _MONTH_OF_YEAR.fullmatch(text)) and (month := month_of(found[1], NEAR_LANGUAGES)):
        return ShownDay(0, month, int(found[2]))
    return None


def _valid(day: int, month: int, year: int) -> ShownDay | None:
    known = 1 <= day <= 31 and 1 <= month <= 12 and (year < 100 or year in _CENTURIES)
    return ShownDay(day, month, year) if known else None


class TagForms(NamedTuple):
    """The forms that the tags of a column may have had, the likeliest first, and how many digits a number."""

    forms: tuple[str, ...]
    digits: int

    def asked(self, read: Read, cell: Cell) -> Read:
        """The question about a tag that is a day now, with the tag it most likely was."""
        right = (RIGHT,) if cell.content is Content.TEXT else ()
        likely = written(cell, self.forms[0], self.digits)
        words = f"{read.message}; it was most likely {likely!r} ({self.forms[0]})" if likely else read.message
        return read._replace(message=words, guesses=(*self.forms, *right))


def tag_forms(cells: Iterable[Cell]) -> TagForms:
    """The forms of a column: with the sign of its other tags, and first what is first in those."""
    column = list(cells)
    others = [found for cell in column if (found := _TWO_NUMBERS.fullmatch(tidy(cell.text)))]
    [(sign, _)] = Counter(found[2] for found in others).most_common(1) or [("-", 0)]
    firsts = {int(found[1]) for found in others}
    days = [day for cell in column if (day := shown_day(cell)) and day.day]
    month_first = sum(day.month in firsts for day in days) > sum(day.day in firsts for day in days)
    forms = (f"day{sign}month", f"month{sign}day")
    padded = bool(others) and all(len(number) >= 2 for found in others for number in found.group(1, 3))
    return TagForms(forms[::-1] if month_first else forms, 2 if padded else 1)


def written(cell: Cell, form: str, digits: int = 1) -> str | None:
    """The tag of which a spreadsheet made that day, if tags were written so; None for what is no form.

    Of a month and a year, which is what it makes of ``3-45``, no order is in doubt.
    """
    day, order = shown_day(cell), _FORM.fullmatch(form)
    if day is None or order is None:
        return None
    both = (day.day, day.month) if order["first"] == "day" else (day.month, day.day)
    if not day.day:
        both = (day.month, day.year % 100)
    return order["sign"].join(f"{number:0{digits}d}" for number in both)
