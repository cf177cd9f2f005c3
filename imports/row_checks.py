"""Checks within one row. Each check is one rule; its sentence says the rule.

An answer typed beside a row of a marked copy is *ok*, *leave out*, the value itself, or ``key=value``.

``drilled for 305`` in a remark, or a binding's name under *drilled for*, is a mount as the sheet states it.
Nothing is made of it but the sole and the name: no hole, and no position. A remark that names a binding where
no column says that one is on, is asked about; the remark itself is kept as a note in any case.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from operator import gt
from typing import Final, NamedTuple

from fleet.facts.policy import Policy
from imports.answers import LEAVE_OUT, RIGHT
from imports.cell_values import is_quantity
from imports.cells import Cell
from imports.findings import Severity
from imports.header_match import header_text
from imports.headers import FIELDS, Table
from imports.row_reader import RowReader
from imports.rows import Row
from imports.sole import check_boot_sole
from imports.words import phrases, says, value_words


def check_row(row: Row, policy: Policy) -> None:
    """All rules of the row's table, in order."""
    for rule in _RULES.get(row.table, ()):
        rule(row)
    if row.table is Table.BOOT:
        _boot(row, policy)


def _ski_mount(row: Row) -> None:
    """A mounted BSL, offset or date belongs to a binding."""
    values = row.values
    codes = {f.code for f in row.findings if f.key in (None, "binding_model")}
    if values.get("binding_model") is not None:
        return
    if _said(row, "binding_model") and not codes & {"no_binding", "said_unknown"}:
        return
    given = [key for key in _OF_MOUNT if values.get(key) is not None]
    if given:
        what = " and ".join(_OF_MOUNT[key] for key in given)
        why = "the binding is said to be not known" if "said_unknown" in codes else "no binding is on the ski"
        row.not_taken.update(given)
        row.ask(
            "mount_without_binding",
            f"{what} {'is' if len(given) == 1 else 'are'} given but {why}",
            "name the binding, or clear the cell if the ski is flat",
            key=given[0],
        )


_OF_MOUNT: Final = {
    "bsl_mm": "a mounted sole length",
    "mount_date": "a mount date",
    "brake_mm": "a brake width",
    "mark_offset_mm": "a boot centre",
    "toe_stands_mm": "the place of a toe piece",
    "heel_stands_mm": "the place of a heel piece",
}
"""The keys by which a row tells of a mount beside its binding; without one nothing takes them."""


def _said(row: Row, key: str) -> bool:
    """Return whether the cell is filled, whatever became of it."""
    return key in row.cells and bool(row.cells[key][1].text.strip(" -–—"))


def _ski_kind(row: Row) -> None:
    """A kind said for the whole list is asked about where the row's own words say another."""
    kind = row.values.get("kind")
    if kind is None or "kind" in row.cells:
        return
    texts = (str(row.values.get(key) or "") for key in ("model", "binding_model", "notes"))
    for word in header_text(" ".join(texts)).words.split():
        other = value_words()["kind"].get(word) if word in phrases("tells_kind") else None
        if other is not None and other != kind:
            row.ask(
                "kind_differs",
                f"the whole list is {kind}, and {word!r} in the row says {other}",
                f'answer "{other}", or "right" if it is {kind}',
                other,
                kind,
                key="kind",
                about=word,
            )
            return


def _zone_sign(row: Row) -> None:
    """A zone is given by magnitudes; a negative one behind the mark is taken without its sign."""
    back = row.values.get("zone_back_mm")
    if isinstance(back, Decimal) and back < 0:
        row.values["zone_back_mm"] = -back
        row.note(
            "zone_back_sign",
            f"the zone behind the mark was read as {-back:f} mm",
            key="zone_back_mm",
            taken=-back,
        )


def _plausible(mark_mm: Decimal, length_cm: Decimal) -> bool:
    """Return whether the mark of a ski of that length may lie so far from its tail."""
    return length_cm * Decimal("2.5") <= mark_mm <= length_cm * 7


def _ski_inspection(row: Row) -> None:
    """An inspection opens the mounting zone; what is missing for that is said."""
    values = row.values
    inspected = values.get("inspected")
    if inspected not in ("bare", "new"):
        return
    if any(values.get(key) is None for key in ("zone_back_mm", "zone_front_mm", "zone_half_width_mm")):
        row.note(
            "nothing_opens",
            f"inspected {inspected!r}, but the mounting zone is unknown: no area opens for new holes",
            "enter zone_back_mm, zone_front_mm and zone_half_width_mm",
            key="inspected",
        )
    elif values.get("inspected_on") is None:
        row.ask(
            "inspection_without_day",
            f"inspected {inspected!r}, but no day is given; an undated inspection opens nothing",
            "enter inspected_on",
            key="inspected",
        )


