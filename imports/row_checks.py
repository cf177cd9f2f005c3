"""Checks within one row. Each check is one rule; its sentence says the rule.

An answer typed beside a row of a marked copy is *ok*, *leave out*, the value itself, or ``key=value``.

``drilled for 305`` in a remark, or a binding's name under *drilled for*, is a mount as the sheet states it.
Nothing is made of it but the sole and the name: no hole, and no position. A remark that names a binding where
no column says that one is on, is asked about; the remark itself is kept as a note in any case.
"""

import re
from collections.abc import Callable
from decimal import Decimal
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
from imports.words import says, value_words


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
        other = value_words()["kind"].get(word) if word in _TELLS_KIND else None
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


_TELLS_KIND: Final = frozenset(
    (
        *("touring", "tourenski", "touren", "rando", "randonnee", "skitour", "backcountry", "topptur"),
        *("scialpinismo", "travesia", "skialp", "skialpove", "skitury", "skiturowe", "telemark", "tele"),
        *("junior", "juniors", "kids", "kinder", "jugend", "enfant", "enfants", "bambino", "infantil"),
        *("detske", "dzieciece", "otroske", "テレマーク", "ジュニア"),
    )
)
"""Words that say what a ski is for wherever they stand; shorter ones stand in names by chance."""


def _ski_dates(row: Row) -> None:
    """Nothing is mounted before it was bought."""
    bought, mounted = row.values.get("bought_on"), row.values.get("mount_date")
    if bought and mounted and str(mounted) < str(bought):
        row.ask(
            "mounted_before_bought",
            f"mounted on {mounted}, but bought on {bought}",
            "check both days",
            key="mount_date",
        )


def _ski_zone(row: Row) -> None:
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
    length, tail = row.values.get("length_cm"), row.values.get("mark_from_tail_mm")
    back, front = row.values.get("zone_back_mm"), row.values.get("zone_front_mm")
    if isinstance(length, Decimal) and isinstance(tail, Decimal):
        if not length * 10 * Decimal("0.25") <= tail <= length * 10 * Decimal("0.7"):
            row.ask(
                "mark_implausible",
                f"a mark {tail:f} mm from the tail is no plausible place on a ski of {length:f} cm",
                "measure again, ruler laid flat from the rearmost point",
                key="mark_from_tail_mm",
            )
        elif isinstance(back, Decimal) and back > tail:
            row.ask(
                "zone_off_ski", "the mounting zone runs over the tail", "check the zone", key="zone_back_mm"
            )
        elif isinstance(front, Decimal) and front > length * 10 - tail:
            row.ask(
                "zone_off_ski", "the mounting zone runs over the tip", "check the zone", key="zone_front_mm"
            )


def _ski_brake(row: Row) -> None:
    """A mounted brake narrower than the waist, or far wider, is asked."""
    brake, waist = row.values.get("brake_mm"), row.values.get("waist_mm")
    if isinstance(brake, Decimal) and isinstance(waist, Decimal) and brake < waist:
        row.note(
            "brake_narrow",
            f"a brake of {brake:f} mm on a waist of {waist:f} mm: the planner will not use it as it is",
            key="brake_mm",
        )


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


def _one_thing(row: Row) -> None:
    """A tag is one pair: a row for several is asked."""
    number = row.values.get("quantity")
    if isinstance(number, int) and number != 1:
        row.ask(
            "quantity_of_tagged",
            f"a quantity of {number} for one tag",
            "one row for each, with its own tag",
            key="quantity",
        )
    model = row.values.get("model")
    if isinstance(model, str) and (is_quantity(model) or re.match(r"\d+\s*[x×]\s", model, re.IGNORECASE)):
        row.ask(
            "quantity_in_model",
            f"{model!r} counts several, for one tag",
            "one row for each, with its own tag",
            key="model",
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


_WINDOWS: Final = (
    ("bsl_min_mm", "bsl_max_mm", "soles", " mm"),
    ("length_min_cm", "length_max_cm", "ski lengths", ""),
    ("mondopoint_min", "mondopoint_max", "shell sizes", ""),
)
"""Both ends of each window, what it holds, and its unit."""


def _windows(row: Row) -> None:
    """Windows run forward."""
    for low_key, high_key, what, unit in _WINDOWS:
        low, high = row.values.get(low_key), row.values.get(high_key)
        if isinstance(low, Decimal) and isinstance(high, Decimal) and low > high:
            words = f"the {what} run from {low:f} to {high:f}{unit}"
            row.ask("window_backwards", words, "swap them", key=low_key)


def _wanted(row: Row) -> None:
    """Priority begins with 1."""
    if row.values.get("priority") == 0:
        row.ask(
            "priority_zero",
            "priority begins with 1, which is served first",
            "enter 1 or more",
            key="priority",
        )


def _binding(row: Row) -> None:
    """A serial belongs to one binding."""
    if row.values.get("serial") and (row.values.get("quantity") or 0) > 1:
        row.ask(
            "serial_for_many",
            f"one serial for {row.values['quantity']} pairs of bindings",
            "one row for each serial, or leave it blank",
            key="serial",
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


_RULES: dict[Table, tuple[Callable[[Row], None], ...]] = {
    Table.SKI: (
        *(_one_thing, _ski_kind, _ski_mount, hear_drilled_for, _ski_dates, _ski_zone, _ski_brake),
        _ski_inspection,
    ),
    Table.BOOT: (_one_thing,),
    Table.HOLE: (_hole,),
    Table.PATTERN: (_windows,),
    Table.WANTED: (_windows, _wanted),
    Table.BINDING: (_binding,),
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
