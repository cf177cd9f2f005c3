"""Shapes of real sheets: where the header is, what surrounds it, and what only looks like data."""

from __future__ import annotations

from pathlib import Path

from tests.imports.corpus.case import GOOD, GOOD_ROW, HEAD, Case, book, raw_book, row_xml, sheet_xml, skis

_SECOND = ["K-032", "Larch 96", "telemark", 185]
_SECOND_ROW = ("ski", "K-032", "good")


def _hidden_row(path: Path) -> None:
    rows = row_xml(1, HEAD) + row_xml(2, GOOD) + row_xml(3, _SECOND, attributes='hidden="1"')
    raw_book(path, sheet_xml(rows))


def _hidden_sheet(path: Path) -> None:
    from xlsxwriter import Workbook

    with Workbook(str(path), {"in_memory": True}) as workbook:
        for name, tag in (("Skis", "K-031"), ("Old", "K-999")):
            sheet = workbook.add_worksheet(name)
            sheet.write_row(0, 0, HEAD)
            sheet.write_row(1, 0, [tag, *GOOD[1:]])
        sheet.hide()


def _merged(path: Path) -> None:
    rows = (
        row_xml(1, HEAD)
        + row_xml(2, GOOD)
        + row_xml(3, ["K-032", None, "telemark", 185])
        + row_xml(4, ["K-033", None, "telemark", 171])
    )
    raw_book(path, sheet_xml(rows, after='<mergeCells count="1"><mergeCell ref="B2:B4"/></mergeCells>'))


def _two_row_header(path: Path) -> None:
    rows = (
        row_xml(1, ["Asset", "Make and", "Kind", "Ski", "Mounting mark"])
        + row_xml(2, ["tag", "model", None, "length", "from tail"])
        + row_xml(3, [*GOOD, 812])
    )
    raw_book(path, sheet_xml(rows))


