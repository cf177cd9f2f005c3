"""One cell to a value, by what its column holds.

Asset tags are text for ever: zeros kept as shown, and whatever a spreadsheet mangled is asked about. Tags of
which it made days (``3-4`` became 3 April) are asked about once for their column: the answer says how such a
tag was written, ``day-month`` or ``month-day``, with the others' sign.
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Iterable
from datetime import date
from decimal import Decimal
from typing import Final, NamedTuple

from fleet.base.kept_names import is_place
from fleet.facts.columns import Field, Holds
from fleet.facts.pairs import Brake
from imports.answers import RIGHT
from imports.cells import GUARD, RUNS, Cell, Content, unguarded
from imports.days import NEAR_LANGUAGES, day, month_of, shows_day
from imports.header_match import header_text
from imports.quantities import (
    NOTHING,
    Doubt,
    Read,
    ask,
    count,
    first_doubt,
    length,
    mondopoint,
    note,
    tidy,
    tidy_words,
    unreadable,
)
from imports.words import says, value_words, word

_BRAKE: Final = re.compile(r"[bB] ?(?P<width>\d{2,3})(?: ?mm)?")
"""A brake's width behind the letter that stands for brake: ``B90``."""


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
        if "?" in tidy(cell.text):
            return ask(
                "question_mark",
                f"{field_.what} is a question mark",
                f"enter {field_.what}, or leave it blank",
            )
        return NOTHING
    doubt = _no_value(cell, key, field_)
    if doubt is not None:
        return doubt
    if key == "brake_mm":
        if says(cell.text, "none", "no_brake"):
            return Read(Brake.NONE)
        if header_text(cell.text).words == header_text(Brake.TOLD).words:
            return Read(Brake.TOLD)
        if lettered := _BRAKE.fullmatch(tidy(cell.text)):
            width = Decimal(lettered["width"])
            if field_.low <= width <= field_.high:
                return note(width, "brake_letter", f"{cell.text!r} was read as a brake of {width:f} mm")
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
    if field_.holds is Holds.TAG and (key != "serial" or shown_day(cell) is None):
        return tag(cell._replace(style="csv") if from_csv else cell)
    if field_.holds is Holds.WORD:
        return word(cell, key=key, what=field_.what, more=kinds if key == "kind" else ())
    if field_.holds is Holds.COUNT:
        return count(cell, what=field_.what, high=field_.high)
    if field_.holds is Holds.SHELL:
        return mondopoint(cell, header_unit=unit)
    if field_.holds is Holds.DAY:
        return day(cell, what=field_.what, order=order, today=_horizon(key, today))
    if key == "binding_model" and says(cell.text, "none", "no_binding"):
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
    if cell.content is not Content.TEXT or key == "notes":
        return None
    text = cell.text
    if field_.holds is Holds.WORD and header_text(text).words in value_words()[key]:
        return None
    if says(text, "ditto"):
        return ask("ditto", f"{text!r} says *as above*, and nothing stands above", f"enter {field_.what}")
    if field_.holds is Holds.TAG:
        return None
    if says(text, "unknown"):
        return note(None, "said_unknown", f"{text!r} was read as: not known")
    if key in _NAMED and says(text, "tick"):
        return ask(
            "only_yes", f"{text!r} says that there is one, not which: {field_.what}", f"enter {field_.what}"
        )
    return None


def _horizon(key: str, today: date) -> date:
    """A signature may count until a day to come; nothing else may have happened then."""
    return date(today.year + 20, 12, 31) if key == "valid_until" else today


_NO_TEXT: Final = (
    Doubt(
        lambda cell: cell.content is Content.DATE,
        "text_is_date",
        "the spreadsheet made a date of {what} ({0.text})",
        "enter it as text",
    ),
    Doubt(
        lambda cell: cell.content is Content.TRUTH,
        "text_is_truth",
        "{what} is {0.text}",
        "enter it as text",
    ),
    Doubt(
        lambda cell: len(_words(cell)) * (len(_words(cell)) > _LONGEST_TEXT),
        "text_too_long",
        "{what} has {found} characters",
        "shorten it",
    ),
    Doubt(
        lambda cell: is_place(_words(cell)) and _words(cell),
        "text_is_place",
        "{found!r} is how the ledger itself says a name",
        "write it otherwise",
    ),
)
_LONGEST_TEXT: Final = 500


