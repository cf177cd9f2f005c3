"""Rows that contradict themselves, each other, or common sense."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from imports.headers import Table
from tests.imports.books import FIT, HOLE, MOUNTED, SKI, T4H4, WANTED, table_rows
from tests.imports.corpus.case import GOOD, GOOD_ROW, HEAD, Case, book, skis

_ASKED = ("ski", "K-031", "question")
_HOLES = ["pair_tag", "ski", "x_mm", "y_mm", "state", "knowledge"]
_MOUNTED = {k: (v if k != "mount_date" else "2024-11-30") for k, v in MOUNTED.items()}


def holes(*rows: Sequence[Any]) -> Callable[[Path], object]:
    return book({"Skis": [HEAD, GOOD], "Holes": [_HOLES, *rows]})


def _patterns() -> list[list[Any]]:
    return table_rows(Table.PATTERN, *T4H4)


_PATTERN_ROWS = [("pattern", "T4/H4", "good")] * 8

CASES = [
    Case(
        name="contra_duplicate_different.xlsx",
        why="one tag twice with different skis: asked on both",
        make=skis(HEAD, GOOD, ["K-031", "Larch 96", "telemark", 185]),
        outcome="questions",
        asked=["duplicate"],
        rows=[_ASKED, _ASKED],
    ),
    Case(
        name="contra_duplicate_same.xlsx",
        why="one row twice: counted once, with a note",
        make=skis(HEAD, GOOD, GOOD),
        outcome="import",
        notes=["repeated_row"],
        rows=[GOOD_ROW, ("ski", "K-031", "note")],
    ),
    Case(
        name="contra_near_tags.xlsx",
        why="K-031 and k 031 may be one tag",
        make=skis(HEAD, GOOD, ["k031", *GOOD[1:]]),
        outcome="questions",
        asked=["near_tag"],
        rows=[_ASKED, ("ski", "k031", "question")],
    ),
    Case(
        name="contra_near_tags_zeros.xlsx",
        why="K-031 and K-31 differ by a zero: reported",
        make=skis(HEAD, GOOD, ["K-31", *GOOD[1:]]),
        outcome="import",
        notes=["near_tag"],
        rows=[("ski", "K-031", "note"), ("ski", "K-31", "note")],
    ),
    Case(
        name="contra_mount_without_binding.xlsx",
        why="a mounted sole length without a binding",
        make=skis([*HEAD, "binding_model", "bsl_mm"], [*GOOD, None, 305]),
        outcome="questions",
        asked=["mount_without_binding"],
        rows=[_ASKED],
    ),
    Case(
        name="contra_mounted_before_bought.xlsx",
        why="mounted before it was bought",
        make=skis(
            [*HEAD, "binding", "mounted on", "purchase date"], [*GOOD, "Gorge 5", "2022-11-01", "2023-10-01"]
        ),
        outcome="questions",
        asked=["mounted_before_bought"],
        rows=[_ASKED],
    ),
    Case(
        name="contra_bare_without_holes.xlsx",
        why="seen bare with a binding on, but no hole listed: would hide its own holes",
        make=book(
            {
                "Skis": table_rows(Table.SKI, _MOUNTED | {"inspected": "bare", "inspected_on": "2026-10-01"}),
                "Patterns": _patterns(),
            }
        ),
        outcome="questions",
        asked=["inspected_without_holes"],
        rows=[_ASKED, *_PATTERN_ROWS],
    ),
    Case(
        name="contra_bare_without_day.xlsx",
        why="an inspection without a day opens nothing",
        make=book({"Skis": table_rows(Table.SKI, SKI | {"inspected": "bare"})}),
        outcome="questions",
        asked=["inspection_without_day"],
        rows=[_ASKED],
    ),
    Case(
        name="contra_bare_without_zone.xlsx",
        why="inspected, but the zone is unknown: nothing opens, and that is said",
        make=skis([*HEAD, "inspected", "inspected_on"], [*GOOD, "bare", "2026-10-01"]),
        outcome="import",
        notes=["nothing_opens"],
        rows=[("ski", "K-031", "note")],
    ),
    Case(
        name="contra_mark_implausible.xlsx",
        why="a mark that cannot lie there",
        make=skis([*HEAD, "mark_from_tail_mm"], [*GOOD, 300]),
        outcome="questions",
        asked=["mark_implausible"],
        rows=[_ASKED],
    ),
    Case(
        name="contra_mounted_holes_unlisted.xlsx",
        why="a mounted binding whose holes are not listed: none is invented",
        make=book({"Skis": table_rows(Table.SKI, _MOUNTED), "Patterns": _patterns()}),
        outcome="import",
        notes=["no_holes_listed"],
        rows=[("ski", "K-031", "note"), *_PATTERN_ROWS],
    ),
    Case(
        name="contra_binding_misspelt.xlsx",
        why="a binding whose name is nearly that of a pattern",
        make=book(
            {"Skis": table_rows(Table.SKI, _MOUNTED | {"binding_model": "Teach4"}), "Patterns": _patterns()}
        ),
        outcome="questions",
        asked=["binding_unknown"],
        rows=[_ASKED, *_PATTERN_ROWS],
    ),
    Case(
        name="contra_hole_no_side.xlsx",
        why="a hole without a side",
        make=holes(["K-031", None, 101.5, 18, "plugged", "measured bare"]),
        outcome="questions",
        asked=["hole_without_side"],
        rows=[GOOD_ROW, ("hole", "K-031", "question")],
    ),
    Case(
        name="contra_hole_no_side_column.xlsx",
        why="a list of holes that has no column for the side",
        make=book(
            {
                "Skis": [HEAD, GOOD],
                "Holes": [
                    ["pair_tag", "x_mm", "y_mm", "state", "knowledge"],
                    ["K-031", 101.5, 18, "plugged", "measured bare"],
                ],
            }
        ),
        outcome="questions",
        asked=["hole_without_side"],
        rows=[GOOD_ROW, ("hole", "K-031", "question")],
    ),
    Case(
        name="contra_hole_both.xlsx",
        why="both is the shop's word: batch assumed on each ski",
        make=holes(["K-031", "both", 101.5, 18, "plugged", "measured bare"]),
        outcome="import",
        notes=["both_sides"],
        rows=[GOOD_ROW, ("hole", "K-031", "note")],
    ),
    Case(
        name="contra_hole_both_template.xlsx",
        why="what a template said keeps its larger allowance on both skis",
        make=holes(["K-031", "both", 101.5, 18, "open", "template"]),
        outcome="import",
        notes=[],
        rows=[GOOD_ROW, ("hole", "K-031", "good")],
    ),
    Case(
        name="contra_hole_off_ski.xlsx",
        why="a hole far beside the ski",
        make=book(
            {
                "Skis": [[*HEAD, "waist_mm"], [*GOOD, 96]],
                "Holes": [_HOLES, ["K-031", "A", 101.5, 65, "open", "measured bare"]],
            }
        ),
        outcome="questions",
        asked=["hole_off_ski"],
        rows=[GOOD_ROW, ("hole", "K-031", "question")],
    ),
    Case(
        name="contra_hole_of_nobody.xlsx",
        why="a hole of a pair that is nowhere listed",
        make=holes(["K-999", "A", 101.5, 18, "open", "measured bare"]),
        outcome="questions",
        asked=["unknown_pair"],
        rows=[GOOD_ROW, ("hole", "K-999", "question")],
    ),
    Case(
        name="contra_hole_knowledge_blank.xlsx",
        why="nothing says how a hole is known: the largest allowance, with a note",
        make=holes(["K-031", "A", 101.5, 18, "open", None]),
        outcome="import",
        notes=["knowledge_blank"],
        rows=[GOOD_ROW, ("hole", "K-031", "note")],
    ),
    Case(
        name="contra_fit_of_nothing.xlsx",
        why="a fit that names a pattern nobody knows",
        make=book({"Fits": table_rows(Table.FIT, FIT)}),
        outcome="questions",
        asked=["fit_without_pattern"],
        rows=[("fit", "T4/H4", "question")],
    ),
    Case(
        name="contra_wanted_backwards.xlsx",
        why="a window that runs backwards",
        make=book({"Wanted": table_rows(Table.WANTED, WANTED | {"length_min_cm": 185})}),
        outcome="questions",
        asked=["window_backwards"],
        rows=[("wanted", "W-03", "question")],
    ),
    Case(
        name="contra_pattern_travel.xlsx",
        why="one piece with two travels",
        make=book(
            {
                "Patterns": table_rows(
                    Table.PATTERN, *[h | {"travel_back_mm": i} for i, h in enumerate(T4H4[:2])]
                )
            }
        ),
        outcome="questions",
        asked=["pattern_contradiction"],
        rows=[("pattern", "T4/H4", "question")] * 2,
    ),
    Case(
        name="contra_serial_for_many.xlsx",
        why="one serial for several bindings",
        make=book({"Bindings": [["model", "quantity", "brake_mm", "serial"], ["Gorge 5", 3, 95, "S-77"]]}),
        outcome="questions",
        asked=["serial_for_many"],
        rows=[("binding", "Gorge 5", "question")],
    ),
    Case(
        name="contra_clean_shop.xlsx",
        why="a small clean shop, one of everything",
        make=book(
            {
                "Skis": table_rows(Table.SKI, SKI),
                "Patterns": _patterns(),
                "Holes": table_rows(Table.HOLE, HOLE),
                "Fits": table_rows(Table.FIT, FIT),
                "Wanted": table_rows(Table.WANTED, WANTED),
            }
        ),
        outcome="import",
        rows=[
            GOOD_ROW,
            *_PATTERN_ROWS,
            ("hole", "K-031", "good"),
            ("fit", "T4/H4", "good"),
            ("wanted", "W-03", "good"),
        ],
    ),
]
