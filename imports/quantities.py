"""Numbers, lengths and sizes as people type them. A doubt comes back as a question, never as a guess."""

import re
import unicodedata
from collections.abc import Callable, Iterable
from decimal import Decimal
from itertools import count as count_from
from typing import Any, Final, NamedTuple

from imports.answers import KEEP_FIRST, KEEP_LAST
from imports.cells import Cell, Content
from imports.findings import FINE, Severity


class Read(NamedTuple):
    """The reading of a cell: the value, and at most one remark about it.

    ``guesses``: what may be meant. ``question``: the id of the question whose answer was used.
    """

    value: Any = None
    severity: Severity | None = None
    code: str = ""
    message: str = ""
    fix: str = ""
    guesses: tuple[str, ...] = ()
    question: str = ""


NOTHING: Final = Read()


def note(value: Any, code: str, message: str) -> Read:
    """Taken, and said aloud."""
    return Read(value, Severity.NOTE, code, message, FINE)


def ask(code: str, message: str, fix: str, *guesses: str) -> Read:
    """Not taken: somebody must answer. ``guesses``: what may be meant, the best first."""
    return Read(None, Severity.QUESTION, code, message, fix, guesses)


def bad(code: str, message: str, fix: str) -> Read:
    """Not taken: it cannot be."""
    return Read(None, Severity.BAD, code, message, fix)


class Doubt(NamedTuple):
    """A doubt about a value, asked where ``there`` finds something: that is ``found`` in words and cure."""

    there: Callable[..., object]
    code: str
    words: str
    fix: str


def first_doubt(doubts: Iterable[Doubt], *values: object, **said: object) -> Read | None:
    """The question for the first of these doubts that there is; ``said``: what their words name besides."""
    for doubt in doubts:
        if found := doubt.there(*values):
            words, fix = (text.format(*values, found=found, **said) for text in (doubt.words, doubt.fix))
            return ask(doubt.code, words, fix)
    return None


_INVISIBLE: Final = dict.fromkeys(
    [*range(0x200B, 0x2010), *range(0x202A, 0x202F), *range(0x2060, 0x2070), 0xFEFF, 0x00AD, 0x180E]
)
_DASHES: Final = {ord(c): "-" for c in "‐‑‒–—−﹣-"}
_FRACTIONS: Final = {"½": ".5", "¼": ".25", "¾": ".75"}


def tidy(text: str) -> str:
    """Without invisible characters and odd blanks, compatibility forms undone, dashes made plain."""
    if text.isascii():
        return " ".join(text.split())
    text = text.translate(_INVISIBLE).translate(_DASHES)
    for sign, decimals in _FRACTIONS.items():
        if sign in text:
            text = re.sub(rf"(\d)\s?{sign}", rf"\g<1>{decimals}", text).replace(sign, f"0{decimals}")
    return " ".join(unicodedata.normalize("NFKC", text).split())


_PRIVATE: Final = 0xF0000
"""Characters from here on have no other form that a text could be brought to."""


def tidy_words(text: str) -> str:
    """Tidied, but a raised, ringed or broken number stays as it stands: ``1150²`` is no serial 11502."""
    odd = {c for c in text if c.isnumeric() and not c.isdecimal() and unicodedata.normalize("NFKC", c) != c}
    if not odd:
        return tidy(text)
    free = (code for code in count_from(_PRIVATE) if chr(code) not in text)
    away = dict(zip((ord(c) for c in sorted(odd)), free, strict=False))
    return tidy(text.translate(away)).translate({code: chr(c) for c, code in away.items()})


_NUMBER: Final = re.compile(r"[-+]?\d+(?:[.,]\d+)*|[-+]?[.,]\d+")
_MIXED: Final = re.compile(r"^([-+]?\d+)[ -](\d+)/(\d+)$|^([-+]?)(\d+)/(\d+)$")
_WHOLE: Final = re.compile(
    r"^(?P<number>[-+]?\s?(?:\d[\d.,' ]*\d|\d|[.,]\d+)(?:\s\d+/\d+)?|[-+]?\d+/\d+)\s*(?P<unit>[^\d]*)$"
)
UNITS_MM: Final[dict[str, Decimal]] = {
    "mm": Decimal(1),
    "cm": Decimal(10),
    "m": Decimal(1000),
    "in": Decimal("25.4"),
    "inch": Decimal("25.4"),
    "inches": Decimal("25.4"),
    "zoll": Decimal("25.4"),
    "pouces": Decimal("25.4"),
    '"': Decimal("25.4"),
    "''": Decimal("25.4"),
    "”": Decimal("25.4"),
    "″": Decimal("25.4"),
}


