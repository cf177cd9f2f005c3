"""``drilled for 305`` in a remark, or a binding's name under *drilled for*: a mount as the sheet states it.

Nothing is made of it but the sole and the name: no hole, and no position. A remark that names a binding where
no column says that one is on, is asked about; the remark itself is kept as a note in any case.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final, NamedTuple

from imports.answers import RIGHT
from imports.findings import Severity
from imports.headers import FIELDS
from imports.rows import Row

_PHRASE: Final = re.compile(
    r"\b(?:(?:drilled|mounted|bored|holes) for|(?:gebohrt|montiert|bohrung|bohrungen|löcher) (?:für|fuer|auf)"
    r"|(?:perc[ée]e?s?|trous|mont[ée]e?s?) pour|(?:forat[oiae]|fori|montat[oiae]) per|perforad[oa]s? para"
    r"|boret for|borrad för|vrtáno pro|wiercone pod|vrtano za)\b",
    re.IGNORECASE,
)
_SOLE: Final = re.compile(
    r"(?<![\w.,])(?:(?:bsl|sole|sohle|semelle|suola)\W*)?(?P<sole>\d{3}(?:[.,]5)?) ?(?:mm)?(?![\w.,]*\d)",
    re.IGNORECASE,
)
_OF_HOLES: Final = ("dri", "bor", "geb", "boh", "per", "for", "vrt", "wie")
"""Words that speak of holes; one that is mounted for something is so for a sole, or for anything."""
_AROUND: Final = " \t,;:()[]@.-"
_BETWEEN: Final = re.compile(r"[|\n;]")


class DrilledFor(NamedTuple):
    """The binding's name, "" where none is said, and the sole in mm, None where none is said."""

    name: str
    sole: Decimal | None
    words: str


def drilled_for(text: str) -> DrilledFor | None:
    """Return what a remark says that a ski was drilled for; None where it says no such thing."""
    for part in _BETWEEN.split(text):
        phrase = _PHRASE.search(part)
        if phrase is None:
            continue
        said = _name_and_sole(part[phrase.end() :])
        before = part[: phrase.start()].strip(_AROUND)
        holes = phrase[0].casefold().startswith(_OF_HOLES)
        if said is not None and (said[1] is not None or (said[0] and holes)):
            return DrilledFor(said[0] or before, said[1], " ".join(part.split()))
    return None


def _name_and_sole(text: str) -> tuple[str, Decimal | None] | None:
    """(name, sole) of ``Teach 4, 305 mm``; None where the figure is no sole."""
    soles = [found for found in _SOLE.finditer(text) if _is_sole(found["sole"])]
    if not soles:
        return text.strip(_AROUND), None
    last = soles[-1]
    if text[last.end() :].strip(_AROUND) or len(soles) > 1:
        return None
    return text[: last.start()].strip(_AROUND), Decimal(last["sole"].replace(",", "."))


def _is_sole(text: str) -> bool:
    field = FIELDS["bsl_mm"]
    return field.low <= float(text.replace(",", ".")) <= field.high


def hear_drilled_for(row: Row) -> None:
    """A mount that a remark, or the column *drilled for*, states: its sole, and its binding's name."""
    said = _of_column(row) or drilled_for(str(row.values.get("notes") or ""))
    if said is None:
        return
    binding, sole = row.values.get("binding_model"), row.values.get("bsl_mm")
    if binding is None and not said.name:
        row.note("drilled_for", f"{said.words!r} names no binding: it is kept as a note", key="notes")
        return
    if binding is not None and said.name and said.name.casefold() != str(binding).casefold():
        words = f"{said.words!r} speaks of another binding than the one that is on: it is kept as a note"
        row.note("drilled_for", words, key="notes")
        return
    if sole is not None and said.sole is not None and sole != said.sole:
        row.ask(
            "drilled_for_differs",
            f"{said.words!r}, but the sole it is mounted for is {sole:f} mm in its own column",
            'correct one of them, or answer "right" if the column is',
            key="bsl_mm",
        )
        return
    row.values["bsl_mm"] = said.sole if sole is None else sole
    if binding is None:
        _ask_whether_on(row, said)
    elif sole is None and said.sole is not None:
        words = f"{said.words!r} was read as the sole that it is mounted for: {said.sole:f} mm"
        row.note("drilled_for", words, key="bsl_mm", taken=said.sole)


def _of_column(row: Row) -> DrilledFor | None:
    """The same of a cell under *drilled for* that names a binding: ``Teach 4 305``."""
    cell = row.cells.get("bsl_mm")
    if (
        cell is None
        or row.values.get("bsl_mm") is not None
        or not _PHRASE.search(row.place.headers["bsl_mm"])
    ):
        return None
    said = _name_and_sole(cell[1].text)
    if said is None or not said[0] or said[1] is None:
        return None
    row.findings[:] = [f for f in row.findings if f.key != "bsl_mm" or f.severity is Severity.NOTE]
    row.doubted.discard("bsl_mm")
    return DrilledFor(said[0], said[1], f"drilled for {cell[1].text}")


def _ask_whether_on(row: Row, said: DrilledFor) -> None:
    """No column says that a binding is on: the holes may be all that is left of it."""
    row.ask(
        "drilled_for_named",
        f"{said.words!r}: is {said.name} on the ski? Then it is kept as a mount as stated",
        'answer "right" if it is on; else "not known", and the words stay a note',
        key="bsl_mm",
    )
    if row.confirmed or row.answered("drilled_for_named", "bsl_mm") == RIGHT:
        row.values["binding_model"] = said.name
