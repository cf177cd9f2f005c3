"""Values as people type them: units, sizes, numbers that are text, tags that became numbers, days."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from tests.imports.corpus.case import (
    GOOD,
    GOOD_ROW,
    HEAD,
    Case,
    book,
    raw_book,
    row_xml,
    sheet_xml,
    skis,
    styles_xml,
)

_BOOTS = ["tag", "model", "mondopoint", "bsl_mm", "bsl_measured", "sole_type"]
_GOOD_BOOT = ("boot", "B-1", "good")
_NOTED_BOOT = ("boot", "B-1", "note")
_ASKED_BOOT = ("boot", "B-1", "question")


def boots(*rows: Sequence[Any], header: Sequence[str] = _BOOTS) -> Callable[[Path], object]:
    return book({"Boots": [list(header), *rows]})


def boot(shell: Any, bsl: Any, measured: str = "printed", sole: str = "ISO 9523") -> list[Any]:
    return ["B-1", "Gimmel", shell, bsl, measured, sole]


def _raw(rows: Sequence[Sequence[Any]], styles: str = "", **more: Any) -> Callable[[Path], object]:
    xml = sheet_xml("".join(row_xml(n, row) for n, row in enumerate(rows, start=1)))
    return lambda path: raw_book(path, xml, styles=styles, **more)


def _tag_cell(value: str, style: int = 0) -> str:
    return f'<c r="REF" s="{style}"><v>{value}</v></c>'


def _dated(*cells: Any) -> Callable[[Path], object]:
    return skis(
        [*HEAD, "binding_model", "mount_date"],
        *[[f"K-{i}", *GOOD[1:], "Gorge 5", c] for i, c in enumerate(cells, 1)],
    )


CASES = [
    Case(
        name="value_shell_comma.xlsx",
        why="27,5 with a decimal comma",
        make=boots(boot("27,5", "317")),
        outcome="import",
        rows=[_GOOD_BOOT],
        values={"B-1": {"mondopoint": 27.5, "bsl_mm": 317}},
    ),
    Case(
        name="value_shell_half_sign.xlsx",
        why="27½ with the fraction sign",
        make=boots(boot("27½", 317)),
        outcome="import",
        rows=[_GOOD_BOOT],
        values={"B-1": {"mondopoint": 27.5}},
    ),
    Case(
        name="value_shell_mm.xlsx",
        why="275 in a shell column is 27.5, with a note",
        make=boots(boot(275, 317)),
        outcome="import",
        notes=["mondopoint_mm"],
        rows=[_NOTED_BOOT],
        values={"B-1": {"mondopoint": 27.5}},
    ),
    Case(
        name="value_shell_eu_size.xlsx",
        why="an EU shoe size in a shell column",
        make=boots(boot(42, 317)),
        outcome="questions",
        asked=["shoe_size"],
        rows=[_ASKED_BOOT],
        values={"B-1": {"mondopoint": None}},
    ),
    Case(
        name="value_shell_us_size.xlsx",
        why="a US shoe size in a shell column",
        make=boots(boot(9.5, 317)),
        outcome="questions",
        asked=["shoe_size"],
        rows=[_ASKED_BOOT],
    ),
    Case(
        name="value_bsl_with_unit.xlsx",
        why="307 mm as text",
        make=boots(boot(26.5, "307 mm")),
        outcome="import",
        rows=[_GOOD_BOOT],
        values={"B-1": {"bsl_mm": 307}},
    ),
    Case(
        name="value_bsl_cm.xlsx",
        why="30.7 cm is 307 mm, with a note",
        make=boots(boot(26.5, "30.7 cm")),
        outcome="import",
        notes=["converted_cm_mm"],
        rows=[_NOTED_BOOT],
        values={"B-1": {"bsl_mm": 307}},
    ),
    Case(
        name="value_bsl_inches.xlsx",
        why='12 1/2" is 317.5 mm, with a note',
        make=boots(boot(27.5, '12 1/2"')),
        outcome="import",
        notes=["converted_inch_mm"],
        rows=[_NOTED_BOOT],
        values={"B-1": {"bsl_mm": 317.5}},
    ),
    Case(
        name="value_bsl_no_unit.xlsx",
        why="30.7 without a unit in a millimetre column is not guessed",
        make=boots(boot(26.5, 30.7)),
        outcome="questions",
        asked=["unit_doubtful"],
        rows=[_ASKED_BOOT],
        values={"B-1": {"bsl_mm": None}},
    ),
    Case(
        name="value_bsl_header_cm.xlsx",
        why="a header that states cm",
        make=boots(["B-1", "Gimmel", 26.5, 30.7], header=["tag", "model", "shell", "sole length (cm)"]),
        outcome="import",
        notes=["converted_cm_mm"],
        rows=[_NOTED_BOOT],
        values={"B-1": {"bsl_mm": 307}},
    ),
    Case(
        name="value_bsl_is_shell.xlsx",
        why="the shell size stands in the BSL column",
        make=boots(boot(26.5, 265)),
        outcome="questions",
        asked=["bsl_is_shell_size"],
        rows=[_ASKED_BOOT],
    ),
    Case(
        name="value_bsl_is_shell_alone.xlsx",
        why="265 with no shell size beside it may be either",
        make=boots(boot(None, 265)),
        outcome="questions",
        asked=["bsl_is_shell_size"],
        rows=[_ASKED_BOOT],
    ),
    Case(
        name="value_bsl_said_to_be_sole.xlsx",
        why="265 mm sole: the cell itself says what it is",
        make=boots(boot(None, "265 mm sole")),
        outcome="import",
        rows=[_GOOD_BOOT],
        values={"B-1": {"bsl_mm": 265}},
    ),
    Case(
        name="value_swapped_columns.xlsx",
        why="shell size and sole length swapped",
        make=boots(boot(307, 26.5)),
        outcome="questions",
        asked=["odd_size", "swapped_columns", "unit_doubtful"],
        rows=[_ASKED_BOOT],
    ),
    Case(
        name="value_ski_bsl_is_shell.xlsx",
        why="a ski mounted for 265: a shell size, unless something bears witness",
        make=skis([*HEAD, "binding_model", "bsl_mm"], [*GOOD, "Gorge 5", 265]),
        outcome="questions",
        asked=["bsl_is_shell_size"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_duckbill_measured.xlsx",
        why="a measured 75 mm sole counts 10 mm less, and both numbers are kept",
        make=boots(boot(27.5, 327, "measured", "75 mm")),
        outcome="import",
        notes=["duckbill_minus"],
        rows=[_NOTED_BOOT],
        values={"B-1": {"bsl_mm": 317, "bsl_measured": "measured 327 mm, duckbill minus 10 mm"}},
    ),
    Case(
        name="value_duckbill_unsaid.xlsx",
        why="a 75 mm sole that does not say how it was measured",
        make=boots(boot(27.5, 327, "", "75 mm")),
        outcome="questions",
        asked=["duckbill_convention"],
        rows=[_ASKED_BOOT],
    ),
    Case(
        name="value_numbers_as_text.xlsx",
        why="numbers stored as text, with blanks and non-breaking spaces around them",
        make=skis([*HEAD, "waist_mm"], ["K-031", "Larch 96", "telemark", "\u00a0178 ", " 96\u202f"]),
        outcome="import",
        rows=[GOOD_ROW],
        values={"K-031": {"length_cm": 178, "waist_mm": 96}},
    ),
    Case(
        name="value_look_alike_digit.xlsx",
        why="a letter O among digits",
        make=skis(HEAD, ["K-031", "Larch 96", "telemark", "17O"]),
        outcome="questions",
        asked=["letters_for_digits"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_look_alike_tag.xlsx",
        why="a Cyrillic letter that looks Latin inside a tag",
        make=skis(HEAD, ["\u041a-031", *GOOD[1:]]),
        outcome="questions",
        asked=["look_alike_letter"],
        rows=[("ski", "Larch 96", "question")],
    ),
    Case(
        name="value_invisible_in_tag.xlsx",
        why="a zero-width space inside a tag",
        make=skis(HEAD, ["K-\u200b031", *GOOD[1:]]),
        outcome="import",
        notes=["tag_cleaned"],
        rows=[("ski", "K-031", "note")],
    ),
    Case(
        name="value_thousands_comma.xlsx",
        why="1,780 may be a decimal or a thousand",
        make=skis(HEAD, ["K-031", "Larch 96", "telemark", "1,780"]),
        outcome="questions",
        asked=["ambiguous_number"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_negative_length.xlsx",
        why="a negative length cannot be",
        make=skis(HEAD, ["K-031", "Larch 96", "telemark", -178], ["K-032", *GOOD[1:]]),
        outcome="questions",
        asked=["negative"],
        rows=[("ski", "K-031", "bad"), ("ski", "K-032", "good")],
    ),
    Case(
        name="value_length_mm.xlsx",
        why="1780 in a centimetre column is asked, with the likely unit",
        make=skis(HEAD, ["K-031", "Larch 96", "telemark", 1780]),
        outcome="questions",
        asked=["unit_doubtful"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_tag_zero_format.xlsx",
        why="17 shown as 00017: the tag is what a person sees",
        make=_raw([HEAD, [_tag_cell("17", 1), *GOOD[1:]]], styles_xml("00000")),
        outcome="import",
        notes=["tag_as_shown"],
        rows=[("ski", "00017", "note")],
    ),
    Case(
        name="value_tag_prefix_format.xlsx",
        why='31 shown as K-031 by the format "K-"000',
        make=_raw([HEAD, [_tag_cell("31", 1), *GOOD[1:]]], styles_xml('"K-"000')),
        outcome="import",
        notes=["tag_as_shown"],
        rows=[("ski", "K-031", "note")],
    ),
    Case(
        name="value_tag_plain_number.xlsx",
        why="a plain number is a tag as it stands",
        make=skis(HEAD, [101, *GOOD[1:]], [102, *GOOD[1:]]),
        outcome="import",
        rows=[("ski", "101", "good"), ("ski", "102", "good")],
    ),
    Case(
        name="value_tag_zeros_lost.xlsx",
        why="0017 as text, but 18 as a number beside it",
        make=skis(HEAD, ["0017", *GOOD[1:]], [18, *GOOD[1:]]),
        outcome="questions",
        asked=["zeros_lost"],
        rows=[("ski", "0017", "good"), ("ski", "Larch 96", "question")],
    ),
    Case(
        name="value_tag_power_of_ten.xlsx",
        why="1E5 typed as a tag became a hundred thousand",
        make=_raw([HEAD, [_tag_cell("100000", 1), *GOOD[1:]]], styles_xml("0.00E+00")),
        outcome="questions",
        asked=["tag_is_power"],
        rows=[("ski", "Larch 96", "question")],
    ),
    Case(
        name="value_tag_date.xlsx",
        why="3-4 typed as a tag became a day",
        make=_raw([HEAD, [_tag_cell("45355", 1), *GOOD[1:]]], styles_xml("d-mmm")),
        outcome="questions",
        asked=["tag_is_date"],
        rows=[("ski", "Larch 96", "question")],
    ),
    Case(
        name="value_tag_range.xlsx",
        why="K-101 to K-120 in one cell",
        make=skis(HEAD, ["K-101 to K-120", *GOOD[1:]]),
        outcome="questions",
        asked=["tag_range"],
        rows=[("ski", "Larch 96", "question")],
    ),
    Case(
        name="value_tag_several.xlsx",
        why="two tags in one cell",
        make=skis(HEAD, ["K-101, K-102", *GOOD[1:]]),
        outcome="questions",
        asked=["several_tags"],
        rows=[("ski", "Larch 96", "question")],
    ),
    Case(
        name="value_quantity_of_skis.xlsx",
        why="five pairs on one row",
        make=skis([*HEAD, "Qty"], [*GOOD, 5]),
        outcome="questions",
        asked=["quantity_of_tagged"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_quantity_word.xlsx",
        why="5 x in a quantity column",
        make=book({"Bindings": [["model", "quantity", "brake_mm"], ["Gorge 5", "5 x", 95]]}),
        outcome="import",
        notes=["count_word", "pattern_unknown"],
        rows=[("binding", "Gorge 5", "note")],
        values={"Gorge 5": {"quantity": 5}},
    ),
    Case(
        name="value_date_day_first.xlsx",
        why="one 25/03 decides the order for its column",
        make=_dated("25/03/2024", "03/04/2024"),
        outcome="import",
        notes=["date_read"],
        rows=[("ski", "K-1", "note"), ("ski", "K-2", "note")],
        values={"K-2": {"mount_date": "2024-04-03"}},
    ),
    Case(
        name="value_date_month_first.xlsx",
        why="one 03/25 decides the other way",
        make=_dated("03/25/2024", "03/04/2024"),
        outcome="import",
        rows=[("ski", "K-1", "note"), ("ski", "K-2", "note")],
        values={"K-2": {"mount_date": "2024-03-04"}},
    ),
    Case(
        name="value_date_ambiguous.xlsx",
        why="nothing in the column says what comes first",
        make=_dated("03/04/2024"),
        outcome="questions",
        asked=["ambiguous_date"],
        rows=[("ski", "K-1", "question")],
        values={"K-1": {"mount_date": None}},
    ),
    Case(
        name="value_date_real.xlsx",
        why="a real date cell, a German text and a month by name",
        make=_dated(date(2024, 11, 30), "30.11.2024", "30 Nov 2024"),
        outcome="import",
        values={f"K-{i}": {"mount_date": "2024-11-30"} for i in (1, 2, 3)},
        rows=[("ski", f"K-{i}", "note") for i in (1, 2, 3)],
    ),
    Case(
        name="value_date_1904.xlsx",
        why="a workbook that counts its days from 1904",
        make=_raw(
            [[*HEAD, "mount_date", "binding_model"], [*GOOD, _tag_cell("44164", 1), "Gorge 5"]],
            styles_xml("yyyy-mm-dd"),
            workbook_before='<workbookPr date1904="1"/>',
        ),
        outcome="import",
        rows=[("ski", "K-031", "note")],
        values={"K-031": {"mount_date": "2024-11-30"}},
    ),
    Case(
        name="value_date_serial.xlsx",
        why="a day number whose date format was lost",
        make=_dated(45626),
        outcome="import",
        notes=["date_read"],
        rows=[("ski", "K-1", "note")],
        values={"K-1": {"mount_date": "2024-11-30"}},
    ),
    Case(
        name="value_date_future.xlsx",
        why="mounted on a day to come",
        make=_dated(date(2042, 11, 30)),
        outcome="questions",
        asked=["future_date"],
        rows=[("ski", "K-1", "question")],
    ),
    Case(
        name="value_formula_unsaved.xlsx",
        why="a formula without a stored result is asked, never blank",
        make=_raw([HEAD, ["K-031", "Larch 96", "telemark", '<c r="REF"><f>170+8</f></c>']]),
        outcome="questions",
        asked=["formula_unsaved"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_formula_zero.xlsx",
        why="a formula with a stored 0 was perhaps never computed",
        make=_raw([[*HEAD, "earlier_mounts"], [*GOOD, '<c r="REF"><f>COUNT(Z1:Z9)</f><v>0</v></c>']]),
        outcome="questions",
        asked=["formula_zero"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_formula_stored.xlsx",
        why="a formula with a stored result is read, and that is said",
        make=_raw([HEAD, ["K-031", "Larch 96", "telemark", '<c r="REF"><f>170+8</f><v>178</v></c>']]),
        outcome="import",
        notes=["formula_results"],
        rows=[GOOD_ROW],
        values={"K-031": {"length_cm": 178}},
    ),
    Case(
        name="value_error_cell.xlsx",
        why="an error cell is asked, never blank",
        make=_raw([[*HEAD, "waist_mm"], [*GOOD, '<c r="REF" t="e"><v>#REF!</v></c>']]),
        outcome="questions",
        asked=["error_cell"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="value_float_noise.xlsx",
        why="101.50000000000001 is 101.5, as a spreadsheet shows it",
        make=book(
            {
                "Skis": [HEAD, GOOD],
                "Holes": [
                    ["pair_tag", "ski", "x_mm", "y_mm", "state", "knowledge"],
                    ["K-031", "A", 101.50000000000001, 18, "plugged", "measured bare"],
                ],
            }
        ),
        outcome="import",
        rows=[GOOD_ROW, ("hole", "K-031", "good")],
    ),
    Case(
        name="value_formula_text.xlsx",
        why="a model that begins with an equals sign stays a text",
        make=skis(HEAD, ["K-031", '=HYPERLINK("http://x")', "telemark", 178]),
        outcome="import",
        rows=[GOOD_ROW],
        values={"K-031": {"model": '=HYPERLINK("http://x")'}},
    ),
    Case(
        name="value_unknown_kind.xlsx",
        why="a kind nobody knows, with the choices",
        make=skis(HEAD, ["K-031", "Larch 96", "monoski", 178]),
        outcome="questions",
        asked=["unknown_word"],
        rows=[("ski", "K-031", "question")],
    ),
]