def _words(cell: Cell) -> str:
    return tidy_words(unguarded(cell.text))


def _text(cell: Cell, field_: Field) -> Read:
    stopped = unreadable(cell, field_.what, *_NO_TEXT)
    if stopped is not None:
        return stopped
    text = _words(cell)
    if text and text != " ".join(unguarded(cell.text).split()):
        return note(text, "text_cleaned", f"invisible or odd characters were taken out of {text!r}")
    return Read(text) if text else NOTHING


_PATTERN_FORMAT: Final = re.compile(r'^((?:"[^"]*"|\\.|_.|[- A-Za-z])*?)(0+)((?:"[^"]*"|\\.|_.|[- ])*)$')
_POWER_FORMAT: Final = re.compile(r"[0#?.]E[-+]", re.IGNORECASE)
_MANGLED: Final = re.compile(r"^\d(?:[.,]\d+)?E\+?\d+$", re.IGNORECASE)
_RANGE: Final = re.compile(r"^(\S*?\d+)\s*(?:-|to|bis|à|\.\.\.?|…)\s*(\S*?\d+)$", re.IGNORECASE)
_DASHED_RANGE: Final = re.compile(r"(\d+)\s*[–—]\s*(?:[^\W\d]+-?)?(\d+)$")
_COUNTED: Final = r"(?:x|×|pairs?|paare?|paires?|pcs|pieces?|stk|stück)"
_QUANTITY: Final = re.compile(
    rf"^\d+\s*{_COUNTED}\.?$|^[x×]\s*\d+$|\(\s*(?:\d+\s*{_COUNTED}\.?|[x×]\s*\d+)\s*\)",
    re.IGNORECASE,
)
_QUOTED_FORMULA: Final = re.compile(r'^="([^"]+)"$')
_BLANK_IN_TAG: Final = re.compile(r"(?<=^[A-Za-z]) (?=\d)|(?<=^[A-Za-z]{2}) (?=\d)|(?<=^[A-Za-z]{3}) (?=\d)")
"""``SK 020``: one blank between some letters and the number."""
MAX_TAG: Final = 64


_TEXT_WITH_APOSTROPHE: Final = "enter the tag as text, with an apostrophe before it"
_NO_TAG: Final = (
    Doubt(
        lambda cell: cell.content is Content.DATE,
        "tag_is_date",
        "the spreadsheet made a date of this tag ({0.text})",
        _TEXT_WITH_APOSTROPHE,
    ),
    Doubt(
        lambda cell: cell.content is Content.TRUTH,
        "tag_is_truth",
        "the cell holds {0.text} where a tag is due",
        "enter the tag as text",
    ),
)
_TAG_DOUBTS: Final = (
    Doubt(
        lambda text, _: len(text) * (len(text) > MAX_TAG),
        "tag_too_long",
        "a tag of {found} characters",
        "enter the tag alone",
    ),
    Doubt(
        lambda text, _: is_place(text),
        "tag_is_place",
        "{0!r} is how the ledger itself says a name",
        "give another tag",
    ),
    Doubt(
        lambda text, _: _MANGLED.match(text) and re.search(r"[.,+]", text),
        "tag_is_power",
        "{0} looks like a tag turned into a number (such as 1E5)",
        _TEXT_WITH_APOSTROPHE,
    ),
    Doubt(
        lambda text, cell: cell.style == "csv" and _MANGLED.match(text),
        "tag_is_power",
        "{0} reads as a power of ten in spreadsheets; another program may have made it 100000",
        "check it against the ski; put letters or a hyphen into such tags",
    ),
    Doubt(
        lambda text, _: re.fullmatch(r"(\d+)\.0+", text),
        "tag_is_number",
        "{0} looks like a tag turned into a number",
        "enter {found[1]} as text, if that is the tag",
    ),
    Doubt(
        lambda text, _: _are_several(text),
        "several_tags",
        "{0!r} are several tags in one cell",
        "one row for each",
    ),
    Doubt(
        lambda text, cell: tag_range(text) or _dashed_range(_shown_tag(cell)),
        "tag_range",
        "{0!r} is a range of tags, {found[0]} to {found[1]}",
        "one row for each",
    ),
    Doubt(
        lambda text, _: is_quantity(text),
        "tag_is_quantity",
        "{0!r} is a quantity, not a tag",
        "one row for each, with its tag",
    ),
    Doubt(
        lambda text, _: shown_day(Cell(text)),
        "tag_is_date",
        "{0} looks like a tag turned into a date",
        "enter the tag as text",
    ),
    Doubt(
        lambda text, _: _mixed_scripts(text),
        "look_alike_letter",
        "{0!r} holds {found}, which only looks like a Latin letter",
        "type the tag again on a Latin keyboard",
    ),
)