GERMAN_ENDING: Final = "er"
"""``90er``: a brake of 90, as German says it; no unit."""
SOLE_WORDS: Final = ("sole", "bsl", "sohle", "semelle", "length")
"""Words that may stand behind a length to say what it is the length of."""


_ONE_SIGN: Final = re.compile(r"[-+]?\d*[.,]?\d+")
_IN_DOUBT: Final = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")
_THOUSANDS: Final = re.compile(
    r"[-+]?\d{1,3}(?P<sign>[ '.,])\d{3}(?:(?P=sign)\d{3})*(?:(?!(?P=sign))[.,]\d+)?"
)


class Amount(NamedTuple):
    """A number with what stood behind it. ``doubt`` says why the number itself is not sure."""

    number: Decimal
    unit: str
    doubt: str = ""


def amount_of(text: str) -> Amount | None:
    """The number in a text and its unit, or None where it is no single number.

    One comma or point is a decimal sign; both together, the last one is. A comma before exactly three
    digits might be a thousands sign and is in doubt; a point before three digits is a decimal point, as
    files of programs write it. Signs that part thousands stand three digits apart, or there is no number.
    """
    found = _WHOLE.match(tidy(text))
    if not found:
        return None
    raw, unit = found["number"], found["unit"].strip().casefold().rstrip(".")
    mixed = _MIXED.match(raw)
    if mixed:
        return _fraction(mixed, unit)
    if _ONE_SIGN.fullmatch(raw):
        doubt = "the comma may be a decimal sign or a thousands sign" if _IN_DOUBT.fullmatch(raw) else ""
        return Amount(Decimal(raw.replace(",", ".")), unit, doubt)
    thousands = _THOUSANDS.fullmatch(raw)
    if thousands is None:
        return None
    doubt = "a blank stands inside the number" if thousands["sign"] == " " else ""
    return Amount(Decimal(raw.replace(thousands["sign"], "").replace(",", ".")), unit, doubt)


def _fraction(mixed: re.Match[str], unit: str) -> Amount | None:
    whole = mixed[1] or f"{mixed[4]}0"
    above, below = mixed[2] or mixed[5], mixed[3] or mixed[6]
    if int(below) == 0:
        return None
    part = Decimal(above) / Decimal(below)
    number = Decimal(whole)
    return Amount(number - part if whole.startswith("-") else number + part, unit)


ERROR_TEXTS: Final = frozenset(
    [
        "#REF!",
        "#N/A",
        "#VALUE!",
        "#DIV/0!",
        "#NAME?",
        "#NULL!",
        "#NUM!",
        "#NV",
        "#BEZUG!",
        "#WERT!",
        "#ZAHL!",
        "#VALEUR!",
        "#NOM?",
        "#NOMBRE!",
    ]
)
"""The texts that a spreadsheet shows for an error, as a csv keeps them."""
UNCOMPUTED_TEXT: Final = "(formula without a stored result)"
"""The text of a marked copy for a formula that was never computed."""


_COMPUTE: Final = "open and save the file in your spreadsheet program, or enter the value itself"
_UNREADABLE: Final = (
    Doubt(
        lambda cell: cell.content is Content.ERROR or cell.text in ERROR_TEXTS,
        "error_cell",
        "the cell shows the error {0.text}",
        "enter {what} itself",
    ),
    Doubt(
        lambda cell: cell.content is Content.UNCOMPUTED or cell.text == UNCOMPUTED_TEXT,
        "formula_unsaved",
        "the cell is a formula without a stored result",
        _COMPUTE,
    ),
    Doubt(
        lambda cell: cell.formula and cell.content is Content.NUMBER and cell.value == 0,
        "formula_zero",
        "the cell is a formula whose stored result is 0, which may be a result never computed",
        _COMPUTE,
    ),
)


def unreadable(cell: Cell, what: str, *more: Doubt) -> Read | None:
    """The question for a cell that holds no usable content at all; None for a usable one."""
    return first_doubt((*_UNREADABLE, *more), cell, what=what)


def _look_alike(text: str) -> str | None:
    """The number a text was meant to be when letters stand for digits: O for 0, l and I for 1."""
    swapped = tidy(text).translate(str.maketrans("OoОоlIІ", "0000111"))
    return swapped if swapped != tidy(text) and _NUMBER.fullmatch(swapped) else None


