"""A new column of the inventory is one field in one file: added here to a copy of the program, and used.

It goes from the blank workbook through an import, the ledger, every export and a correction, and back. What
is left out of it is refused when the program starts.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from msgspec import NODEFAULT, structs
from openpyxl import load_workbook

import imports.headers  # noqa: F401 - the classes of all things
from fleet.facts.columns import LedgerFacts
from tests.warm_program import WarmProgram

ROOT = Path(__file__).parent.parent.parent
LAYOUT_2 = ROOT / "tests/ledger/layouts/layout_2.db"
BY = ("--by", "Ida Fennweg")

LINING = """
from enum import StrEnum


class Lining(StrEnum):
    WOOL = "wool"
    FOAM = "foam"


class BootFacts("""
SKI = """    core_thickness_um: Annotated[
        int | None, LedgerColumn(
            Field("core thickness", Holds.LENGTH, 5, 40), "thickness of the core", example="12"
        )
    ] = None
"""
COLOUR = """    colour: Annotated[
        str, LedgerColumn(Field("the colour", Holds.TEXT), "colour of the top sheet", example="green")
    ] = ""
"""
PAIR = f"""{COLOUR}
    first_hired_on: Annotated[
        str, LedgerColumn(Field("the day of its first hire", Holds.DAY), "day of its first hire")
    ] = ""
"""
BOOT = """    lining: Annotated[
        Lining | None, LedgerColumn(Field("the lining", Holds.WORD), "what it is lined with")
    ] = None
"""
BINDING = """    springs: Annotated[
        int | None,
        LedgerColumn(Field("the number of springs", Holds.COUNT, 0, 4), "springs in the heel piece"),
    ] = None
"""
HOLE = """    filled_with: Annotated[
        str, LedgerColumn(Field("what fills it", Holds.TEXT), "what fills it")
    ] = ""
"""
WISH = """    asked_by: Annotated[
        str, LedgerColumn(Field("who asked", Holds.TEXT), "who asked for it")
    ] = ""
"""
AREA = """    seen_with: Annotated[
        str, LedgerColumn(Field("what it was seen with", Holds.TEXT), "what it was seen with",
            shown=Shown.FOR_PEOPLE)
    ] = ""
"""
MOUNT = """    glued_with: Annotated[
        str, LedgerColumn(Field("the glue", Holds.TEXT), "what it was glued with", shown=Shown.FOR_PEOPLE)
    ] = ""
"""
PERSON = """    trained_on: Annotated[
        date | None, LedgerColumn(Field("the day of the training", Holds.DAY), "day of the last training")
    ] = None
"""
PATTERN = """    jig: Annotated[
        str, LedgerColumn(Field("the jig", Holds.TEXT), "its jig", example="J-4")
    ] = ""
"""
PIECE = """    shim_um: Annotated[
        int | None, LedgerColumn(Field("the shim", Holds.LENGTH, 1, 20), "thickness of the shim under it")
    ] = None
"""
PATTERN_HOLE = """    countersink_um: Annotated[
        int | None, LedgerColumn(Field("the countersink", Holds.LENGTH, 1, 9), "depth of its countersink")
    ] = None
"""
EVERY_MOUNT = "MountFacts(MountDays"
ENDS = {
    "InspectedArea(AreaFacts": AREA,
    "Ski(SkiFacts": SKI,
    "Pair(PairFacts": PAIR,
    "Boot(BootFacts": BOOT,
    "Binding(BindingFacts": BINDING,
    "Wish(WishFacts": WISH,
    EVERY_MOUNT: MOUNT,
    "Hole(HoleFacts": HOLE,
    "Pattern(PatternFacts": PATTERN,
    "Piece(PieceFacts": PIECE,
    "PatternHole(PatternHoleFacts": PATTERN_HOLE,
    "Staff(StaffFacts": PERSON,
}
"""A column is put at the end of its class: before the class that follows from it."""


def copied(folder: Path) -> Path:
    """The program with facts of its own: all else are links to the real one."""
    (folder / "fleet").mkdir()
    for package in ("imports", "planner", *(f"fleet/{each.name}" for each in (ROOT / "fleet").iterdir())):
        if package == "fleet/facts":
            shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            (folder / package).symlink_to(ROOT / package)
    return folder


def put(program: Path, *changes: tuple[str, str]) -> None:
    """Change the facts; each old text stands once, in one of their files."""
    for old, new in changes:
        [file] = [f for f in (program / "fleet/facts").glob("*.py") if old in f.read_text(encoding="utf-8")]
        text = file.read_text(encoding="utf-8")
        assert text.count(old) == 1, old
        file.write_text(text.replace(old, new), encoding="utf-8")


def end_of(name: str, column: str) -> tuple[str, str]:
    return f"\n\nclass {name}", f"{column}\n\nclass {name}"


class Program:
    """A copy of the program, run as its user runs it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.ledger = folder / "mountbook.db"
        self.warm = WarmProgram(folder)

    def run(self, *words: str | Path, code: int = 0, ledger: Path | None = None) -> str:
        """What it prints; ``code``: how it must end."""
        ended, said = self.warm.run(*map(str, words), env={"MOUNTBOOK_LEDGER": str(ledger or self.ledger)})
        assert ended == code, said
        return said

    def json(self, *words: str | Path, code: int = 0, ledger: Path | None = None) -> dict[str, Any]:
        said = self.run(*words, "--json", code=code, ledger=ledger)
        found: dict[str, Any] = json.loads(said[said.index("{") : said.rindex("}") + 1])
        return found

    def exported(self, name: str, *more: str, ledger: Path | None = None) -> Path:
        """The folder of the export; ``more``: in what other forms it stands beside it, such as xlsx."""
        folder = self.folder / name
        files = [(f"--{form}", folder.with_suffix(f".{form}")) for form in more]
        self.run("export", folder, *(word for file in files for word in file), ledger=ledger)
        return folder


def rows(folder: Path, table: str) -> list[dict[str, str]]:
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def fill(book: Path, to: Path, **sheets: list[dict[str, Any]]) -> Path:
    """Rows into a workbook, under the headers that stand there; a header that does not stand there fails."""
    opened = load_workbook(book)
    for name, things in sheets.items():
        sheet = opened[name]
        place = {cell.value: cell.column for cell in sheet[1]}
        for number, thing in enumerate(things, start=2):
            for key, value in thing.items():
                sheet.cell(number, place[key], value)
    opened.save(to)
    return to


def a_pair(tag: str, **more: Any) -> dict[str, Any]:
    seen = {"zone_back_mm": 330, "zone_front_mm": 280, "zone_half_width_mm": 38, "earlier_mounts": 0}
    return {"tag": tag, "model": "Larch 96", "kind": "telemark", "length_cm": 178} | seen | more


def a_hole(tag: str, **more: Any) -> dict[str, Any]:
    place = {"ski": "A", "x_mm": 101.5, "y_mm": 18, "state": "plugged", "knowledge": "measured bare"}
    return {"pair_tag": tag} | place | more


def a_wish(name: str, **more: Any) -> dict[str, Any]:
    lengths = {"length_min_cm": 165, "length_max_cm": 180, "mondopoint_min": 26.5, "mondopoint_max": 28.5}
    return {"wish": name, "kind": "telemark", "quantity": 6, "priority": 1} | lengths | more


def a_pattern_hole(name: str, **more: Any) -> dict[str, Any]:
    """One of two holes of a toe piece; ``y_mm`` says which."""
    place = {"piece": "toe", "follows": "toe", "x_mm": -10, "y_mm": 18, "diameter_mm": 3.6}
    return {"pattern": name, "binding_model": f"{name} binding"} | place | more


WHOLE = {"jig": "J-4", "shim_mm": 2.5}
TRAINED = {"trained_on": "2025-10-01"}


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    """One column more of each thing, and a shop whose workbook fills them in."""
    made = Program(copied(tmp_path_factory.mktemp("program")))
    put(
        made.folder,
        ("\nclass BootFacts(", LINING),
        *(end_of(name, column) for name, column in ENDS.items()),
    )
    made.run("blank", "blank.xlsx")
    own = fill(
        made.folder / "blank.xlsx",
        made.folder / "own.xlsx",
        Skis=[
            a_pair("K-031", colour="green", first_hired_on="2024-12-01", core_thickness_mm=12.5),
            a_pair("K-032", colour="green"),
            a_pair("K-033", ski="A", core_thickness_mm=12),
            a_pair("K-033", ski="B", core_thickness_mm=13),
        ],
        Boots=[{"tag": "B-210", "model": "Gimmel 26", "bsl_mm": 317, "lining": "Wool"}],
        Bindings=[{"model": "Sennhof 75", "quantity": 1, "springs": 2}],
        Holes=[a_hole("K-031", filled_with="wood"), a_hole("K-032")],
        Wanted=[a_wish("W-03", asked_by="the school"), a_wish("W-04")],
        Patterns=[
            a_pattern_hole("Lark 4", countersink_mm=1.5, **WHOLE),
            a_pattern_hole("Lark 4", y_mm=-18, **WHOLE),
            a_pattern_hole("Wren 4"),
            a_pattern_hole("Wren 4", y_mm=-18),
        ],
        Staff=[{"name": "Ida Fennweg", "role": "head technician", "valid_until": "2040-05-30"} | TRAINED],
    )
    made.run("import", own, "--apply", "--shop", "Our shop", "--zone", "Europe/Vienna")
    made.run("staff", "add", "Ida Fennweg", "--role", "head-technician", "--until", "2040-05-31", *BY)
    yield made
    made.warm.close()


@pytest.fixture
def plain(tmp_path: Path) -> Iterator[Program]:
    """A copy in which nothing was changed yet."""
    made = Program(copied(tmp_path))
    yield made
    made.warm.close()


def test_it_stands_in_the_blank_workbook_after_the_headers_of_before(program: Program) -> None:
    heads = [cell.value for cell in load_workbook(program.folder / "blank.xlsx")["Skis"][1]]
    assert heads[-4:] == ["rack", "colour", "first_hired_on", "core_thickness_mm"]
    guide = load_workbook(program.folder / "blank.xlsx")["Guide"]
    said = {row[1].value: (row[3].value, row[5].value) for row in guide.iter_rows(min_row=5)}
    assert said["core_thickness_mm"] == ("thickness of the core", "12")


def test_what_its_cell_says_stands_in_every_export(program: Program) -> None:
    folder = program.exported("exported", "xlsx", "sqlite")
    told = {row["tag"]: (row["colour"], row["first_hired_on"]) for row in rows(folder, "pairs")}
    assert told == {"K-031": ("green", "2024-12-01"), "K-032": ("green", ""), "K-033": ("", "")}
    cores = [(row["pair_tag"], row["ski"], row["core_thickness_mm"]) for row in rows(folder, "skis")]
    assert cores == [
        ("K-031", "A", "12.5"), ("K-031", "B", "12.5"), ("K-032", "A", ""), ("K-032", "B", ""),
        ("K-033", "A", "12"), ("K-033", "B", "13"),
    ]  # fmt: skip
    assert [row["lining"] for row in rows(folder, "boots")] == ["wool"]
    assert [row["springs"] for row in rows(folder, "bindings")] == ["2", "2"]
    assert [row["filled_with"] for row in rows(folder, "holes")] == ["wood", ""]
    assert [row["asked_by"] for row in rows(folder, "wanted")] == ["the school", ""]
    patterns = [(row["jig"], row["shim_mm"], row["countersink_mm"]) for row in rows(folder, "patterns")]
    assert patterns == [("J-4", "2.5", "1.5"), ("J-4", "2.5", ""), ("", "", ""), ("", "", "")]
    described = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    fields = {(table["name"], f["name"]): f for table in described for f in table["schema"]["fields"]}
    assert fields["skis", "core_thickness_mm"] == {
        "name": "core_thickness_mm", "type": "number", "title": "thickness of the core"
    }  # fmt: skip
    assert fields["pairs", "first_hired_on"]["type"] == "date"
    assert fields["bindings", "springs"]["type"] == "integer"
    sheet = load_workbook(folder.with_suffix(".xlsx"))["Skis"]
    heads = [cell.value for cell in sheet[1]]
    assert [sheet.cell(2, heads.index(key) + 1).value for key in ("colour", "core_thickness_mm")] == [
        "green",
        12.5,
    ]
    with closing(sqlite3.connect(folder.with_suffix(".sqlite"))) as plain:
        assert plain.execute("SELECT core_thickness_mm FROM skis WHERE pair_tag = 'K-033'").fetchall() == [
            (12.0,),
            (13.0,),
        ]


@pytest.mark.parametrize(("suffix", "told"), [("", 21), pytest.param(".xlsx", 16, marks=pytest.mark.long)])
def test_an_export_says_it_again_to_the_same_ledger_and_to_a_new_one(
    program: Program, suffix: str, told: int
) -> None:
    folder = program.exported("again", *filter(None, [suffix.removeprefix(".")]))
    file = folder.with_suffix(suffix) if suffix else folder
    assert program.json("import", file)["changes"] == {"new": 0, "changed": 0, "unchanged": told}
    other = program.folder / f"other{suffix}.db"
    program.run("import", file, "--apply", "--shop", "Another", "--zone", "Europe/Vienna", ledger=other)
    theirs = program.exported("theirs", ledger=other)
    for table in ("pairs", "skis", "boots", "bindings", "patterns", "wanted", "staff"):
        assert rows(theirs, table) == rows(folder, table)
    assert [row["filled_with"] for row in rows(theirs, "holes")] == ["wood", ""]


def test_who_is_listed_anew_keeps_what_was_said_of_her_beside_role_and_date(program: Program) -> None:
    told = {"name": "Ida Fennweg", "role": "head technician", "valid_until": "2040-05-31"}
    assert rows(program.exported("people"), "staff") == [told | TRAINED]


def test_a_pattern_says_it_by_name_to_people_to_programs_and_in_its_entry(program: Program) -> None:
    told = program.json("pattern", "show", "Lark 4")
    assert (told["jig"], told["pieces"][0]["shim_mm"]) == ("J-4", 2.5)
    assert [hole["countersink_mm"] for hole in told["pieces"][0]["holes"]] == [1.5, None]
    bodies = [
        json.loads(row["body"])
        for row in rows(program.exported("told"), "entries")
        if "Lark 4" in row["body"]
    ]
    [toe] = next(body for body in bodies if body.get("name") == "Lark 4")["pieces"]
    first, other = ({"x_um": -10_000, "y_um": y_um, "diameter_um": 3_600} for y_um in (18_000, -18_000))
    assert toe["holes"] == [first | {"countersink_um": 1_500}, other]


def test_a_pattern_measured_anew_is_taken_from_a_csv_with_it(program: Program) -> None:
    file = program.folder / "ours.csv"
    lines = [a_pattern_hole("Finch 2", y_mm=y_mm, shim_mm=2.5, jig="J-7") for y_mm in (18, -18)]
    with file.open("w", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, lines[0])
        writer.writeheader()
        writer.writerows(lines)
    ledger = program.folder / "measured.db"
    shutil.copy(program.ledger, ledger)
    program.run("pattern", "add", file, "--origin", "off a bare binding", *BY, ledger=ledger)
    told = program.json("pattern", "show", "Finch 2", ledger=ledger)
    assert (told["jig"], told["pieces"][0]["shim_mm"]) == ("J-7", 2.5)


def test_what_a_sheet_leaves_blank_of_a_pattern_stays_and_what_it_changes_is_shown(program: Program) -> None:
    plain = [a_pattern_hole("Lark 4"), a_pattern_hole("Lark 4", y_mm=-18)]
    file = fill(program.folder / "blank.xlsx", program.folder / "patterns.xlsx", Patterns=plain)
    assert program.json("import", file)["changes"] == {"new": 0, "changed": 0, "unchanged": 2}
    file = fill(file, file, Patterns=[{"jig": "J-5"}, {"jig": "J-5"}])
    assert program.json("import", file)["differences"] == [
        {"what": "pattern Lark 4", "field": "jig", "old": "J-4", "new": "J-5"}
    ]


HISTORIES = {
    "areas": {"pair_tag": "K-031", "ski": "A", "from_mm": "-330", "to_mm": "280", "how": "bare"}
    | {"on": "2026-10-20", "seen_with": "a lamp"},
    "mounts": {
        "pair_tag": "K-031",
        "binding_model": "Sennhof 75",
        "bsl_mm": "305",
        "removed_on": "2025-04-30",
    }
    | {"mounted_on": "2024-11-30", "glued_with": "epoxy"},
}
ASKED = {"areas": "area_unknown", "mounts": "mount_history"}


@pytest.mark.parametrize("table", HISTORIES)
def test_a_row_of_a_pairs_history_says_it_to_a_new_ledger_and_not_silently_to_the_same(
    program: Program, table: str
) -> None:
    folder = program.exported(f"with_{table}")
    told = HISTORIES[table]
    heads = (folder / f"{table}.csv").read_text(encoding="utf-8").strip().split(",")
    with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, heads)
        writer.writeheader()
        writer.writerow(told)
    asked = program.json("import", folder, code=1)["findings"]
    assert [f["code"] for f in asked if f["severity"] == "question"] == [ASKED[table]]
    other = program.folder / f"{table}.db"
    program.run("import", folder, "--apply", "--shop", "Another", "--zone", "Europe/Vienna", ledger=other)
    [row] = rows(program.exported(f"again_{table}", ledger=other), table)
    assert told.items() <= row.items()


