"""`mountbook demo`: the whole story, and a folder that is never somebody else's."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections import defaultdict
from collections.abc import Callable
from itertools import combinations
from math import ceil, dist
from pathlib import Path

import pymupdf
import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import BadInput
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_policy
from planner.cli.demo import program_called
from planner.demo import moments
from planner.demo.folder import MARKER, check_place, fresh_folder
from planner.demo.shared import SAMPLE, Chapter
from planner.demo.story import run_story
from planner.demo.summary import COLUMNS, summary
from planner.paper.plan_folder import put_folder
from sample_fleet import generate

HEAVY = ("ortools", "highspy", "openpyxl", "xlsxwriter", "reportlab", "sqlite_utils", "numpy")


def quiet(_: str) -> None:
    pass


@pytest.fixture(scope="module")
def small_sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fifth of the sample fleet: every fifth pair and boot, wants and stock in proportion."""
    folder = tmp_path_factory.mktemp("small_sample")
    made = generate.tables()
    kept = {row["tag"] for row in made["Skis"] if int(row["tag"][2:]) % 5 == 1}
    made["Skis"] = [row for row in made["Skis"] if row["tag"] in kept]
    made["Holes"] = [row for row in made["Holes"] if row["pair_tag"] in kept]
    made["Boots"] = made["Boots"][::5]
    for name in ("Wanted", "Bindings"):
        for row in made[name]:
            row["quantity"] = str(ceil(int(row["quantity"]) / 5))
    generate.write_workbook(folder / "fleet.xlsx", made)
    for name in ("policy.csv", "models.csv", "counter_day.csv"):
        shutil.copy(SAMPLE / name, folder / name)
    return folder


Told = tuple[Path, tuple[Chapter, ...]]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory, small_sample: Path) -> Told:
    folder = tmp_path_factory.mktemp("told")
    return folder, run_story(folder, quiet, sample=small_sample)


def rows_of(folder: Path, query: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(folder / "mountbook.db") as connection:
        return connection.execute(query).fetchall()


def test_every_file_of_the_summary_lies_where_it_says(told: Told) -> None:
    folder, chapters = told
    names = [name for chapter in chapters for name, _ in chapter.files]
    assert len(names) == len(set(names)) == 10
    assert [name for name in names if not (folder / name).stat().st_size] == []
    made = {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}
    assert made == set(names), "nothing lies there that the summary does not name"


def test_the_summary_is_short_and_fits_a_terminal(told: Told) -> None:
    _, chapters = told
    lines = summary(Path("demo_out"), chapters).splitlines()
    assert len(lines) <= 50
    assert max(len(line) for line in lines) <= COLUMNS
    assert "proved best" in "\n".join(lines)


@pytest.mark.parametrize(
    ("called", "path", "said"),
    [
        (".venv/bin/mountbook", "", ".venv/bin/mountbook"),
        (".venv/bin/mountbook", "bin", "mountbook"),
        ("/somewhere/planner/cli/main.py", "", "mountbook"),
    ],
)
def test_the_last_lines_call_the_program_as_the_shell_finds_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, called: str, path: str, said: str
) -> None:
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "mountbook").touch(mode=0o755)
    monkeypatch.setenv("PATH", str(tmp_path / path) if path else str(tmp_path / "none"))
    monkeypatch.setattr("sys.argv", [called, "demo"])
    chapter = Chapter(title="x", facts=("y",), files=(("z", "w"),))
    lines = summary(tmp_path, [chapter], program=program_called()).splitlines()
    assert f"  {said} recheck list" in lines
    assert any(line.startswith(f"  {said} serve ") for line in lines)


def test_the_ledger_of_the_story_is_sound_to_the_last_entry(told: Told) -> None:
    folder, _ = told
    report = audit_file(folder / "mountbook.db", now=moments.EVENING)
    assert [finding for finding in report.findings if finding.severity != "note"] == []


def test_no_two_holes_that_the_story_drilled_or_measured_are_nearer_than_the_rule(told: Told) -> None:
    """By plain arithmetic on the ledger's tables: 10 mm, common practice, no source."""
    folder, _ = told
    skis: dict[tuple[object, object], list[tuple[tuple[float, float], int]]] = defaultdict(list)
    for tag, side, x, y, entry in rows_of(folder, "SELECT tag, side, x_um, y_um, entry FROM hole"):
        skis[tag, side].append(((x / 1000, y / 1000), entry))  # type: ignore[operator,arg-type]
    bench = {row[0] for row in rows_of(folder, "SELECT seq FROM entries WHERE what = 'order done'")}
    checked = 0
    for holes in skis.values():
        for (a, entry_a), (b, entry_b) in combinations(holes, 2):
            if entry_a != entry_b and {entry_a, entry_b} & bench:
                assert dist(a, b) >= 10.0
                checked += 1
    # Not vacuous: this fifth of the fleet drills at least two skis' pieces beside older holes (4 x 4 each).
    assert checked >= 2 * 16


