"""Text tables: encodings, separators, quotes, and what a spreadsheet program left in them."""

from __future__ import annotations

from tests.imports.corpus.case import GOOD_ROW, Case, text

_HEAD = "tag,model,kind,length_cm\n"
_GOOD = "K-031,Larch 96,telemark,178\n"
_SECOND_ROW = ("ski", "K-032", "good")

CASES = [
    Case(
        name="csv_plain.csv", why="a plain csv", make=text(_HEAD + _GOOD), outcome="import", rows=[GOOD_ROW]
    ),
    Case(
        name="csv_bom.csv",
        why="UTF-8 with a byte order mark",
        make=text("\ufeff" + _HEAD + "K-031,Lärche 96,telemark,178\n"),
        outcome="import",
        rows=[GOOD_ROW],
        values={"K-031": {"model": "Lärche 96"}},
    ),
    Case(
        name="csv_utf16.csv",
        why="UTF-16, as some programs call Unicode text",
        make=text((_HEAD + _GOOD).replace(",", "\t"), "utf-16"),
        outcome="import",
        notes=["utf16"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="csv_cp1252.csv",
        why="neither UTF-8 nor marked: Windows text, and that is said",
        make=text(_HEAD + "K-031,Lärche 96,telemark,178\n", "cp1252"),
        outcome="import",
        notes=["cp1252"],
        rows=[GOOD_ROW],
        values={"K-031": {"model": "Lärche 96"}},
    ),
    Case(
        name="csv_semicolon_comma.csv",
        why="semicolons between the columns and decimal commas in them",
        make=text("tag;model;mondopoint;bsl_mm;sole_type\nB-1;Gimmel;27,5;317;ISO 9523\n"),
        outcome="import",
        rows=[("boot", "B-1", "good")],
        values={"B-1": {"mondopoint": 27.5}},
    ),
    Case(
        name="csv_sep_line.csv",
        why="a first line that states the separator",
        make=text("sep=;\n" + (_HEAD + _GOOD).replace(",", ";")),
        outcome="import",
        notes=["sep_line"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="csv_tab.txt",
        why="tabs between the columns",
        make=text((_HEAD + _GOOD).replace(",", "\t")),
        outcome="import",
        rows=[GOOD_ROW],
    ),
    Case(
        name="csv_pipe.csv",
        why="bars between the columns",
        make=text((_HEAD + _GOOD).replace(",", "|")),
        outcome="import",
        rows=[GOOD_ROW],
    ),
    Case(
        name="csv_ragged_long.csv",
        why="a row with more cells than the header may have slipped",
        make=text(_HEAD + "K-031,Larch, 96,telemark,178\nK-032,Larch 96,telemark,185\n"),
        outcome="questions",
        asked=["ragged_row", "unknown_word", "not_a_number"],
        rows=[("ski", "K-031", "question"), _SECOND_ROW],
    ),
    Case(
        name="csv_ragged_short.csv",
        why="a row with fewer cells has nothing in the last ones",
        make=text("tag,model,kind,length_cm,rack\nK-031,Larch 96,telemark,178\n"),
        outcome="import",
        rows=[GOOD_ROW],
    ),
    Case(
        name="csv_quoted_newline.csv",
        why="a line break inside quotes",
        make=text(_HEAD + '"K-031","Larch\n96",telemark,178\nK-032,Larch 96,telemark,185\n'),
        outcome="import",
        rows=[GOOD_ROW, _SECOND_ROW],
    ),
    Case(
        name="csv_unclosed_quote.csv",
        why="a quote that is never closed would swallow the rest: named by line",
        make=text(_HEAD + 'K-031,"Larch 96,telemark,178\nK-032,Larch 96,telemark,185\n'),
        outcome="refuse",
        asked=["unclosed_quote"],
    ),
    Case(
        name="csv_inch_quote.csv",
        why="an inch sign inside an unquoted cell is no quote",
        make=text('tag,model,mondopoint,bsl_mm,sole_type\nB-1,Gimmel,27.5,12 1/2",ISO 9523\n'),
        outcome="import",
        notes=["converted_inch_mm"],
        rows=[("boot", "B-1", "note")],
        values={"B-1": {"bsl_mm": 317.5}},
    ),
    Case(
        name="csv_mangled_tag.csv",
        why="1.00E+05 is what a spreadsheet made of the tag 1E5",
        make=text(_HEAD + "1.00E+05,Larch 96,telemark,178\n"),
        outcome="questions",
        asked=["tag_is_power"],
        rows=[("ski", "Larch 96", "question")],
    ),
    Case(
        name="csv_float_tag.csv",
        why="101.0 is what a program made of the tag 101",
        make=text(_HEAD + "101.0,Larch 96,telemark,178\n"),
        outcome="questions",
        asked=["tag_is_number"],
        rows=[("ski", "Larch 96", "question")],
    ),
    Case(
        name="csv_guarded_text.csv",
        why="an apostrophe before what would run as a formula is taken off again",
        make=text(_HEAD + "K-031,'=1+1,telemark,178\n"),
        outcome="import",
        rows=[GOOD_ROW],
        values={"K-031": {"model": "=1+1"}},
    ),
    Case(
        name="csv_mac_newlines.csv",
        why="lines ended the old way",
        make=text((_HEAD + _GOOD).replace("\n", "\r")),
        outcome="import",
        rows=[GOOD_ROW],
    ),
]