def tag(cell: Cell) -> Read:
    """The tag as text, exactly as a person sees it, blanks trimmed."""
    stopped = unreadable(cell, "the tag", *_NO_TAG)
    if stopped is not None:
        return stopped
    if cell.content is Content.NUMBER and isinstance(cell.value, Decimal):
        return _from_number(cell, cell.value)
    if cell.style == "csv" and cell.text.lstrip()[:1] in RUNS:
        return _formula_text(cell.text.strip())
    text = tidy_words(_shown_tag(cell))
    doubt = first_doubt(_TAG_DOUBTS, text, cell)
    if doubt is not None:
        return doubt
    if text and text != " ".join(unguarded(cell.text).split()):
        return note(text, "tag_cleaned", f"invisible or odd characters were taken out of {text!r}")
    return Read(text) if text else NOTHING


def _shown_tag(cell: Cell) -> str:
    """The text without its guard, or without the apostrophe that somebody typed before a tag."""
    shown = unguarded(cell.text)
    return shown.removeprefix(GUARD) if shown == cell.text else shown


def _are_several(text: str) -> bool:
    """Return whether a text names several tags: ``K-1, K-2``, ``K-1/K-2``."""
    several = re.split(r"\s*[,;&]\s*|\s+(?:and|und|et)\s+", text)
    several = several if len(several) > 1 else _slashed(text)
    return len(several) > 1 and all(tag_like(_BLANK_IN_TAG.sub("", part)) for part in several)


def _formula_text(text: str) -> Read:
    """A csv tag that a spreadsheet would calculate. ``="0031"`` is how programs keep its zeros: taken."""
    quoted = _QUOTED_FORMULA.match(text)
    if quoted and tidy(quoted[1]) and not tag_range(quoted[1]):
        return note(tidy(quoted[1]), "tag_as_shown", f"{text} was written to keep the tag {tidy(quoted[1])}")
    return ask(
        "tag_is_formula",
        f"{text!r} begins like a formula, which is no tag",
        "enter the tag as it stands on the ski, with an apostrophe before it",
    )


def is_quantity(text: str) -> bool:
    """Return whether a text counts things: ``5 x``, ``3 pairs``, ``K-200 (3 pairs)``."""
    return bool(_QUANTITY.search(tidy(text)))


def _slashed(text: str) -> list[str]:
    """``K-1/K-2`` and ``K-035/036`` -> both; ``26/031`` and ``R4/12`` are one tag each."""
    parts = re.split(r"\s*/\s*", text)
    short = re.fullmatch(r"\D*[A-Za-z]\D*(\d{2,})", parts[0])
    if short and all(p.isdigit() and len(p) == len(short[1]) for p in parts[1:]):
        return parts
    stems = {re.sub(r"\d+$", "", part) for part in parts}
    return parts if len(stems) == 1 and stems != {""} else [text]


def _dashed_range(text: str) -> tuple[str, str] | None:
    """``K-201–205`` with a long dash between rising numbers is a range, ``K–031`` is a tag."""
    found = _DASHED_RANGE.search(text.strip())
    if found and int(found[1]) < int(found[2]):
        return text[: found.end(1)].strip(), text[found.start(2) :].strip()
    return None


def padded_width(cells: Iterable[Cell]) -> int:
    """The width of digits-only tags, if some of them begin with a zero and none is longer; else 0."""
    texts = [tidy(cell.text) for cell in cells if cell.content is Content.TEXT]
    numbers = [text for text in texts if text.isdigit()]
    return max(map(len, numbers)) if any(text.startswith("0") for text in numbers) else 0