def test_nothing_went_out_before_somebody_else_had_passed_it(told: Told) -> None:
    folder, _ = told
    entries = rows_of(folder, "SELECT seq, by, what, body FROM entries ORDER BY seq")
    worked: dict[str, str] = {}
    passed: dict[str, str] = {}
    out = 0
    for _, by, what, text in entries:
        body = json.loads(str(text))
        if what == "order done":
            worked[body["tag"]] = str(by)
            passed.pop(body["tag"], None)
        elif what == "pair looked at" and body["outcome"] == "pass":
            passed[body["tag"]] = str(by)
        elif what == "pair out":
            assert passed[body["tag"]] != worked.get(body["tag"])
            passed.pop(body["tag"])
            out += 1
    assert out >= 10


def test_what_the_head_technician_decided_has_an_origin_and_no_glue_counts_as_cured_by_default(
    told: Told,
) -> None:
    folder, _ = told
    with (SAMPLE / "policy.csv").open(encoding="utf-8", newline="") as file:
        decided = {row["name"]: row["origin"] for row in csv.DictReader(file)}
    assert {"cure_wood_glue_hours", "cure_epoxy_hours"} <= set(decided)
    assert all("invented" in origin for name, origin in decided.items() if name.startswith("cure_"))
    with Ledger.open(folder / "mountbook.db") as ledger:
        settings = read_policy(ledger.connection).settings
    assert {name: s.origin for name, s in settings.items() if s.since != "default"} == decided


def test_the_story_shows_what_the_rules_refuse_and_what_people_say(told: Told) -> None:
    """Each of these is visible in the printed story, and happened in its ledger."""
    folder, chapters = told
    facts = next(c.facts for c in chapters if c.title == "The rules")
    for words in (
        "Jory Malkin-Tor may not set spacing_mm to 8, only a manager: it stays 10",
        "was refused at the door: no release test; then it was tested",
        "asks: hold it?",
        "is worn, and on hold: sole rounded at the heel end",
    ):
        assert sum(words in fact for fact in facts) == 1, words
    counts = dict(rows_of(folder, "SELECT what, count(*) FROM entries GROUP BY what"))
    assert counts["boot held"] == 1
    assert counts["note made"] >= 1
    assert rows_of(folder, "SELECT 1 FROM policy WHERE name = 'spacing_mm'") == []
    day = next(c.facts for c in chapters if c.title == "The busy day")
    assert any("set for their boots at the counter first (K-" in fact for fact in day)


def test_told_twice_the_story_is_the_same(told: Told, small_sample: Path, tmp_path: Path) -> None:
    """All but the hashes after the first free text: a note is salted, and a salt is no salt if it repeats."""
    folder, chapters = told
    assert run_story(tmp_path, quiet, sample=small_sample) == chapters
    for name in ("2_plan/plan.json", "2_plan/work_orders.pdf", "2_plan/work_orders_issued.pdf",
                 "3_bench/bench_log.txt", "4_counter/counter_day.txt"):  # fmt: skip
        assert _without_hashes(tmp_path / name) == _without_hashes(folder / name), name


def _without_hashes(file: Path) -> str:
    """Return the file's words, hashes aside, and the hash of the plan, which holds the ledger's."""
    if file.suffix == ".pdf":
        text = "\n".join(page.get_text() for page in pymupdf.open(file))
    else:
        text = file.read_text(encoding="utf-8")
    return re.sub(r"\b[0-9a-f]{8}\b|\b[0-9a-f]{64}\b", "HASH", text)


def test_the_recheck_list_of_the_demos_ledger_opens_without_heavy_imports(told: Told) -> None:
    folder, _ = told
    script = (
        "import sys; sys.argv = ['mountbook', 'recheck', 'list']; from planner.cli.main import app;"
        f"app(standalone_mode=False); print([n for n in {HEAVY!r} if n in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        encoding="utf-8",
        check=True,
        env=os.environ
        | {
            "MOUNTBOOK_LEDGER": str(folder / "mountbook.db"),
            "MOUNTBOOK_NOW": moments.EVENING.isoformat(),
            "PYTHONUTF8": "1",
        },
    )
    *lines, heavy = done.stdout.splitlines()
    assert heavy == "[]"
    assert any("felt loose" in line or "fell hard" in line or "return after" in line for line in lines)


