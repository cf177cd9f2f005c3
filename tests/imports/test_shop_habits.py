"""Habits of three more shops: one list of everything, both skis in one row, sets wanted as ranges."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from imports.header_match import match_columns, read_header
from imports.headers import Table
from imports.page import doubt_lines
from imports.proposal import leave_out_text
from planner.exchange.intake import look_at
from tests.imports.books import TODAY, Rows, codes, look, write_book


def looked(tmp_path: Path, **sheets: Rows) -> dict[str, Any]:
    return look(write_book(tmp_path / "own.xlsx", sheets)).report()


def proposed(question: dict[str, Any]) -> list[str]:
    return [guess["answer"] for guess in question["proposals"]]


def values(said: dict[str, Any], table: str, key: str) -> dict[str, Any]:
    return {row["tag"]: row["values"].get(key) for row in said["rows"] if row["kind"] == table}


@pytest.mark.parametrize(
    ("table", "text", "key", "turned"),
    [
        (Table.HOLE, "od kreski cm (+ dziób, - tył)", "x_mm", False),
        (Table.HOLE, "x (mm, + tip, - tail)", "x_mm", False),
        (Table.HOLE, "x (mm, + tail, - tip)", "x_mm", True),
        (Table.HOLE, "y (+ left, - right)", "y_mm", True),
        (Table.HOLE, "from tail (mm)", "x_mm", False),
        (Table.SKI, "Rozmiar / długość", "length_cm", False),
        (Table.BOOT, "Rozmiar / długość", "mondopoint", False),
        (Table.SKI, "strek fra bakenden", "mark_from_tail_mm", False),
        (Table.SKI, "Percé pour", "bsl_mm", False),
    ],
)
def test_a_header_of_these_shops_is_read_as_what_it_says(
    table: Table, text: str, key: str, turned: bool
) -> None:
    found = read_header(text, table)
    assert found is not None
    assert (found.key, found.turned) == (key, turned)


def test_a_word_that_another_table_knows_is_no_slip_of_this_ones() -> None:
    """*Stan* is the state of a thing in Polish; it is no *stand*, which is a place."""
    assert [c.key for c in match_columns({1: "Nr", 2: "Stan"}, Table.SKI)[0]] == ["tag"]


SIDES = ["tag", "kind", "length_cm", "left ski toe front from tail", "right ski toe front from tail"]


def test_left_and_right_ski_are_a_and_b_and_no_sides_of_the_middle_line(tmp_path: Path) -> None:
    head = [*SIDES, "left ski mark from tail", "right ski mark from tail", "toe hole width", "hole state"]
    said = looked(tmp_path, Skis=[head, ["K-1", "alpine", 170, 910, 912, 770, 774, 28, "screwed"]])
    holes = [row["values"] for row in said["rows"] if row["kind"] == "hole"]
    assert sorted((h["ski"], h["x_mm"], h["y_mm"]) for h in holes) == [
        *(("A", 140, -14), ("A", 140, 14), ("B", 138, -14), ("B", 138, 14)),
    ]
    assert "left_is_a" in codes(said)


LIST = [
    "Co",
    "Nr",
    "Firma i model",
    "Rozmiar / długość",
    "Pod butem",
    "Skorupa mm",
    "Ustawione na",
    "Stan",
    "Wiązanie",
]


def one_list(*shells: int) -> Rows:
    boots = [["buty", f"B{n}", "Giewka", 25.5 + n, None, shell] for n, shell in enumerate(shells)]
    skis = [["narty", f"N{n}", "Kozica", 160, 76, None, 295, "dobry", "Zapora"] for n in range(2)]
    return [LIST, *skis, *boots, ["kije", "K1", "różne", *[None] * 6]]


def test_one_list_of_skis_and_boots_in_polish_is_split(tmp_path: Path) -> None:
    said = looked(tmp_path, Stock=one_list(295, 305, 315))
    assert values(said, "ski", "length_cm") == {"N0": 160, "N1": 160}
    assert values(said, "ski", "bsl_mm") == {"N0": 295, "N1": 295}
    assert values(said, "boot", "mondopoint") == {"B0": 25.5, "B1": 26.5, "B2": 27.5}


def test_lengths_of_soles_under_shell_are_never_sizes(tmp_path: Path) -> None:
    """A shell of 295 mm is a sole: the foot in it would be 29.5 cm. It is read so where another column says
    the sizes; alone it is asked about, the sole first.
    """
    said = looked(tmp_path, Stock=one_list(295, 305, 315))
    assert values(said, "boot", "bsl_mm") == {"B0": 295, "B1": 305, "B2": 315}
    assert "header_by_values" in codes(said)
    alone = [["Boot tag", "Shell (mm)"], *([f"B-{n}", 285 + 10 * n] for n in range(4))]
    said = looked(tmp_path, Boots=alone)
    assert set(values(said, "boot", "mondopoint").values()) == {None}
    [asked] = [q for q in said["questions"] if q["id"].startswith("column/boot/shell")]
    assert proposed(asked)[:2] == ["bsl_mm", "mondopoint"]
    sizes = [["Boot tag", "Shell (mm)"], *([f"B-{n}", 255 + 10 * n] for n in range(4))]
    said = looked(tmp_path, Boots=sizes)
    assert values(said, "boot", "mondopoint")["B-0"] == 25.5


WANTED = ["Hva", "Lengde", "Str.", "Antall"]


def test_sets_wanted_as_ranges_without_names(tmp_path: Path) -> None:
    rows = [WANTED, ["alpint", "165-172", "26 til 27,5", 2], ["alpint", 170, 27, 1]]
    path = write_book(tmp_path / "own.xlsx", {"Trenger": rows})
    said = look_at(None, [path], today=TODAY, all_rows=["Trenger:priority=1"]).report()
    assert said["outcome"] == "import", said["questions"]
    wanted = {row["tag"]: row["values"] for row in said["rows"]}
    first, second = wanted["Trenger 2"], wanted["Trenger 3"]
    ends = ("length_min_cm", "length_max_cm", "mondopoint_min", "mondopoint_max", "quantity")
    assert [first[key] for key in ends] == [165, 172, 26, 27.5, 2]
    assert [second[key] for key in ends] == [170, 170, 27, 27, 1]
    assert first["kind"] == "alpine"
    assert "lines_named" in codes(said)


def test_a_range_that_is_none_is_asked_about(tmp_path: Path) -> None:
    said = looked(
        tmp_path, Trenger=[WANTED, ["alpint", "lang", "26-27", 2], ["alpint", "165-172", "26-27", 2]]
    )
    assert any("'lang'" in f["message"] for f in said["findings"] if f["severity"] == "question")


def test_plus_minus_is_a_hole_on_either_side(tmp_path: Path) -> None:
    head = ["pair_tag", "ski", "x_mm", "y_mm", "state"]
    said = looked(
        tmp_path, Holes=[head, ["K-1", "A", 140, "±14", "screwed"], ["K-1", "A", 95, 20, "screwed"]]
    )
    holes = sorted((row["values"]["x_mm"], row["values"]["y_mm"]) for row in said["rows"])
    assert holes == [(95, 20), (140, -14), (140, 14)]
    assert "either_side" in codes(said)


def skis(*rows: list[Any], head: tuple[str, ...] = ("model", "binding_model")) -> Rows:
    return [["tag", "length_cm", *head], *([f"K-{n}", 170, *row] for n, row in enumerate(rows))]


@pytest.mark.parametrize("word", ["ingen", "brak", "senza attacco", "brez"])
def test_no_binding_is_none_in_every_language(word: str, tmp_path: Path) -> None:
    said = looked(tmp_path, Skis=skis(["Larch", word]))
    assert values(said, "ski", "binding_model") == {"K-0": None}


def test_a_kind_for_the_whole_list_is_asked_about_where_a_row_says_another(tmp_path: Path) -> None:
    rows = skis(["Gneiss 84", "Teach"], ["Larch 96 rando", "Teach"], ["Ridge rando", "Teach"])
    path = write_book(tmp_path / "own.xlsx", {"Skis": rows})
    stated = ["Skis:kind=alpine"]
    said = look_at(None, [path], today=TODAY, all_rows=stated).report()
    [asked] = said["questions"]
    assert asked["id"] == "check/ski/kind_differs/rando/skis"
    assert proposed(asked)[:2] == ["touring", "alpine"]
    for answer, kinds in (("touring", ["alpine", "touring", "touring"]), ("right", ["alpine"] * 3)):
        answered = look_at(None, [path], today=TODAY, all_rows=stated, answers={asked["id"]: answer}).report()
        assert answered["outcome"] == "import", answered["questions"]
        assert list(values(answered, "ski", "kind").values()) == kinds


def test_a_binding_with_a_remark_in_brackets_is_asked_once_and_the_remark_kept(tmp_path: Path) -> None:
    rows = skis(["Larch", "Teach 4"], ["Larch", "Teach 4 (new!)"], ["Larch", "Teach 4 (new!)"])
    path = write_book(tmp_path / "own.xlsx", {"Skis": rows})
    kind = ["Skis:kind=alpine"]
    [asked] = look_at(None, [path], today=TODAY, all_rows=kind).report()["questions"]
    assert proposed(asked)[:2] == ["Teach 4", "Teach 4 (new!)"]
    open_yet = look_at(None, [path], today=TODAY, all_rows=kind)
    assert {row.tag for row in open_yet.rows if row.usable} == {"K-0", "K-1", "K-2"}, "kept as it is called"
    said = look_at(None, [path], today=TODAY, all_rows=kind, answers={asked["id"]: "Teach 4"}).report()
    assert said["outcome"] == "import", said["questions"]
    assert set(values(said, "ski", "binding_model").values()) == {"Teach 4"}
    assert "new!" in values(said, "ski", "notes")["K-1"]
    other = look_at(
        None, [path], today=TODAY, all_rows=kind, answers={asked["id"]: "Teach 4 (new!)"}
    ).report()
    assert values(other, "ski", "binding_model")["K-1"] == "Teach 4 (new!)"
    assert other["outcome"] == "import", other["questions"]


def test_a_header_that_stands_again_is_no_thing_whatever_its_words(tmp_path: Path) -> None:
    head = ["Boo tag", "Booot model", "Monddopoint"]
    said = looked(tmp_path, Boots=[["BOOTS"], head, ["B-1", "Strauss", 26.5], head, ["B-2", "Strauss", 27.5]])
    assert set(values(said, "boot", "model")) == {"B-1", "B-2"}


def test_a_plan_of_shifts_is_no_list_of_skis(tmp_path: Path) -> None:
    shifts = [[None, "lundi", "mardi"], ["matin", "Solène", "Basile", "Solène"], ["soir", "Basile", "Basile"]]
    said = looked(tmp_path, Planning=[*shifts, ["nuit", "Basile", "Margaux", "Solène"]])
    assert not said["rows"]
    assert len(said["questions"]) <= 1


def test_what_holds_for_many_holes_of_a_row_is_said_once(tmp_path: Path) -> None:
    head = [
        "tag",
        "kind",
        "length_cm",
        "A toe front from mark (+ tip)",
        "B toe front from mark (+ tip)",
        "toe width",
    ]
    proposal = look(write_book(tmp_path / "own.xlsx", {"Skis": [head, ["K-1", "alpine", 170, 140, 141, 28]]}))
    lines = doubt_lines(proposal)
    said = [line for line in lines if "no column for state" in line]
    assert len(said) == len(set(said))
    assert "4 x missing_column" not in "\n".join(lines)
    assert leave_out_text(proposal.rows, proposal.findings) == "Skis:2"
    two = [["K-1", "alpine", 170, 140, 141, 28], ["K-2", "alpine", 170, 140, 141, 28]]
    for rows, count in ((two[:1], "1 row"), (two, "2 rows")):
        asked = look(write_book(tmp_path / "own.xlsx", {"Skis": [head, *rows]})).questions
        [state] = [question for question in asked if "no column for state" in question.text]
        assert f"no column for state ({count})" in state.text
        assert state.settles == len(rows)


@pytest.mark.parametrize("size", ["Mondopoint", "Size"])
def test_a_list_of_skis_and_boots_in_which_no_column_says_so_is_split_by_its_sizes(
    tmp_path: Path, size: str
) -> None:
    """*Size* may be a ski's, but for the length beside it."""
    head = ["Tag", "Model", "Kind", "Length (cm)", size, "BSL (mm)"]
    skis = [[f"K-{n}", "Larch", "alpine", 170] for n in range(2)]
    boots = [[f"B-{n}", "Strauss", None, None, 26.5, 305] for n in range(2)]
    said = looked(tmp_path, Stock=[head, *skis, *boots])
    assert values(said, "ski", "length_cm") == {"K-0": 170, "K-1": 170}
    assert values(said, "boot", "mondopoint") == {"B-0": 26.5, "B-1": 26.5}
    assert "mixed_list" in codes(said)
    both = [["K-9", "Larch", "alpine", 170, 26.5]]
    said = looked(tmp_path, Stock=[head, *skis, *boots, *both])
    assert {row["kind"] for row in said["rows"]} == {"ski"}, "a row with both is no list of two kinds"