@pytest.mark.long
def test_what_is_edited_in_the_exported_workbook_is_taken_in(program: Program) -> None:
    book = program.exported("edited", "xlsx").with_suffix(".xlsx")
    changed = fill(
        book, program.folder / "changed.xlsx", Skis=[{"colour": "blue"}], Boots=[{"lining": "foam"}]
    )
    told = program.json("import", changed)
    assert told["differences"] == [
        {"what": "pair K-031", "field": "colour", "old": "green", "new": "blue"},
        {"what": "boot B-210", "field": "lining", "old": "wool", "new": "foam"},
    ]


def test_what_the_sheet_of_stock_says_of_bindings_that_are_there_is_taken_in(program: Program) -> None:
    stock = [{"model": "Sennhof 75", "quantity": 1, "springs": 3}]
    file = fill(program.folder / "blank.xlsx", program.folder / "stock.xlsx", Bindings=stock)
    assert program.json("import", file)["differences"] == [
        {"what": f"binding Sennhof 75 brake not known no. 1 {side}", "field": "springs", "old": 2, "new": 3}
        for side in "AB"
    ]


BAD_CELLS = {
    "not plausible": ({"core_thickness_mm": 900}, "core_thickness_mm"),
    "no such day": ({"first_hired_on": "2024-13-01"}, "first_hired_on"),
}