_NO_NUMBER: Final = (
    Doubt(
        lambda cell: cell.content is Content.DATE,
        "date_for_number",
        "the cell holds a date where {what} is due",
        "enter {what} as a number",
    ),
    Doubt(
        lambda cell: cell.content is Content.TRUTH,
        "truth_for_number",
        "the cell holds {0.text} where {what} is due",
        "enter {what}",
    ),
)


def number(cell: Cell, what: str) -> Amount | Read:
    """The amount in a cell, or the remark that says why there is none."""
    stopped = unreadable(cell, what, *_NO_NUMBER)
    if stopped is not None:
        return stopped
    if cell.content is Content.NUMBER and isinstance(cell.value, Decimal):
        return Amount(cell.value, "")
    found = amount_of(cell.text)
    if found is None:
        meant = _look_alike(cell.text)
        if meant is not None:
            return ask(
                "letters_for_digits",
                f"{cell.text!r} holds a letter where a digit is due",
                f"write {meant}, if that is meant",
                meant,
            )
        return ask("not_a_number", f"{cell.text!r} is not {what}", f"enter {what} as a number")
    if found.doubt:
        return ask("ambiguous_number", f"{cell.text!r}: {found.doubt}", "write it with a point, like 12.5")
    return found


def length(
    cell: Cell,
    *,
    what: str,
    out_unit: str,
    header_unit: str = "",
    low: Decimal,
    high: Decimal,
    signed: bool = False,
) -> Read:
    """A length in ``out_unit`` (mm or cm). ``low``/``high``: what is plausible, in that unit, closed.

    The unit is the cell's own, else the header's, else the key's. Finer than 0.001 mm is asked.
    """
    amount = number(cell, what)
    if isinstance(amount, Read):
        return amount
    unit = " ".join(w for w in amount.unit.split() if w not in SOLE_WORDS and w != GERMAN_ENDING)
    if unit and unit not in UNITS_MM and _look_alike(cell.text) is not None:
        return ask(
            "letters_for_digits",
            f"{cell.text!r} holds a letter where a digit is due",
            f"write {_look_alike(cell.text)}, if that is meant",
        )
    if unit and unit not in UNITS_MM:
        return ask(
            "unknown_unit",
            f"{cell.text!r}: {amount.unit!r} is no unit of length",
            f"enter {what} in {out_unit}",
        )
    used = unit or header_unit or out_unit
    value = amount.number * UNITS_MM[used] / UNITS_MM[out_unit]
    if value < 0 and not signed:
        return bad(
            "negative", f"{what} is negative: {cell.text}", "enter it without the minus, if that is meant"
        )
    if not low <= value <= high:
        return _implausible(cell, what, amount.number, used, out_unit, low, high)
    steps = value * UNITS_MM[out_unit] * 1000
    if steps != steps.to_integral_value():
        if used in ("mm", "cm", "m"):
            return ask("too_fine", f"{cell.text!r} is finer than a thousandth of a millimetre", "round it")
        value = (value * UNITS_MM[out_unit]).quantize(Decimal("0.1")) / UNITS_MM[out_unit]
    if used != out_unit:
        return note(
            value,
            f"converted_{_unit_word(used)}_{out_unit}",
            f"{cell.text if unit else f'{cell.text} {used}'} is {value.normalize():f} {out_unit}",
        )
    return Read(value)


def _unit_word(unit: str) -> str:
    return unit if unit in ("mm", "cm", "m") else "inch"


def _implausible(
    cell: Cell, what: str, typed: Decimal, used: str, out_unit: str, low: Decimal, high: Decimal
) -> Read:
    """Out of the plausible window; if another unit would bring it in, say so but do not take it."""
    for unit in ("mm", "cm", "m", "in"):
        if unit != used and low <= typed * UNITS_MM[unit] / UNITS_MM[out_unit] <= high:
            return ask(
                "unit_doubtful",
                f"{cell.text} is not plausible for {what} in {used}; {typed:f} {unit} would be",
                f"write the unit with it, like {typed:f} {unit}",
                f"{typed:f} {unit}",
            )
    return ask(
        "implausible",
        f"{cell.text} is not plausible for {what} ({low:f} to {high:f} {out_unit} is usual)",
        f"check it; enter {what} in {out_unit}",
    )