def _boot(row: Row, policy: Policy) -> None:
    """Swapped columns, then the sole."""
    bsl_cell, shell_cell = row.cells.get("bsl_mm"), row.cells.get("mondopoint")
    if bsl_cell and shell_cell and row.values.get("bsl_mm") is None and row.values.get("mondopoint") is None:
        from imports.quantities import amount_of

        bsl, shell = amount_of(bsl_cell[1].text), amount_of(shell_cell[1].text)
        if bsl and shell and 15 <= bsl.number <= 35 and 200 <= shell.number <= 400:
            row.ask(
                "swapped_columns",
                f"the shell size {shell_cell[1].text} and the sole length {bsl_cell[1].text} look swapped",
                "put the shell size and the sole length into their own columns",
                key="bsl_mm",
            )
            return
    check_boot_sole(row, policy)
    for key, what, follows in (
        ("bsl_mm", "sole length", "it is kept, and no plan can use it"),
        ("sole_type", "sole type", "it fits no binding until both makers' sheets name its sole"),
    ):
        if row.values.get(key) is None and not _said(row, key):
            row.note(
                f"boot_without_{key.removesuffix('_mm')}",
                f"the boot has no {what}: {follows}",
                f"enter the {what}",
            )


def _hole(row: Row) -> None:
    """A hole needs its side; "both" is the shop's word, kept as batch assumed."""
    values = row.values
    open_yet = [f for f in row.findings if f.severity is not Severity.NOTE]
    asked = any(f.key == "ski" or (f.column and f.code == "unknown_word") for f in open_yet)
    if values.get("ski") is None and not asked:
        row.ask(
            "hole_without_side",
            "the hole has no side: ski A or ski B?",
            "enter A, B, or both",
            key="ski",
        )
    if values.get("ski") == "both" and values.get("knowledge") not in ("template", "suspected"):
        values["knowledge"] = "batch assumed"
        row.note(
            "both_sides",
            "a hole on both skis is the shop's word and is kept on each as batch assumed",
            "enter A and B in two rows, if each ski was looked at",
            key="ski",
            taken="batch assumed",
        )
    elif values.get("knowledge") is None and (
        "knowledge" not in row.cells or says(row.cells["knowledge"][1].text, "unknown")
    ):
        values["knowledge"] = "suspected"
        row.note(
            "knowledge_blank",
            "nothing says how the hole is known: kept as suspected, with the largest allowance",
            f'enter how it is known, or say it for all: --all-rows "{row.sheet}:knowledge=measured here"',
            taken="suspected",
        )


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


@dataclass(frozen=True, slots=True)
class _Rule:
    """A rule on the values of ``keys``, looked at where all are said; it is asked at the first of them.

    ``words`` names values by their keys. Without a ``cure`` nothing has to be done: it is a note.
    """

    code: str
    keys: tuple[str, ...]
    wrong: Callable[..., object]
    words: str
    cure: str = ""

    def __call__(self, row: Row) -> None:
        """Ask about the row where its values are wrong."""
        said = [row.values.get(key) for key in self.keys]
        if None in said or not self.wrong(*said):
            return
        words = self.words.format_map(row.values)
        if self.cure:
            row.ask(self.code, words, self.cure, key=self.keys[0])
        else:
            row.note(self.code, words, key=self.keys[0])