@pytest.mark.parametrize("name", BAD_CELLS)
def test_a_bad_cell_of_it_is_asked_about(program: Program, name: str) -> None:
    cells, key = BAD_CELLS[name]
    file = fill(program.folder / "blank.xlsx", program.folder / "bad.xlsx", Skis=[a_pair("K-040", **cells)])
    told = program.json("import", file, code=1)
    assert told["outcome"] == "questions"
    assert [row["values"][key] for row in told["rows"]] == [None] or told["findings"][0]["taken"] is None


def test_two_rows_of_a_pair_that_differ_in_it_are_asked_about(program: Program) -> None:
    two = [a_pair("K-040", ski="A", colour="green"), a_pair("K-040", ski="B", colour="red")]
    file = fill(program.folder / "blank.xlsx", program.folder / "two.xlsx", Skis=two)
    found = program.json("import", file, code=1)["findings"]
    said = {f["message"] for f in found if f["code"] == "pair_contradiction"}
    assert said == {"the two skis of K-040 differ in colour: green, red"}


CORRECTED = {
    ("K-032", "colour=red"): ("pairs", "K-032", "colour", "red"),
    ("K-032", "first_hired_on=2025-01-02"): ("pairs", "K-032", "first_hired_on", "2025-01-02"),
    ("K-033/B", "core_thickness_mm=11.5"): ("skis", "K-033", "core_thickness_mm", "11.5"),
    ("B-210", "lining="): ("boots", "B-210", "lining", ""),
    ("Sennhof 75 brake not known no. 1 A", "springs=0"): (
        "bindings",
        "Sennhof 75 brake not known no. 1 A",
        "springs",
        "0",
    ),
}