def lost_zeros(read: Read, width: int) -> Read:
    """Ask about a tag of digits that is shorter than its padded neighbours."""
    text = read.value
    if isinstance(text, str) and text.isdigit() and len(text) < width:
        return ask(
            "zeros_lost",
            f"{text} is shorter than the other tags, which have {width} digits: zeros may be lost",
            f"enter {text:0>{width}} as text, if that is the tag",
        )
    return read


def tag_like(text: str) -> bool:
    """Return whether a lone cell may be a tag: short, one word, with a digit."""
    plain = tidy(text)
    return len(plain) <= 24 and " " not in plain and any(c.isdigit() for c in plain)


def tag_range(text: str) -> tuple[str, str] | None:
    """The two ends of ``K-101 to K-120``, or None. A tag such as ``K-101`` is not a range."""
    found = _RANGE.match(tidy(text))
    if not found:
        return None
    first, last = found[1], found[2]
    stem = re.sub(r"\d+$", "", first)
    if not re.search(r"\s|\bto\b|bis|\.\.|…", tidy(text)) and not (stem and last.startswith(stem)):
        return None
    if last.isdigit() and not first.isdigit():
        last = f"{stem}{last}"
    if re.sub(r"\d+$", "", last) != stem:
        return None
    return first, last


_STORED: Final = "the tag is stored as the number {0.text}"
_NUMBER_DOUBTS: Final = (
    Doubt(
        lambda cell: cell.value != cell.value.to_integral_value(),
        "tag_is_number",
        f"{_STORED}; zeros at its end may be lost",
        _TEXT_WITH_APOSTROPHE,
    ),
    Doubt(
        lambda cell: _POWER_FORMAT.search(cell.style),
        "tag_is_power",
        f"{_STORED}; it may have been typed like 1E5",
        _TEXT_WITH_APOSTROPHE,
    ),
    Doubt(
        lambda cell: abs(cell.value) >= 10**15,
        "tag_is_number",
        f"{_STORED}; its last digits may be lost",
        "enter it as text",
    ),
    Doubt(lambda cell: cell.value < 0, "tag_is_number", _STORED, "enter the tag as text"),
    Doubt(
        lambda cell: shown_whole(int(cell.value), cell.style) is None,
        "tag_format",
        "the tag is stored as {0.text} and shown in the format {0.style!r}",
        "enter the tag as text, as it stands on the ski",
    ),
)


def _from_number(cell: Cell, number: Decimal) -> Read:
    doubt = first_doubt(_NUMBER_DOUBTS, cell)
    if doubt is not None:
        return doubt
    shown = shown_whole(int(number), cell.style)
    if shown != str(int(number)):
        return note(
            shown, "tag_as_shown", f"the stored number {int(number)} is shown as {shown}; that is the tag"
        )
    return Read(shown)


def shown_whole(number: int, style: str) -> str | None:
    """A whole number as its format shows it: General, @, ``00000``, ``"K-"000``. None: not known."""
    if style in ("", "General", "@", "#", "GENERAL", "csv"):
        return str(number)
    found = _PATTERN_FORMAT.match(style.partition(";")[0])
    if not found:
        return None
    before, zeros, after = found[1], found[2], found[3]
    return f"{_literal(before)}{number:0{len(zeros)}d}{_literal(after)}".strip()


def _literal(part: str) -> str:
    """Without quotation marks; ``_x`` is a blank as wide as x."""
    return re.sub(
        r'"([^"]*)"|\\(.)|_.', lambda found: found[1] if found[1] is not None else found[2] or " ", part
    )


_LOOK_ALIKE: Final = "АВЕКМНОРСТХаеорсхуіІЅѕΑΒΕΖΗΙΚΜΝΟΡΤΥΧο"
"""Cyrillic and Greek letters that look like Latin ones."""


def _mixed_scripts(text: str) -> str:
    """Return the name of the first letter that only looks like a Latin one."""
    return next((unicodedata.name(char).lower() for char in text if char in _LOOK_ALIKE), "")


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