_ONE_THING: Final = (
    _Rule(
        "quantity_of_tagged",
        ("quantity",),
        lambda quantity: quantity != 1,
        "a quantity of {quantity} for one tag",
        "one row for each, with its own tag",
    ),
    _Rule(
        "quantity_in_model",
        ("model",),
        lambda model: is_quantity(model) or re.match(r"\d+\s*[x×]\s", model, re.IGNORECASE),
        "{model!r} counts several, for one tag",
        "one row for each, with its own tag",
    ),
)
"""A tag is one pair: a row for several is asked."""
_RULES: Final[dict[Table, tuple[Callable[[Row], None], ...]]] = {
    Table.SKI: (
        *_ONE_THING,
        *(_ski_kind, _ski_mount, hear_drilled_for),
        _Rule(
            "mounted_before_bought",
            ("mount_date", "bought_on"),
            lambda mounted, bought: mounted < bought,
            "mounted on {mount_date}, but bought on {bought_on}",
            "check both days",
        ),
        _zone_sign,
        _Rule(
            "mark_implausible",
            ("mark_from_tail_mm", "length_cm"),
            lambda mark, length: not _plausible(mark, length),
            "a mark {mark_from_tail_mm:f} mm from the tail is no plausible place on a ski of"
            " {length_cm:f} cm",
            "measure again, ruler laid flat from the rearmost point",
        ),
        _Rule(
            "zone_off_ski",
            ("zone_back_mm", "mark_from_tail_mm", "length_cm"),
            lambda back, mark, length: _plausible(mark, length) and back > mark,
            "the mounting zone runs over the tail",
            "check the zone",
        ),
        _Rule(
            "zone_off_ski",
            ("zone_front_mm", "mark_from_tail_mm", "length_cm"),
            lambda front, mark, length: _plausible(mark, length) and front > length * 10 - mark,
            "the mounting zone runs over the tip",
            "check the zone",
        ),
        _Rule(
            "brake_narrow",
            ("brake_mm", "waist_mm"),
            lambda brake, waist: isinstance(brake, Decimal) and brake < waist,
            "a brake of {brake_mm:f} mm on a waist of {waist_mm:f} mm: the planner will not use it as it is",
        ),
        _ski_inspection,
    ),
    Table.BOOT: _ONE_THING,
    Table.HOLE: (_hole,),
    Table.PATTERN: (
        _Rule(
            "window_backwards",
            ("bsl_min_mm", "bsl_max_mm"),
            gt,
            "the soles run from {bsl_min_mm:f} to {bsl_max_mm:f} mm",
            "swap them",
        ),
    ),
    Table.WANTED: (
        _Rule(
            "window_backwards",
            ("length_min_cm", "length_max_cm"),
            gt,
            "the ski lengths run from {length_min_cm:f} to {length_max_cm:f}",
            "swap them",
        ),
        _Rule(
            "window_backwards",
            ("mondopoint_min", "mondopoint_max"),
            gt,
            "the shell sizes run from {mondopoint_min:f} to {mondopoint_max:f}",
            "swap them",
        ),
        _Rule(
            "priority_zero",
            ("priority",),
            lambda priority: priority == 0,
            "priority begins with 1, which is served first",
            "enter 1 or more",
        ),
    ),
    Table.AREA: (
        _Rule("window_backwards", ("from_mm", "to_mm"), gt, "the area runs backwards", "swap its ends"),
    ),
    Table.BINDING: (
        _Rule(
            "serial_for_many",
            ("serial", "quantity"),
            lambda _, quantity: quantity > 1,
            "one serial for {quantity} pairs of bindings",
            "one row for each serial, or leave it blank",
        ),
    ),
}


def answered(row: Row, reader: RowReader, policy: Policy) -> Row:
    """The row as its answer makes it: set aside, as it stands, or read again with the value given."""
    if row.confirmed:
        return row
    if row.answer == LEAVE_OUT:
        row.left_out = True
        return row
    given = _given(row, reader)
    if not given:
        row.ask(
            "answer_unclear",
            f"the answer {row.answer!r} names no value",
            'write "ok", "leave out", the value itself, or key=value',
        )
        return row
    said = {key: (reader.column_of(key), Cell(text)) for key, text in given.items()}
    again = reader.read(row.number, row.cells | said)
    check_row(again, policy)
    for key, text in given.items():
        was = row.cells[key][1].text if key in row.cells else ""
        again.note("answered", f"{key} is {text!r} by the answer given, instead of {was!r}", key=key)
    return again


def _given(row: Row, reader: RowReader) -> dict[str, str]:
    """Key -> text: from ``key=value``, else the one cell that is in question."""
    given = {}
    for part in row.answer.split(";"):
        key, sign, text = part.partition("=")
        if sign:
            if key.strip() not in FIELDS or not reader.column_of(key.strip()):
                return {}
            given[key.strip()] = text.strip()
    if given:
        return given
    keys = {f.key for f in row.findings if f.severity is not Severity.NOTE and f.key}
    keys = {key for key in keys if reader.column_of(key)}
    return {keys.pop(): row.answer} if len(keys) == 1 else {}
