"""One question for all that one answer settles; each answer changes exactly that; what is open waits."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner

from fleet.base.errors import BadInput
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from imports.answers import About, parts_of, question_id, read_answers
from imports.difference import FieldChange
from imports.headers import Table
from imports.page import change_text
from imports.proposal import Proposal
from imports.questions import id_text
from planner.cli import import_ask
from planner.cli.main import app
from planner.exchange.intake import look_at
from tests.imports.books import BOOT, MOUNTED, SKI, T4H4, TODAY, WANTED, table_rows, write_book

WOOD = "word/ski/construction/wood%2Fti"


def run(*args: object, folder: Path) -> Any:
    return CliRunner().invoke(app, ["--ledger", str(folder / "l.db"), *map(str, args)])


def said(*args: object, folder: Path) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(run("import", *args, "--json", folder=folder).stdout)
    return answer


def answers(folder: Path, **by_id: str) -> Path:
    path = folder / "answers.txt"
    path.write_text("".join(f"{identity} {text}\n" for identity, text in by_id.items()), encoding="utf-8")
    return path


def fleet_of(folder: Path) -> Fleet:
    with Ledger.open(folder / "l.db") as ledger:
        return read_fleet(ledger.connection)


def stock(folder: Path, name: str = "stock.xlsx") -> Path:
    """Fourteen pairs of 'wood/ti', two of 'half metal', and a boot that says wood/ti of another thing."""
    words = ["wood/ti"] * 14 + ["half metal"] * 2
    skis = [SKI | {"tag": f"K-{n}", "construction": word} for n, word in enumerate(words, start=101)]
    return write_book(
        folder / name,
        {"Skis": table_rows(Table.SKI, *skis), "Boots": table_rows(Table.BOOT, BOOT | {"kind": "wood/ti"})},
    )


def test_an_id_says_its_kind_its_table_its_column_and_its_word() -> None:
    assert question_id(About.WORD, "ski", "construction", " Wood/Ti ") == WOOD
    assert parts_of(WOOD) == (About.WORD, ("ski", "construction", "wood/ti"))
    assert parts_of("nothing/ski") is None


def test_a_word_is_asked_once_for_all_its_rows_with_what_it_may_be(tmp_path: Path) -> None:
    questions = {q["id"]: q for q in said(stock(tmp_path), folder=tmp_path)["questions"]}
    assert {WOOD, "word/ski/construction/half%20metal", "word/boot/kind/wood%2Fti"} == questions.keys()
    assert questions[WOOD]["settles"] == 14
    assert "'wood/ti' stands in 14 rows of 'Skis'" in questions[WOOD]["text"]
    offered = [guess["answer"] for guess in questions[WOOD]["proposals"]]
    assert {"metal", "no metal", "thin core", "not known"} <= set(offered)
    assert offered[-1] == "leave out"


def test_an_answer_changes_exactly_the_rows_and_the_value_that_it_is_about(tmp_path: Path) -> None:
    """Each question of a file is answered alone: nothing else may be other than before."""
    path = stock(tmp_path)
    before = said(path, folder=tmp_path)
    for question in before["questions"]:
        _, (table, key, word) = parts_of(question["id"]) or ("", ("", "", ""))
        answer = {"construction": "metal", "kind": "touring"}[key]
        after = said(path, "--answers", answers(tmp_path, **{question["id"]: answer}), folder=tmp_path)
        assert [q["id"] for q in after["questions"]] == [
            q["id"] for q in before["questions"] if q["id"] != question["id"]
        ]
        changed = 0
        for old, new in zip(before["rows"], after["rows"], strict=True):
            mine = {f["row"] for f in before["findings"] if f["raw"] == word and f["sheet"] == old["sheet"]}
            if old["kind"] == table and old["row"] in mine:
                assert (new["verdict"], new["values"]) == ("note", old["values"] | {key: answer})
                changed += 1
            else:
                assert new == old
        assert changed == question["settles"]


WRONG = [
    (WOOD, "metel", "did you mean metal?"),
    (WOOD, "spruce", "choose: no metal, metal, thin core"),
    ("word/ski/length_cm/long", "1700", "is not plausible for ski length"),
    ("word/ski/length_cm/long", "not known", "cannot come in without ski length"),
    ("unit/ski/length_cm/length", "yards", "answer one of: mm, cm, m, in"),
    ("column/ski/breite", "waste_mm", "did you mean 'waist_mm'"),
    ("word/ski/constructoin/wood%2Fti", "metal", "there is no value called 'constructoin'"),
    ("word/ski/construction/wood%2Ftii", "metal", "did you mean word/ski/construction/wood%2Fti?"),
    ("word/ski/rack/nowhere", "R1", "asks word/ski/rack/nowhere"),
]


@pytest.mark.parametrize(("identity", "answer", "words"), WRONG, ids=[f"{w[0][:20]} {w[1]}" for w in WRONG])
def test_a_wrong_answer_is_refused_where_it_is_given_and_the_others_count(
    tmp_path: Path, identity: str, answer: str, words: str
) -> None:
    right = {"word/ski/construction/half%20metal": "thin core"}
    given = answers(tmp_path, **right, **{identity: answer})
    told = run("import", stock(tmp_path), "--answers", given, folder=tmp_path)
    assert told.exit_code == 1
    assert words in " ".join(told.stdout.split())
    found = said(stock(tmp_path), "--answers", given, folder=tmp_path)
    refused = [f for f in found["findings"] if f["code"] in ("no_answer", "answer_not_needed")]
    assert len(refused) == 1
    assert words in f"{refused[0]['message']}; {refused[0]['fix']}"
    assert "word/ski/construction/half%20metal" not in {q["id"] for q in found["questions"]}
    if identity == WOOD:
        assert WOOD in {q["id"] for q in found["questions"]}


def test_answers_of_which_none_fits_are_those_of_another_file(tmp_path: Path) -> None:
    given = answers(tmp_path, **{"word/ski/rack/nowhere": "R1"})
    told = run("import", stock(tmp_path), "--answers", given, "--apply", folder=tmp_path)
    assert isinstance(told.exception, BadInput)
    assert not (tmp_path / "l.db").exists()


def test_a_wrong_answer_brings_back_none_that_the_shop_gave_earlier(tmp_path: Path) -> None:
    """Who corrects an answer and mistypes it is asked again: the old one is not what they mean."""
    given = answers(tmp_path, **{WOOD: "metal"})
    said(stock(tmp_path), "--answers", given, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    wrong = answers(tmp_path, **{WOOD: "no metl"})
    found = said(stock(tmp_path, "next.xlsx"), "--answers", wrong, folder=tmp_path)
    assert WOOD in {q["id"] for q in found["questions"]}


def test_the_list_of_questions_is_an_answers_file(tmp_path: Path) -> None:
    listed = run("import", stock(tmp_path), "--ask", folder=tmp_path).stdout
    assert read_answers(listed) == {}
    filled = listed.replace(f"\n{WOOD}\n", f"\n{WOOD} metal\n")
    assert read_answers(filled) == {WOOD: "metal"}


def test_the_next_file_asks_nothing_twice_says_the_day_and_keeps_to_its_table(tmp_path: Path) -> None:
    given = answers(tmp_path, **{WOOD: "metal", "word/ski/construction/half%20metal": "thin core"})
    first = said(
        stock(tmp_path), "--answers", given, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path
    )
    assert [q["id"] for q in first["questions"]] == ["word/boot/kind/wood%2Fti"]
    second = said(stock(tmp_path, "next.xlsx"), folder=tmp_path)
    assert [q["id"] for q in second["questions"]] == ["word/boot/kind/wood%2Fti"]
    notes = [f["message"] for f in second["findings"] if f["code"] == "answered"]
    assert len(notes) == 16
    assert all("as answered on " in words and " 20" in words and "by Mara" in words for words in notes)
    assert WOOD in run("import", "profile", folder=tmp_path).stdout


def test_an_answer_that_is_taken_back_is_asked_again(tmp_path: Path) -> None:
    given = answers(tmp_path, **{WOOD: "metal"})
    said(stock(tmp_path), "--answers", given, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    run("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2030-01-01", folder=tmp_path)
    taken = run("import", "take-back", WOOD, "--by", "Mara Oberlin", folder=tmp_path)
    assert taken.exit_code == 0, taken.stderr
    assert WOOD in {q["id"] for q in said(stock(tmp_path), folder=tmp_path)["questions"]}


def test_what_is_certain_goes_in_and_the_rest_waits_without_its_value(tmp_path: Path) -> None:
    """275 may be a shell size: the boot is there without a sole. A pair without kind is in no plan."""
    book = write_book(
        tmp_path / "x.xlsx",
        {
            "Skis": table_rows(
                Table.SKI, SKI, SKI | {"tag": "K-2", "kind": None}, SKI | {"tag": "K-3", "length_cm": "long"}
            ),
            "Boots": table_rows(Table.BOOT, BOOT | {"bsl_mm": 275}),
        },
    )
    told = run("import", book, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    assert told.exit_code == 1
    fleet = fleet_of(tmp_path)
    assert sorted(fleet.pairs) == ["K-031", "K-2"]
    assert fleet.pairs["K-2"].kind == "not known"
    assert fleet.boots["B-210"].bsl_um is None
    waits = json.loads(run("import", "open", "--json", folder=tmp_path).stdout)["open"]
    assert {(d["sheet"], *d["rows"]) for d in waits} == {("Skis", 3), ("Skis", 4), ("Boots", 2)}

    given = answers(tmp_path, **{d["id"]: {"Boots": "right"}.get(d["sheet"], "leave out") for d in waits})
    run("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2030-01-01", folder=tmp_path)
    later = run("import", book, "--answers", given, "--apply", "--by", "Mara Oberlin", folder=tmp_path)
    assert later.exit_code == 0, later.stdout + later.stderr
    assert fleet_of(tmp_path).boots["B-210"].bsl_um == 275_000
    assert json.loads(run("import", "open", "--json", folder=tmp_path).stdout) == {"open": []}


def test_a_pair_whose_binding_comes_in_doubt_late_is_not_in_the_ledger_as_a_flat_one(tmp_path: Path) -> None:
    book = write_book(
        tmp_path / "x.xlsx",
        {
            "Skis": table_rows(Table.SKI, SKI, MOUNTED | {"tag": "K-2", "binding_model": "T4/H44"}),
            "Patterns": table_rows(Table.PATTERN, *T4H4),
        },
    )
    run("import", book, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    assert sorted(fleet_of(tmp_path).pairs) == ["K-031"]


def test_strict_is_all_or_nothing(tmp_path: Path) -> None:
    told = run("import", stock(tmp_path), "--apply", "--strict", "--by", "Mara", folder=tmp_path)
    assert (told.exit_code, (tmp_path / "l.db").exists()) == (1, False)


def test_prompts_take_a_number_or_a_text_refuse_a_wrong_one_undo_and_go_on_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from datetime import date

    from planner.exchange.intake import look_at

    def look(given: Any) -> Any:
        return look_at(None, [stock(tmp_path)], answers=given, forgiving=True, today=date(2026, 11, 25))

    kept = tmp_path / "stock.answers.txt"
    typed = iter(["spruce", "metal", "u", "2", "s"])
    monkeypatch.setattr("planner.cli.session.asked", lambda _: next(typed))
    _, given = import_ask.ask_all(look, {}, kept=kept, today=date(2026, 11, 25))
    assert list(given) == [WOOD]
    second = look({}).questions[0].guesses[1].answer
    assert import_ask.read_answers_file(kept) == {WOOD: second}

    typed = iter(["thin core", "l"])
    proposal, given = import_ask.ask_all(look, given, kept=kept, today=date(2026, 11, 25))
    assert given == {WOOD: second, "word/ski/construction/half%20metal": "thin core"}
    assert [q.id for q in proposal.questions] == ["word/boot/kind/wood%2Fti"]


@pytest.mark.parametrize(
    ("lacks", "typed", "given"),
    [
        ("priority", "", "1"),
        ("priority", "2", "2"),
        ("priority", "a", "1"),
        ("priority", "b", "leave out"),
        ("quantity", "", None),
        ("quantity", "1", "1"),
        ("quantity", "a", "leave out"),
    ],
)
def test_a_missing_number_is_typed_and_never_taken_for_the_number_of_an_offer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lacks: str, typed: str, given: str | None
) -> None:
    """What keeps all rows stands first, and nothing is left out by Enter; offers have letters."""
    rows = [
        {key: value for key, value in WANTED.items() if key != lacks} | {"wish": f"W-{n}"} for n in (1, 2)
    ]
    book = write_book(
        tmp_path / "own.xlsx", {"Wanted": [list(rows[0]), *(list(row.values()) for row in rows)]}
    )
    answers_typed = iter([typed, "s"])
    monkeypatch.setattr("planner.cli.session.asked", lambda _: next(answers_typed))
    monkeypatch.setattr("sys.stdin", SimpleNamespace(read=lambda _: "", isatty=lambda: True))

    def look(known: dict[str, str]) -> Proposal:
        return look_at(None, [book], today=TODAY, answers=known)

    [question] = look({}).questions
    assert question.id.startswith(f"all/wanted/{lacks}/")
    assert [guess.answer for guess in question.guesses] == ["1"] * (lacks == "priority") + ["leave out"]
    _, kept = import_ask.ask_all(look, {}, kept=tmp_path / "kept.txt", today=TODAY)
    assert kept == ({question.id: given} if given else {})


CHANGES = [
    ("pair K5", "waist_um", None, 64_000, "K5: waist width was not known, now 64 mm"),
    ("pair K5", "length_mm", 1700, 1755, "K5: ski length was 170 cm, now 175.5 cm"),
    ("pair K5", "A.zone_back_um", 330_000, 332_500,
     "K5: mounting zone behind the mark of ski A was 330 mm, now 332.5 mm"),
    ("boot B-1", "model", "Gimmel", "Gimmel 26", "boot B-1: model was Gimmel, now Gimmel 26"),
]  # fmt: skip


@pytest.mark.parametrize(("what", "field", "old", "new", "words"), CHANGES)
def test_a_change_is_said_in_the_words_and_units_of_people(
    what: str, field: str, old: Any, new: Any, words: str
) -> None:
    assert change_text(FieldChange(what=what, field=field, old=old, new=new)) == words


def test_an_answer_about_values_holds_for_the_same_values_and_asks_about_another(tmp_path: Path) -> None:
    """265 was said to be the sole of K-1: the next file asks nothing of it, and about 260, and about K-9."""
    head = ["tag", "model", "kind", "length_cm", "binding_model", "bsl_mm"]

    def file(*soles: tuple[str, int]) -> Path:
        rows = [[tag, "Larch 96", "telemark", 178, "Latch 9", sole] for tag, sole in soles]
        return write_book(
            tmp_path / f"{len(soles)}.xlsx", {"Skis": [head, *rows, ["K-5", *rows[0][1:5], 311]]}
        )

    question = "check/ski/bsl_is_shell_size/bsl_mm/skis"
    given = answers(tmp_path, **{question: "right"})
    both = file(("K-1", 265), ("K-2", 265))
    said(both, "--answers", given, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    assert said(both, folder=tmp_path)["questions"] == []
    asked = said(file(("K-1", 265), ("K-2", 260), ("K-9", 265)), folder=tmp_path)["questions"]
    assert [(q["id"], [p["row"] for p in q["places"]]) for q in asked] == [(question, [3, 4])]


GONE = "check/ski/says_gone/sold/skis"
BLANK = "blank/ski/kind/skis/"


@pytest.mark.parametrize(
    ("question", "answer", "rack", "kind"),
    [
        (GONE, "leave out", "sold", "alpine"),
        (GONE, "right", "sold", "alpine"),
        (BLANK, "leave out", "R1", None),
        (BLANK, "touring", "R1", None),
    ],
)
def test_an_answer_about_a_row_holds_for_the_same_thing_in_the_next_file_and_for_no_other(
    tmp_path: Path, question: str, answer: str, rack: str, kind: str | None
) -> None:
    """K-1 is in doubt and answered; next month's list says the same of it, and of K-9."""
    head = ["tag", "model", "kind", "length_cm", "rack"]

    def file(*tags: str) -> Path:
        rows = [[tag, "Larch 96", kind, 178, rack] for tag in tags]
        fine = ["K-5", "Larch 96", "alpine", 171, "R1"]
        return write_book(tmp_path / f"{len(tags)}.xlsx", {"Skis": [head, *rows, fine]})

    first = file("K-1")
    [asked] = said(first, folder=tmp_path)["questions"]
    assert asked["id"].startswith(question)
    given = answers(tmp_path, **{asked["id"]: answer})
    said(first, "--answers", given, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    again = said(first, folder=tmp_path)
    assert again["questions"] == []
    assert again["changes"] == {"new": 0, "changed": 0, "unchanged": 1 if answer == "leave out" else 2}
    [asked] = said(file("K-1", "K-9"), folder=tmp_path)["questions"]
    assert asked["id"].startswith(question)
    assert [place["row"] for place in asked["places"]] == [3]


@pytest.mark.parametrize(("answer", "models"), [("the last", ["Fir"]), ("leave out", [])])
def test_which_of_two_rows_counts_is_asked_anew_where_one_of_them_says_other_things(
    tmp_path: Path, answer: str, models: list[str]
) -> None:
    head = ["tag", "model", "kind", "length_cm"]

    def file(name: str, *models: str) -> Path:
        rows = [["K-1", model, "alpine", 170] for model in models]
        return write_book(tmp_path / name, {"Skis": [head, *rows, ["K-5", "Larch 96", "alpine", 171]]})

    first = file("1.xlsx", "Larch", "Fir")
    [asked] = said(first, folder=tmp_path)["questions"]
    given = answers(tmp_path, **{asked["id"]: answer})
    said(first, "--answers", given, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    assert [pair.model for tag, pair in fleet_of(tmp_path).pairs.items() if tag == "K-1"] == models
    assert said(first, folder=tmp_path)["questions"] == []
    for name, changed in (("2.xlsx", ("Fir", "Larch")), ("3.xlsx", ("Larch", "Elm"))):
        again = said(file(name, *changed), folder=tmp_path)["questions"]
        assert [question["about"] for question in again] == [asked["about"]]


def test_an_answer_about_a_header_with_a_plus_in_it_counts(tmp_path: Path) -> None:
    head = ["tag", "Ski + shape", "kind", "length_cm"]
    book = write_book(tmp_path / "own.xlsx", {"Skis": [head, ["K-1", "Larch 96", "telemark", 178]]})
    question = "column/ski/ski%20+%20shape"
    found = said(book, "--answers", answers(tmp_path, **{question: "model"}), folder=tmp_path)
    assert found["rows"][0]["values"]["model"] == "Larch 96"
    assert [
        f["message"] for f in found["findings"] if f.get("question") == question or "shape" in f["message"]
    ]


@pytest.mark.parametrize(("key", "text"), [("model", "x"), ("model", "#DIV/0!"), ("rack", "#REF!")])
def test_a_pair_comes_in_without_a_model_or_a_rack_that_nobody_can_read(
    tmp_path: Path, key: str, text: str
) -> None:
    """Both may be blank, so that a doubt about one costs that value, and *not known* settles it."""
    row = {"tag": "K-1", "model": "Larch 96", "kind": "telemark", "length_cm": 178, "rack": "R1"} | {
        key: text
    }
    book = write_book(tmp_path / "own.xlsx", {"Skis": [list(row), list(row.values())]})
    first = said(book, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    (question,) = [q["id"] for q in first["questions"]]
    given = answers(tmp_path, **{question: "not known"})
    assert said(book, "--answers", given, folder=tmp_path)["questions"] == []
    assert '"K-1"' in run("ski", "K-1", "--json", folder=tmp_path).stdout


def test_open_is_no_name_of_a_binding_and_a_state_of_a_hole() -> None:
    """*offen* beside a measure or a name is *not known*; of a hole it is its state."""
    from imports.words import says, value_words

    assert says("offen", "unknown")
    assert value_words()["state"]["offen"] == "open"


def test_shoe_sizes_in_a_column_are_one_question_and_one_may_be_said_by_itself(
    tmp_path: Path,
) -> None:
    head = ["tag", "model", "mondopoint", "bsl_mm"]
    rows = [[f"B-{at}", "Stone", size, 306 + at] for at, size in enumerate((41, 42, 43), 1)]
    book = write_book(tmp_path / "own.xlsx", {"Boots": [head, *rows]})
    (question,) = [q["id"] for q in said(book, folder=tmp_path)["questions"]]
    assert question == "check/boot/shoe_size/mondopoint/boots"
    given = answers(tmp_path, **{question: "not known", "word/boot/mondopoint/42": "26.5"})
    found = said(book, "--answers", given, folder=tmp_path)
    assert found["questions"] == []
    assert [row["values"]["mondopoint"] for row in found["rows"]] == [None, 26.5, None]


HALVES = "check/boot/half_sizes/mondopoint/boots"


def boots_of(folder: Path, *sizes: str | float, first: int = 1) -> Path:
    head = ["tag", "model", "mondopoint", "sole_type"]
    rows = [[f"B-{at}", "Stone", size, "ISO 5355 A"] for at, size in enumerate(sizes, first)]
    return write_book(folder / f"own_{first}.xlsx", {"Boots": [head, *rows]})


@pytest.mark.parametrize(
    ("answer", "sizes"),
    [
        ("the last", [26.5, 27.5, 28, 23.5, 30]),
        ("the first", [26, 27, 28.5, 23, 30]),
        ("not known", [None, None, None, None, 30]),
    ],
)
def test_sizes_that_name_two_halves_are_one_question_which_counts(
    tmp_path: Path, answer: str, sizes: list[float | None]
) -> None:
    """The two sizes of a shell differ by half a number; those that do not are no such pair."""
    book = boots_of(tmp_path, "26.0/26.5", "27 / 27,5", "28.5/28", "23-23.5", 30)
    (question,) = said(book, folder=tmp_path)["questions"]
    assert (question["id"], question["settles"]) == (HALVES, 4)
    assert [p["answer"] for p in question["proposals"]] == ["the last", "the first", "not known", "leave out"]
    found = said(book, "--answers", answers(tmp_path, **{HALVES: answer}), folder=tmp_path)
    assert found["questions"] == []
    assert [row["values"]["mondopoint"] for row in found["rows"]] == sizes
    asked = said(boots_of(tmp_path, "26/27", "26/26", "305/305.5"), folder=tmp_path)["questions"]
    assert HALVES not in {q["id"] for q in asked}


@pytest.mark.parametrize(
    ("question", "answer", "sizes", "more", "read"),
    [
        (HALVES, "the last", ["26.0/26.5"], ["24/24.5"], [24.5]),
        ("check/boot/shoe_size/mondopoint/boots", "not known", [41], [44], [None]),
    ],
)
def test_what_was_answered_about_a_column_of_sizes_holds_for_other_boots_of_the_next_file(
    tmp_path: Path, question: str, answer: str, sizes: list[Any], more: list[Any], read: list[Any]
) -> None:
    given = answers(tmp_path, **{question: answer})
    first = boots_of(tmp_path, *sizes)
    said(first, "--answers", given, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path)
    found = said(boots_of(tmp_path, *more, first=50), folder=tmp_path)
    assert found["questions"] == []
    assert [row["values"]["mondopoint"] for row in found["rows"]] == read
    assert "as answered on" in " ".join(f["message"] for f in found["findings"])


def test_a_dry_run_says_that_who_is_named_may_not_sign_what_the_file_carries(tmp_path: Path) -> None:
    first = boots_of(tmp_path, 26.5)
    assert run("import", first, "--apply", "--by", "Mara", "--zone", "UTC", folder=tmp_path).exit_code == 0
    changed = write_book(
        tmp_path / "other.xlsx", {"Boots": [["tag", "model", "mondopoint"], ["B-1", "Stein", 26.5]]}
    )
    assert run("import", changed, folder=tmp_path).exit_code == 0
    done = run("import", changed, "--by", "Nobody Known", folder=tmp_path)
    assert "nobody is listed who could" in str(done.exception)


@pytest.mark.parametrize("answer", ["26.5", "the last", "right"])
def test_no_value_is_an_answer_for_a_whole_column_of_sizes(tmp_path: Path, answer: str) -> None:
    """One size for boots of all sizes would be wrong for nearly all of them."""
    question = "check/boot/shoe_size/mondopoint/boots"
    given = answers(tmp_path, **{question: answer})
    found = said(boots_of(tmp_path, 41, 42), "--answers", given, folder=tmp_path)
    assert [q["id"] for q in found["questions"]] == [question]
    assert "no_answer" in {f["code"] for f in found["findings"]}


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("18. XII. 2022", "2022-12-18"),
        ("9 iv 2023", "2023-04-09"),
        ("1. I. 2024", "2024-01-01"),
        ("18. XIII. 2022", None),
    ],
)
def test_a_roman_numeral_between_day_and_year_is_a_month(text: str, day: str | None) -> None:
    from datetime import date

    from imports.cells import Cell
    from imports.days import UNDECIDED, day as read_day

    read = read_day(Cell(text), what="the day", order=UNDECIDED, today=date(2026, 11, 25))
    assert read.value == day
    assert (
        read_day(Cell("18. XIII. 2022"), what="it", order=UNDECIDED, today=date(2026, 11, 25)).value is None
    )


@pytest.mark.parametrize("column", ["tag", "model", "rack"])
def test_a_text_that_reads_like_the_place_of_a_name_costs_its_own_row_alone(
    tmp_path: Path, column: str
) -> None:
    """The ledger refuses it, whatever else stands in the file: so the cell is asked about beforehand."""
    odd, kept = {column: "name 1 of entry 2"}, {column: "name 1 of entry two"}
    skis = (SKI | {"tag": "K-101"} | odd, SKI | {"tag": "K-102"} | kept, SKI | {"tag": "K-103"})
    path = write_book(tmp_path / "stock.xlsx", {"Skis": table_rows(Table.SKI, *skis)})
    result = run("import", path, "--apply", "--by", "Mara", "--json", folder=tmp_path)
    assert json.loads(result.stdout)["applied"]
    asked = [finding for finding in json.loads(result.stdout)["findings"] if "_is_place" in finding["code"]]
    assert [(each["row"], each["raw"]) for each in asked] == [(2, odd[column])]
    pairs = fleet_of(tmp_path).pairs
    assert "K-103" in pairs
    assert kept[column] in {getattr(pair, column) for pair in pairs.values()}
    assert odd[column] not in {getattr(pair, column) for pair in pairs.values()}


@pytest.mark.parametrize("about", About)
def test_what_was_answered_is_told_in_words_for_every_kind_of_question(about: About) -> None:
    """An id is for programs: a slash, a coded blank and a short name of a table are none of its words."""
    parts = ("ski", "construction", "wood ti", "Ski 1", "a1b2c3d4")
    for given in (parts, parts[:1], ()):
        identity = question_id(about, *given) if given else about.value
        said = id_text(identity)
        assert said == identity if not given else "/" not in said and "%" not in said and "a1b2" not in said
    named = ("ski", "construction", "wood ti")
    assert any(part in id_text(question_id(about, *parts)) for part in named)