@pytest.mark.long
def test_correct_takes_it(program: Program) -> None:
    file = program.folder / "corrected.db"
    shutil.copy(program.ledger, file)
    for name, setting in CORRECTED:
        program.run("correct", name, setting, *BY, "--why", "misread", ledger=file)
    folder = program.exported("set_right", ledger=file)
    for table, tag, key, value in CORRECTED.values():
        assert value in [row[key] for row in rows(folder, table) if tag in row.values()]
    program.run("audit", ledger=file)


REFUSED = {
    ("K-032", "first_hired_on=soon"): "first_hired_on",
    ("K-031/A", "core_thickness_mm=0"): "must not be zero",
    ("K-031/A", "core_thickness_mm=thick"): "write it like 12.5",
    ("B-210", "lining=straw"): "one of: wool, foam",
    ("K-031", "core_thickness_mm=12"): "cannot be corrected there",
}


@pytest.mark.parametrize("name", REFUSED, ids=lambda name: " ".join(name))
def test_correct_refuses_what_it_cannot_hold(program: Program, name: tuple[str, str]) -> None:
    assert REFUSED[name] in program.run("correct", *name, *BY, "--why", "misread", code=1)


def test_it_goes_along_when_two_single_skis_are_made_a_pair(program: Program) -> None:
    file = program.folder / "joined.db"
    shutil.copy(program.ledger, file)
    for name, setting in (("K-032/A", "core_thickness_mm=14"), ("K-032/B", "core_thickness_mm=14")):
        program.run("correct", name, setting, *BY, "--why", "measured", ledger=file)
    for tag in ("K-031", "K-032"):
        program.run("singles", "lost", tag, "--ski", "B", "--why", "lost", *BY, ledger=file)
    program.run("singles", "join", "K-050", "--a", "K-031/A", "--b", "K-032/A", *BY, ledger=file)
    folder = program.exported("joined", ledger=file)
    assert [row["colour"] for row in rows(folder, "pairs") if row["tag"] == "K-050"] == ["green"]
    cores = [row["core_thickness_mm"] for row in rows(folder, "skis") if row["pair_tag"] == "K-050"]
    assert cores == ["12.5", "14"]
    filled = [row["filled_with"] for row in rows(folder, "holes") if row["pair_tag"] == "K-050"]
    assert filled == ["wood", ""]