def test_a_length_behind_the_model_is_read_where_the_header_says_both(tmp_path: Path) -> None:
    head = ["Tag", "Kind", "Ski + length"]
    said = looked(
        tmp_path, Skis=[head, ["K-1", "alpine", "Dohle 82 167"], ["K-2", "alpine", "Larch (178 cm)"]]
    )
    assert values(said, "ski", "model") == {"K-1": "Dohle 82", "K-2": "Larch"}
    assert values(said, "ski", "length_cm") == {"K-1": 167, "K-2": 178}
    assert "length_behind" in codes(said)
    said = looked(tmp_path, Skis=[head, ["K-1", "alpine", "Dohle 82 167"], ["K-2", "alpine", "Larch"]])
    assert set(values(said, "ski", "length_cm").values()) == {None}, "one without a length: all are asked"


def test_that_nobody_knows_the_binding_is_an_answer(tmp_path: Path) -> None:
    path = write_book(tmp_path / "own.xlsx", {"Skis": skis(["Larch", "?"])})
    kind = ["Skis:kind=alpine"]
    [asked] = look_at(None, [path], today=TODAY, all_rows=kind).report()["questions"]
    assert "not known" in proposed(asked)
    said = look_at(None, [path], today=TODAY, all_rows=kind, answers={asked["id"]: "not known"}).report()
    assert said["outcome"] == "import", said["questions"]
    assert values(said, "ski", "length_cm") == {"K-0": 170}