def count(cell: Cell, *, what: str, high: int) -> Read:
    """A whole number from 0. ``5 x``, ``5 pcs`` and ``5 pairs`` are 5, with a note."""
    amount = number(cell, what)
    if isinstance(amount, Read):
        return amount
    if amount.number < 0:
        return bad(
            "negative", f"{what} is negative: {cell.text}", "enter it without the minus, if that is meant"
        )
    if amount.number != amount.number.to_integral_value():
        return ask(
            "not_whole", f"{what} is not a whole number: {cell.text}", f"enter {what} as a whole number"
        )
    if amount.number > high:
        return ask("implausible", f"{cell.text} is not plausible for {what} (at most {high})", "check it")
    value = int(amount.number)
    if amount.unit:
        if amount.unit in (
            "x",
            "×",
            "pairs",
            "pair",
            "pr",
            "prs",
            "paar",
            "paare",
            "paires",
            "paire",
            "sets",
        ):
            return note(value, "count_word", f"{cell.text!r} was read as {value}")
        return ask("count_word", f"{cell.text!r}: pairs, or single pieces?", f"enter {what} as a number")
    return Read(value)


_HALVES: Final = re.compile(r"(\d\d(?:[.,][05])?) ?[/-] ?(\d\d(?:[.,][05])?)")
"""Two sizes in a cell, as they stand on a shell that is made for both."""


def _halves(cell: Cell) -> list[str]:
    """The two sizes of a cell that differ by half a number; none where it says something else."""
    found = _HALVES.fullmatch(tidy(cell.text))
    both = [text.replace(",", ".") for text in found.groups()] if found else []
    return both if both and abs(Decimal(both[0]) - Decimal(both[1])) == Decimal("0.5") else []


def half_size(cell: Cell, which: str) -> str:
    """Return the first or the last of two sizes, as text; another answer as it is."""
    return {KEEP_FIRST: _halves(cell)[0], KEEP_LAST: _halves(cell)[1]}.get(which, which)


_SIZES: Final = (
    Doubt(
        lambda _, size: size > 52,
        "implausible",
        "{0.text} is no Mondopoint size",
        "enter it in cm, like 27.5",
    ),
    Doubt(
        lambda _, size: size > 35,
        "shoe_size",
        "{0.text} looks like an EU shoe size",
        "enter the Mondopoint size, like 27.5",
    ),
    Doubt(
        lambda _, size: size < Decimal("15.5"),
        "shoe_size",
        "{0.text} looks like a US or UK shoe size",
        "enter the Mondopoint size, like 27.5",
    ),
    Doubt(
        lambda _, size: size * 2 % 1,
        "odd_size",
        "{0.text}: Mondopoint sizes go by halves",
        "enter the size as printed, like 27.5",
    ),
)


def mondopoint(cell: Cell, *, header_unit: str = "") -> Read:
    """A shell size in cm, the trade's way: 27.5. 275 (mm) is taken with a note; shoe sizes are asked."""
    if _halves(cell):
        return ask(
            "half_sizes",
            f"{cell.text!r} names two half sizes: which of them counts?",
            f"answer {KEEP_FIRST!r} or {KEEP_LAST!r}",
            *(KEEP_LAST, KEEP_FIRST),
        )
    amount = number(cell, "a Mondopoint size")
    if _HALVES.fullmatch(tidy(cell.text)):  # two sizes that no shell is made for
        return ask(
            "not_a_number", f"{cell.text!r} is not one Mondopoint size", "enter the one it is, like 27.5"
        )
    if isinstance(amount, Read):
        return amount
    value, unit = amount.number, amount.unit
    for word in ("mp", "mondopoint", "mondo"):
        unit = unit.removeprefix(word).strip()
    if unit in ("eu", "eur", "us", "uk"):
        return ask("shoe_size", f"{cell.text!r} is a shoe size", "enter the Mondopoint size, like 27.5")
    if unit not in ("", "mm", "cm"):
        return ask("unknown_unit", f"{cell.text!r} is no Mondopoint size", "enter it in cm, like 27.5")
    if value < 0:
        return bad("negative", f"the Mondopoint size is negative: {cell.text}", "enter it like 27.5")
    in_mm = unit == "mm" or (not unit and (header_unit == "mm" or 130 <= value <= 350))
    size = value / 10 if in_mm else value
    doubt = first_doubt(_SIZES, cell, size)
    if doubt is not None:
        return doubt
    if in_mm:
        return note(size, "mondopoint_mm", f"{cell.text} was read as {size.normalize():f} cm")
    return Read(size)