def test_a_ledger_of_before_is_brought_up_and_says_that_nothing_is_stated(program: Program) -> None:
    file = program.folder / "older.db"
    shutil.copy(LAYOUT_2, file)
    folder = program.exported("older", ledger=file)
    assert {row["colour"] for row in rows(folder, "pairs")} == {""}
    assert {row["core_thickness_mm"] for row in rows(folder, "skis")} == {""}
    assert {row["jig"] + row["shim_mm"] + row["countersink_mm"] for row in rows(folder, "patterns")} == {""}
    assert "sound" in program.run(
        "audit", code=1, ledger=file
    )  # of a day to come: only its clock is asked about


# What is left out is refused

NOT_WHOLE = {
    "a fact without a column": (
        end_of("Ski(SkiFacts", "    core_thickness_um: int | None = None\n"),
        "SkiFacts.core_thickness_um has no LedgerColumn",
    ),
    "a fact of every mount without a column": (
        end_of(EVERY_MOUNT, '    glued_with: str = ""\n'),
        "MountFacts.glued_with has no LedgerColumn",
    ),
    "a fact of a pattern's hole without a column": (
        end_of("PatternHole(PatternHoleFacts", "    countersink_um: int | None = None\n"),
        "PatternHoleFacts.countersink_um has no LedgerColumn",
    ),
    "a length of a pattern that does not say its unit": (
        end_of("Piece(PieceFacts", PIECE.replace("shim_um", "shim")),
        "shim is .* but its column holds a length in mm",
    ),
    "the header of another column of a pattern": (
        end_of("Pattern(PatternFacts", PATTERN.replace("example=", 'key="binding_model", example=')),
        "two columns of PatternFacts have one header",
    ),
    "a length that does not say its unit": (
        end_of("Ski(SkiFacts", SKI.replace("core_thickness_um", "core_thickness")),
        "core_thickness is .* but its column holds a length in mm",
    ),
    "a count that is named like a length": (
        end_of("Ski(SkiFacts", SKI.replace("Holds.LENGTH", "Holds.COUNT")),
        "core_thickness_um is .* but its column holds a count",
    ),
    "a text that is to be a number": (
        end_of("Ski(SkiFacts", SKI.replace("int | None", "str | None")),
        "core_thickness_um is .* but its column holds a length in mm",
    ),
    "a column that says nothing": (
        end_of("Pair(PairFacts", COLOUR.replace('"colour of the top sheet", ', "")),
        "missing 1 required positional argument: 'meaning'",
    ),
    "the header of another column": (
        end_of("Pair(PairFacts", COLOUR.replace("example=", 'key="model", example=')),
        "two columns of Pair have one header",
    ),
    "a header that other words claim": (
        end_of("Ski(SkiFacts", SKI.replace("core_thickness_um", "core_um")),
        "the header 'core' of a ski row means core_mm and construction",
    ),
    "a header that holds something else elsewhere": (
        end_of("Boot(BootFacts", COLOUR.replace("colour:", "rack:").replace("TEXT", "TAG")),
        "rack holds the rack as text, and the colour as tag",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NOT_WHOLE)
def test_a_column_that_is_not_whole_is_refused_before_anything_is_read(plain: Program, name: str) -> None:
    change, words = NOT_WHOLE[name]
    put(plain.folder, change)
    said = plain.run("import", ROOT / "sample_fleet/fleet.xlsx", code=1)
    assert re.search(words, said), said
    assert not plain.ledger.exists()


def test_the_default_of_a_fact_states_nothing() -> None:
    """Else older entries would say what nobody said. Of these every body says a value."""
    said = [
        f"{thing.__name__}.{field.name}"
        for thing in LedgerFacts.__subclasses__()
        for field in structs.fields(thing)
        if field.default not in (NODEFAULT, None, "")
    ]
    assert said == ["PairFacts.earlier_mounts", "PieceFacts.travel_back_um", "PieceFacts.travel_forward_um"]


@pytest.mark.parametrize(
    ("thing", "column", "words"),
    [("Pair(PairFacts", COLOUR, "colour is missing"), ("Pattern(PatternFacts", PATTERN, "jig is missing")],
)
def test_a_fact_that_older_entries_do_not_state_needs_a_default(
    plain: Program, thing: str, column: str, words: str
) -> None:
    put(plain.folder, end_of(thing, column.replace(' = ""', "")))
    shutil.copy(LAYOUT_2, plain.ledger)
    before = plain.ledger.read_bytes()
    assert words in plain.run("export", "exported", code=1)
    assert plain.ledger.read_bytes() == before