@pytest.mark.parametrize(
    ("text", "first"),
    [("bois + 2 titanal", "metal"), ("bois sans titanal", "no metal"), ("bois", "no metal")],
)
def test_a_known_word_in_a_text_is_the_first_guess_and_no_more(text: str, first: str, tmp_path: Path) -> None:
    head = ["Tag", "Kind", "Length", "Construction"]
    said = looked(tmp_path, Skis=[head, ["K-1", "alpine", 170, text]])
    [asked] = said["questions"]
    assert proposed(asked)[0] == first
    assert values(said, "ski", "construction") == {"K-1": None}


def test_months_without_days_are_one_question_for_their_column(tmp_path: Path) -> None:
    head = ["Tag", "Kind", "Length", "Binding", "Mounted on"]
    days = ["11/2024", "nov. 2023", "2022-12", "13/2024", "12/11/2024"]
    rows = [[f"K-{n}", "alpine", 170, "Teach", day] for n, day in enumerate(days)]
    path = write_book(tmp_path / "own.xlsx", {"Skis": [head, *rows]})
    asked = {q["id"] for q in look_at(None, [path], today=TODAY).report()["questions"]}
    month = "check/ski/month_only/mount_date/skis"
    assert [a for a in asked if "/20" in a or "%2F20" in a] == ["word/ski/mount_date/13%2F2024"]
    assert month in asked
    said = look_at(None, [path], today=TODAY, answers={month: "not known"}).report()
    assert month not in {q["id"] for q in said["questions"]}
    assert values(said, "ski", "mount_date")["K-0"] is None


