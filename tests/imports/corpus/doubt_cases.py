"""Rows that look whole and may not be: counted, struck, swapped, spelt as formulas, or two halves of one."""

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
    text,
)

_CSV_HEAD = "tag,model,kind,length_cm\n"
_REST = ["Larch 96", "telemark", 178]
_MOUNT_HEAD = [*HEAD, "binding_model", "bsl_mm", "mount_date"]


def _one_tag(name: str, why: str, tag: str, code: str) -> Case:
    """A sheet whose second tag is in doubt; a row without its tag is called by its model."""
    return Case(
        name=name,
        why=why,
        make=skis(HEAD, GOOD, [tag, *_REST]),
        outcome="questions",
        asked=[code],
        rows=[GOOD_ROW, ("ski", "Larch 96", "question")],
    )


def _both(name: str, why: str, first: str, second: str, code: str) -> Case:
    """Two tags that cast doubt on each other."""
    return Case(
        name=name,
        why=why,
        make=skis(HEAD, [first, *_REST], [second, *_REST]),
        outcome="questions",
        asked=[code],
        rows=[("ski", first, "question"), ("ski", second, "question")],
    )


def _styled(change: Callable[[Any], None], *rows: Sequence[Any]) -> Callable[[Path], object]:
    """A workbook whose sheet is changed by hand before it is saved."""

    def make(path: Path) -> None:
        from openpyxl import Workbook

        workbook = Workbook()
        sheet = workbook.active
        assert sheet is not None
        sheet.title = "Skis"
        for row in (HEAD, *rows):
            sheet.append(list(row))
        change(sheet)
        workbook.save(path)

    return make


def _strike(sheet: Any) -> None:
    from openpyxl.styles import Font

    sheet["B3"].font = Font(strike=True)


def _flat_row(path: Path) -> object:
    rows = row_xml(1, HEAD) + row_xml(2, GOOD)
    rows += row_xml(3, ["K-032", *_REST], attributes='ht="0.0" customHeight="1"')
    return raw_book(path, sheet_xml(rows))


def _remark(sheet: Any) -> None:
    from openpyxl.comments import Comment

    sheet["A3"].comment = Comment("sold in spring", "shop")