@pytest.mark.long
def test_the_readmes_demo_is_proved_best_and_shows_every_rung_and_every_kind_of_no(tmp_path: Path) -> None:
    """The command itself, on the whole sample fleet."""
    out = tmp_path / "demo_out"
    done = subprocess.run(
        [sys.executable, "-m", "planner.cli.main", "demo", "--out", str(out), "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    facts = {c["title"]: c["facts"] for c in json.loads(done.stdout)["chapters"]}
    plan = json.loads((out / "2_plan" / "plan.json").read_text(encoding="utf-8"))
    assert plan["status"] == "proved best"
    assert {s["way"] for s in plan["sets"]} == {
        "as it is", "adjust", "same holes", "centre moved", "part reused", "all new",
    }  # fmt: skip
    reasons = " ".join(u["reason"] for u in plan["unserved"])
    assert "brake" in reasons
    assert "no boot of Mondopoint" in reasons
    assert len(facts["The bench"]) == 1
    assert "K-072" in {s["pair"] for s in plan["sets"]} | {u["pair"] for u in plan["unplanned_pairs"]}
    assert (out / MARKER).is_file()
    tested = "SELECT DISTINCT tag FROM release_test"
    assert len(rows_of(out, tested)) > 100
    bare = f"{tested} WHERE tag NOT IN (SELECT on_pair FROM binding WHERE on_pair IS NOT NULL)"
    assert rows_of(out, bare) == [], "a case would tell of a passed test of bare skis"


# --- the folder ------------------------------------------------------------------------------------


def _fill(folder: Path) -> None:
    (folder / "mountbook.db").write_text("new")


def test_a_demo_folder_is_replaced_whole(tmp_path: Path) -> None:
    target = tmp_path / "demo_out"
    with fresh_folder(target) as work:
        (work / "old.txt").write_text("old")
    with fresh_folder(target) as work:
        _fill(work)
    assert sorted(p.name for p in target.iterdir()) == [MARKER, "mountbook.db"]


@pytest.mark.parametrize(("mask", "mode"), [(0o077, 0o700), (0o022, 0o755)])
def test_a_folder_is_open_to_those_whom_the_persons_mask_lets_in(
    tmp_path: Path, mask: int, mode: int
) -> None:
    """umask(2): what it names is taken from 777."""
    before = os.umask(mask)
    try:
        with fresh_folder(tmp_path / "demo") as work:
            _fill(work)
        put_folder(tmp_path / "plan", {"plan.json": b"{}"}, others=(), last="plan.json")
    finally:
        os.umask(before)
    assert [(tmp_path / name).stat().st_mode & 0o777 for name in ("demo", "plan")] == [mode, mode]


def test_a_demo_that_somebody_looked_at_is_replaced_too(tmp_path: Path) -> None:
    """The day's first command audits the ledger and leaves its mark beside it."""
    target = tmp_path / "demo_out"
    for _ in range(2):
        with fresh_folder(target) as work:
            _fill(work)
        (target / "mountbook.db.audited").write_text("up to entry 9")


def _own_folder(target: Path) -> None:
    target.mkdir()
    (target / "mountbook.db").write_text("a season's work")


def _own_file_in_a_demo(target: Path) -> None:
    with fresh_folder(target) as work:
        _fill(work)
    (target / "my_plan.txt").write_text("mine")


def _file(target: Path) -> None:
    target.write_text("mine")


def _link(target: Path) -> None:
    target.symlink_to(target.parent, target_is_directory=True)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_own_folder, "holds files that are not a demo's"),
        (_own_file_in_a_demo, "my_plan.txt"),
        (_file, "is not a folder"),
        (_link, "is not a folder"),
    ],
)
def test_what_is_not_a_demos_is_never_touched(
    tmp_path: Path, make: Callable[[Path], None], words: str
) -> None:
    target = tmp_path / "demo_out"
    make(target)
    before = sorted((p, p.read_bytes()) for p in tmp_path.rglob("*") if p.is_file())
    with pytest.raises(BadInput, match=words), fresh_folder(target) as work:
        _fill(work)
    assert sorted((p, p.read_bytes()) for p in tmp_path.rglob("*") if p.is_file()) == before


def test_an_empty_folder_may_be_filled_and_a_failure_leaves_the_old_demo(tmp_path: Path) -> None:
    target = tmp_path / "demo_out"
    target.mkdir()
    with fresh_folder(target) as work:
        _fill(work)
    with pytest.raises(RuntimeError), fresh_folder(target) as work:
        raise RuntimeError("half way")
    assert (target / "mountbook.db").read_text() == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["demo_out"]
    check_place(target)