@pytest.mark.parametrize(("text", "width"), [("B90", 90), ("b 115 mm", 115), ("B900", None), ("R90", None)])
def test_a_brake_behind_its_letter_is_read_aloud_within_its_limits(
    text: str, width: int | None, tmp_path: Path
) -> None:
    head = ["Tag", "Kind", "Length", "Binding", "Brake"]
    said = looked(tmp_path, Skis=[head, ["K-1", "alpine", 170, "Teach", text]])
    assert values(said, "ski", "brake_mm") == {"K-1": width}
    assert ("brake_letter" in codes(said)) == (width is not None)


@pytest.mark.parametrize("mark", ["?", "？"])
def test_a_binding_that_is_a_question_mark_is_asked_about_with_what_stands_on_it(
    mark: str, tmp_path: Path
) -> None:
    """A wide one of a Japanese sheet too: it was no binding, and the sole shown as taken was lost with it."""
    head = ["Tag", "Kind", "Length", "Binding", "Brake", "Sole length"]
    said = looked(tmp_path, Skis=[head, ["K-1", "alpine", 170, mark, 100, 325]])
    assert "question_mark" in codes(said)
    assert [row["verdict"] for row in said["rows"]] == ["question"]


def test_a_number_that_is_none_of_its_columns_answered_unit_is_asked_by_itself(tmp_path: Path) -> None:
    """A column of two units: most are answered at once, and what is left is a question of its own, not the
    one that was answered, so that no row stays in question with nothing asked.
    """
    head = ["tag", "kind", "length cm", "Brake (cm)", "binding"]
    rows = [["K-1", "alpine", 170, 85, "Lark"], ["K-2", "alpine", 170, 90, "Lark"]]
    book = write_book(tmp_path / "own.xlsx", {"Skis": [head, *rows, ["K-3", "alpine", 170, "8,5", "Lark"]]})
    given: dict[str, str] = {}
    asked = []
    for _ in range(3):
        proposal = look_at(None, [book], answers=given, today=TODAY)
        about_brakes = [each for each in proposal.questions if "/brake_mm/" in each.id]
        assert all(each.id not in given for each in about_brakes)
        asked.append([each.id for each in about_brakes])
        given |= {each.id: each.guesses[0].answer for each in about_brakes}
    assert asked == [["unit/ski/brake_mm/brake"], ["word/ski/brake_mm/8,5"], []]
    assert given["word/ski/brake_mm/8,5"] == "8.5 cm"
    brakes = {row.values["tag"]: row.values.get("brake_mm") for row in proposal.rows if "tag" in row.values}
    assert brakes == {"K-1": 85, "K-2": 90, "K-3": 85}  # mm


def test_a_mounted_sole_like_a_shell_is_noted_at_its_cell_where_boots_of_that_sole_are_here(
    tmp_path: Path,
) -> None:
    skis = [["Tag", "Kind", "Length", "Binding", "Mounted for sole"], ["K-1", "alpine", 150, "Teach", 265]]
    boots = [["Boot", "Model", "Mondopoint", "Sole mm"], ["B-1", "Invented", 22.5, 265]]
    said = looked(tmp_path, Skis=skis, Boots=boots)
    [noted] = [f for f in said["findings"] if f["code"] == "bsl_may_be_shell"]
    assert (noted["row"], noted["column"]) == (2, "E")
    assert values(said, "ski", "bsl_mm") == {"K-1": 265}


def test_a_list_that_may_be_of_skis_or_boots_is_asked_with_both_and_the_leaving_out(tmp_path: Path) -> None:
    said = looked(tmp_path, Sheet1=[["Tag", "Model"], ["1", "Larch"], ["2", "Gneiss"]])
    [asked] = [q for q in said["questions"] if q["id"].startswith("table/sheet1/")]
    assert proposed(asked) == ["ski", "boot", "leave out"]