CASES = [
    Case(
        name="shape_title_rows.xlsx",
        why="title rows stand above the header",
        make=skis(HEAD, GOOD, above=[["Ski inventory 2026/27"], ["as of 1 November", None], []]),
        outcome="import",
        notes=["rows_before_header"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="shape_german.xlsx",
        why="German headers with units in brackets and a line break",
        make=skis(
            [
                "Inventar-Nr.",
                "Modell",
                "Kategorie",
                "Länge\n(cm)",
                "Mittelbreite [mm]",
                "Bindung",
                "Sohlenlänge (mm)",
                "Standort",
            ],
            ["K-031", "Larch 96", "Telemark", "178", "96", None, None, "R4"],
        ),
        outcome="import",
        rows=[GOOD_ROW],
        values={"K-031": {"length_cm": 178, "waist_mm": 96, "rack": "R4", "model": "Larch 96"}},
    ),
    Case(
        name="shape_french.xlsx",
        why="French headers and words",
        make=skis(
            ["N°", "Modèle", "Catégorie", "Longueur (cm)", "Largeur au patin (mm)", "Emplacement"],
            ["K-031", "Larch 96", "randonnée", 178, 96, "R4"],
        ),
        outcome="import",
        notes=["word_read"],
        rows=[("ski", "K-031", "note")],
        values={"K-031": {"kind": "touring", "length_cm": 178, "waist_mm": 96}},
    ),
    Case(
        name="shape_two_row_header.xlsx",
        why="a header in two rows",
        make=_two_row_header,
        outcome="import",
        rows=[GOOD_ROW],
        values={"K-031": {"length_cm": 178, "mark_from_tail_mm": 812}},
    ),
    Case(
        name="shape_unit_row.xlsx",
        why="a row of units under the header",
        make=skis(
            ["tag", "model", "kind", "length", "waist"],
            [None, None, None, "mm", "cm"],
            ["K-031", "Larch 96", "telemark", 1780, 9.6],
        ),
        outcome="import",
        notes=["converted_mm_cm", "converted_cm_mm"],
        rows=[("ski", "K-031", "note")],
        values={"K-031": {"length_cm": 178, "waist_mm": 96}},
    ),
    Case(
        name="shape_blank_rows.xlsx",
        why="blank rows between the data",
        make=skis(HEAD, GOOD, [], [], _SECOND),
        outcome="import",
        rows=[GOOD_ROW, _SECOND_ROW],
    ),
    Case(
        name="shape_repeated_header.xlsx",
        why="the header repeated at a page break",
        make=skis(HEAD, GOOD, HEAD, _SECOND),
        outcome="import",
        notes=["rows_skipped"],
        rows=[GOOD_ROW, _SECOND_ROW],
    ),
    Case(
        name="shape_totals_and_signature.xlsx",
        why="subtotals and a signature line are no data",
        make=skis(
            HEAD,
            GOOD,
            ["Subtotal", None, None, 1],
            _SECOND,
            below=[["Total", None, None, 2], [], ["Checked by: M. O."]],
        ),
        outcome="import",
        notes=["rows_skipped"],
        rows=[GOOD_ROW, _SECOND_ROW],
    ),
    Case(
        name="shape_lone_tag.xlsx",
        why="a row with nothing but a tag is data, and asked",
        make=skis(HEAD, GOOD, ["K-077"]),
        outcome="questions",
        asked=["missing_value"],
        rows=[GOOD_ROW, ("ski", "K-077", "question")],
    ),
    Case(
        name="shape_hidden_row.xlsx",
        why="a hidden row is asked about, not swallowed",
        make=_hidden_row,
        outcome="questions",
        asked=["hidden_row"],
        rows=[GOOD_ROW, ("ski", "K-032", "question")],
    ),
    Case(
        name="shape_hidden_sheet.xlsx",
        why="a hidden sheet is left out and named",
        make=_hidden_sheet,
        outcome="import",
        notes=["sheet_left_out"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="shape_merged_down.xlsx",
        why="a merged model is meant for each row it covers",
        make=_merged,
        outcome="import",
        notes=["merged_filled"],
        rows=[GOOD_ROW, ("ski", "K-032", "note"), ("ski", "K-033", "note")],
        values={"K-033": {"model": "Larch 96"}},
    ),
    Case(
        name="shape_sheet_per_length.xlsx",
        why="one sheet per length, which only the sheet's name says",
        make=book(
            {
                "Telemark 178 cm": [["tag", "model"], ["K-031", "Larch 96"]],
                "Telemark 185 cm": [["tag", "model"], ["K-032", "Larch 96"]],
            }
        ),
        outcome="import",
        notes=["value_from_sheet_name"],
        rows=[GOOD_ROW, _SECOND_ROW],
        values={"K-031": {"length_cm": 178, "kind": "telemark"}, "K-032": {"length_cm": 185}},
    ),
    Case(
        name="shape_tables_below.xlsx",
        why="two tables under one another on one sheet",
        make=book(
            {
                "All": [
                    HEAD,
                    GOOD,
                    [],
                    ["Boots"],
                    ["tag", "model", "mondopoint", "bsl_mm", "sole_type"],
                    ["B-1", "Gimmel", 27.5, 317, "ISO 9523"],
                ]
            }
        ),
        outcome="import",
        notes=["rows_skipped"],
        rows=[GOOD_ROW, ("boot", "B-1", "good")],
        values={"B-1": {"mondopoint": 27.5, "bsl_mm": 317}},
    ),
    Case(
        name="shape_tables_beside.xlsx",
        why="two tables side by side with an empty column between",
        make=book(
            {
                "All": [
                    [*HEAD, None, "tag", "shell", "bsl", "sole type"],
                    [*GOOD, None, "B-1", 27.5, 317, "ISO 9523"],
                    [*_SECOND],
                ]
            }
        ),
        outcome="import",
        rows=[GOOD_ROW, _SECOND_ROW, ("boot", "B-1", "good")],
        values={"B-1": {"mondopoint": 27.5, "bsl_mm": 317}},
    ),
    Case(
        name="shape_mixed_list.xlsx",
        why="one list of skis, boots and poles, split by its type column",
        make=book(
            {
                "Inventory": [
                    ["Asset", "Type", "Model", "Size", "Kind", "BSL"],
                    ["K-031", "Ski", "Larch 96", 178, "telemark", None],
                    ["B-1", "Boot", "Gimmel", 27.5, None, 317],
                    ["P-5", "Poles", "Reed", 120, None, None],
                    ["K-032", "Ski", "Larch 96", 185, "telemark", None],
                ]
            }
        ),
        outcome="import",
        notes=["mixed_list", "other_equipment", "boot_without_sole_type"],
        rows=[GOOD_ROW, _SECOND_ROW, ("boot", "B-1", "note")],
        values={"K-031": {"length_cm": 178}, "B-1": {"mondopoint": 27.5, "bsl_mm": 317}},
    ),
    Case(
        name="shape_transposed.xlsx",
        why="headers run down the first column",
        make=book(
            {
                "Skis": [
                    ["tag", "K-031", "K-032"],
                    ["model", "Larch", "Larch"],
                    ["kind", "telemark", "telemark"],
                    ["length_cm", 178, 185],
                ]
            }
        ),
        outcome="refuse",
        asked=["transposed"],
    ),
    Case(
        name="shape_no_header.xlsx",
        why="data without a header are refused by name, not guessed",
        make=book({"Skis": [GOOD, _SECOND]}),
        outcome="refuse",
        asked=["no_header"],
    ),
    Case(
        name="shape_headless_sheet_beside_good.xlsx",
        why="a sheet without a header is not passed over because another one is good",
        make=book({"Skis": [HEAD, GOOD], "More": [_SECOND, ["K-033", "Larch 96", "telemark", 171]]}),
        outcome="questions",
        asked=["no_header"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="shape_unknown_column.xlsx",
        why="a column nobody knows is left out and named",
        make=skis([*HEAD, "Colour"], [*GOOD, "blue"]),
        outcome="import",
        notes=["unknown_column"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="shape_misspelt_column.xlsx",
        why="a header near a known one is taken where its values fit, and that is said",
        make=skis([*HEAD, "Wiast width"], [*GOOD, 96]),
        outcome="import",
        notes=["header_near"],
        rows=[GOOD_ROW],
        values={"K-031": {"waist_mm": 96}},
    ),
    Case(
        name="shape_misspelt_column_strange_values.xlsx",
        why="a header near a known one over values that do not fit is asked",
        make=skis([*HEAD, "Wiast width"], [*GOOD, "see card"]),
        outcome="questions",
        asked=["unknown_column"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="shape_duplicate_column.xlsx",
        why="two columns that mean the same are asked",
        make=skis([*HEAD, "Ski length"], [*GOOD, 180]),
        outcome="questions",
        asked=["duplicate_column"],
        rows=[GOOD_ROW],
        values={"K-031": {"length_cm": 178}},
    ),
    Case(
        name="shape_column_without_header.xlsx",
        why="cells under no header are named",
        make=skis(HEAD, [*GOOD, "edge torn"], _SECOND),
        outcome="import",
        notes=["column_without_header"],
        rows=[GOOD_ROW, _SECOND_ROW],
    ),
    Case(
        name="shape_status_column.xlsx",
        why="a status column can neither hold nor clear",
        make=skis([*HEAD, "Status"], [*GOOD, "ready"]),
        outcome="import",
        notes=["status_ignored"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="shape_no_kind_column.xlsx",
        why="a list that never says what its skis are for is asked",
        make=skis(["tag", "model", "length_cm"], ["K-031", "Larch 96", 178]),
        outcome="questions",
        asked=["missing_column"],
        rows=[("ski", "K-031", "question")],
        values={"K-031": {"length_cm": 178}},
    ),
    Case(
        name="shape_no_tag_column.xlsx",
        why="without a tag nothing can be kept apart",
        make=skis(HEAD[1:], GOOD[1:]),
        outcome="refuse",
        asked=["missing_column"],
        rows=[("ski", "Larch 96", "bad")],
    ),
    Case(
        name="shape_split_pair.xlsx",
        why="ski A and ski B in rows of their own, with different marks",
        make=skis([*HEAD, "ski", "mark_from_tail_mm"], [*GOOD, "A", 812], [*GOOD, "B", 809]),
        outcome="import",
        rows=[GOOD_ROW, GOOD_ROW],
    ),
    Case(
        name="shape_split_pair_two_brakes.xlsx",
        why="the two skis of a pair carry brakes of two widths",
        make=skis(
            [*HEAD, "ski", "binding_model", "brake_mm"],
            [*GOOD, "A", "Teach 4", 95],
            [*GOOD, "B", "Teach 4", 105],
        ),
        outcome="questions",
        asked=["pair_contradiction"],
        rows=[("ski", "K-031", "question"), ("ski", "K-031", "question")],
    ),
    Case(
        name="shape_split_pair_contradicts.xlsx",
        why="the two skis of a pair differ in what belongs to the pair",
        make=skis([*HEAD, "ski"], [*GOOD, "A"], ["K-031", "Larch 96", "telemark", 185, "B"]),
        outcome="questions",
        asked=["pair_contradiction"],
        rows=[("ski", "K-031", "question"), ("ski", "K-031", "question")],
    ),
    Case(
        name="shape_one_ski_of_a_pair.xlsx",
        why="only ski A of a pair is listed",
        make=skis([*HEAD, "ski"], [*GOOD, "A"]),
        outcome="questions",
        asked=["one_ski_only"],
        rows=[("ski", "K-031", "question")],
    ),
]