CASES = [
    _one_tag("doubt_tag_slash.xlsx", "two tags with a slash between", "K-1/K-2", "several_tags"),
    _one_tag("doubt_tag_blank_slash.xlsx", "two tags of letters and a blank", "SK 020/209", "several_tags"),
    _one_tag("doubt_tag_counted.xlsx", "a count in brackets", "K-200 (3 pairs)", "tag_is_quantity"),
    _one_tag("doubt_tag_pairs.xlsx", "a count where the tag stands", "3 pairs", "tag_is_quantity"),
    _one_tag("doubt_tag_long_dash.xlsx", "a range with a long dash", "K-201–205", "tag_range"),
    _both("doubt_tag_letter_o.xlsx", "the letter O where a zero stands", "K-031", "K-O31", "near_tag"),
    _both("doubt_tag_halves.xlsx", "A and B put behind one number", "K-7A", "K-7B", "tag_is_one_ski"),
    _both("doubt_tag_left_right.xlsx", "L and R put behind one number", "K-7 L", "K-7 R", "tag_is_one_ski"),
    Case(
        name="doubt_tag_series.xlsx",
        why="A, B and C behind one number are a series of pairs, not halves",
        make=skis(HEAD, *([f"K-7{letter}", *_REST] for letter in "ABC")),
        outcome="import",
        rows=[("ski", f"K-7{letter}", "good") for letter in "ABC"],
    ),
    Case(
        name="doubt_tag_slash_is_one.xlsx",
        why="a slash between numbers, and a dash before one, belong to the tag",
        make=skis(HEAD, ["26/031", *_REST], ["R4/12", *_REST], ["2611-0417", *_REST]),
        outcome="import",
        rows=[("ski", "26/031", "good"), ("ski", "R4/12", "good"), ("ski", "2611-0417", "good")],
    ),
    Case(
        name="doubt_tag_apostrophe.xlsx",
        why="an apostrophe typed to keep the zeros and kept as a letter",
        make=skis(HEAD, ["'0031", *_REST]),
        outcome="import",
        notes=["tag_cleaned"],
        rows=[("ski", "0031", "note")],
    ),
    Case(
        name="doubt_csv_tag_kept.csv",
        why="a formula that only keeps a tag's zeros",
        make=text(_CSV_HEAD + '"=""0031""",Larch 96,telemark,178\n'),
        outcome="import",
        notes=["tag_as_shown"],
        rows=[("ski", "0031", "note")],
    ),
    Case(
        name="doubt_csv_tag_formula.csv",
        why="a tag that is a formula",
        make=text(_CSV_HEAD + "=A1&B1,Larch 96,telemark,178\nK-031,Larch 96,telemark,178\n"),
        outcome="questions",
        asked=["tag_is_formula"],
        rows=[("ski", "Larch 96", "question"), GOOD_ROW],
    ),
    Case(
        name="doubt_csv_model_formula.csv",
        why="a model that is a formula whose result nobody saved",
        make=text(_CSV_HEAD + "K-031,=B1,telemark,178\n"),
        outcome="questions",
        asked=["text_is_formula"],
        rows=[("ski", "K-031", "question")],
    ),
    Case(
        name="doubt_model_counted.xlsx",
        why="several pairs in the model of one tag",
        make=skis(
            HEAD, ["K-1", "5 x Larch 96", "telemark", 178], ["K-2", "Larch (5 pairs)", "alpine", 178], GOOD
        ),
        outcome="questions",
        asked=["quantity_in_model"],
        rows=[("ski", "K-1", "question"), ("ski", "K-2", "question"), GOOD_ROW],
    ),
    Case(
        name="doubt_two_kinds.xlsx",
        why="two kinds with a slash between; alpine touring without one is touring",
        make=skis(
            HEAD, ["K-1", "Larch 96", "alpine/touring", 178], ["K-2", "Larch 96", "alpine touring", 178]
        ),
        outcome="questions",
        asked=["several_words"],
        rows=[("ski", "K-1", "question"), ("ski", "K-2", "note")],
        values={"K-2": {"kind": "touring"}},
    ),
    Case(
        name="doubt_binding_none.xlsx",
        why="a word for no binding is no model of a binding",
        make=skis(
            [*HEAD, "binding_model", "bsl_mm"],
            ["K-1", *_REST, "none", None],
            ["K-2", *_REST, "ohne Bindung", None],
            ["K-3", *_REST, "keine", 305],
        ),
        outcome="questions",
        asked=["mount_without_binding"],
        notes=["no_binding"],
        rows=[("ski", "K-1", "note"), ("ski", "K-2", "note"), ("ski", "K-3", "question")],
        values={"K-1": {"binding_model": None}},
    ),
    Case(
        name="doubt_date_half_read.xlsx",
        why="a program read the dates whose day could be a month, and left the others as texts",
        make=skis(
            _MOUNT_HEAD,
            ["K-1", *_REST, "Teach 4", 305, date(2024, 4, 3)],
            ["K-2", *_REST, "Teach 4", 305, "25/03/2024"],
            ["K-3", *_REST, "Teach 4", 305, date(2024, 6, 6)],
        ),
        outcome="questions",
        asked=["date_half_read"],
        rows=[("ski", "K-1", "question"), ("ski", "K-2", "note"), ("ski", "K-3", "note")],
    ),
    Case(
        name="doubt_length_not_sheets.xlsx",
        why="one sheet a length, and one ski that is longer than its sheet says",
        make=book({"170 cm": [HEAD, ["K-1", "Larch", "alpine", 170], ["K-2", "Larch", "alpine", 178]]}),
        outcome="questions",
        asked=["length_not_sheets"],
        rows=[("ski", "K-1", "good"), ("ski", "K-2", "question")],
    ),
    Case(
        name="doubt_row_struck.xlsx",
        why="a row struck through",
        make=_styled(_strike, GOOD, ["K-032", *_REST]),
        outcome="questions",
        asked=["struck_row"],
        rows=[GOOD_ROW, ("ski", "K-032", "question")],
    ),
    Case(
        name="doubt_row_flat.xlsx",
        why="a row of no height is hidden by another name",
        make=_flat_row,
        outcome="questions",
        asked=["hidden_row"],
        rows=[GOOD_ROW, ("ski", "K-032", "question")],
    ),
    Case(
        name="doubt_row_comment.xlsx",
        why="a comment on a row is said aloud; one that says that the pair was sold is asked about",
        make=_styled(_remark, GOOD, ["K-032", *_REST]),
        outcome="questions",
        asked=["says_gone"],
        notes=["comment"],
        rows=[GOOD_ROW, ("ski", "K-032", "question")],
    ),
    Case(
        name="doubt_header_other_size.xlsx",
        why="a shell column in another size system is asked, not left out with a word",
        make=book(
            {
                "Boots": [
                    ["tag", "model", "size (EU)", "bsl", "sole type"],
                    ["B-1", "Gimmel", 42, 316, "ISO 9523"],
                ]
            }
        ),
        outcome="questions",
        asked=["unknown_column"],
        rows=[("boot", "B-1", "good")],
    ),
    Case(
        name="doubt_header_signs.xlsx",
        why="a number sign, an ampersand and brackets in headers",
        make=book(
            {
                "Chaussures": [
                    [
                        "N° inventaire",
                        "Marque & Modèle",
                        "Pointure (mondo)",
                        "Longueur de semelle\n(mm)",
                        "Norme",
                    ],
                    ["0031", "Gimmel", "26½", "306", "ISO 9523"],
                ]
            }
        ),
        outcome="import",
        rows=[("boot", "0031", "good")],
        values={"0031": {"mondopoint": 26.5, "bsl_mm": 306}},
    ),
    Case(
        name="doubt_tag_shared.xlsx",
        why="one tag on a pair of skis and on a pair of boots",
        make=book(
            {
                "Skis": [HEAD, GOOD],
                "Boots": [
                    ["tag", "model", "mondopoint", "bsl_mm", "sole_type"],
                    ["K-031", "Gimmel", 26.5, 306, "ISO 9523"],
                ],
            }
        ),
        outcome="import",
        notes=["shared_tag"],
        rows=[GOOD_ROW, ("boot", "K-031", "note")],
    ),
]
