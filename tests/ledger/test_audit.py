"""The audit's questions: what cannot have happened, what it says, and how a remark answers it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.audit.heads import parse_head
from fleet.base.errors import BadInput
from fleet.checks.findings import CANNOT_SHOW, RULE_CODES, AuditSeverity
from fleet.ledger.ledger import Ledger
from tests.counter.shop import IDA, JORY, NELL, OLD, WIM, Shop, binding_body

LATER = datetime(2026, 12, 28, 8, 0, tzinfo=UTC)


def test_a_busy_day_is_clean_and_the_state_equals_what_its_entries_say(path: Path) -> None:
    heard: list[str] = []
    report = audit_file(path, now=LATER, progress=heard.append)
    assert list(report.lines())[:2] == [
        f"{path}: sound; the rules were kept; no question",
        f"  {report.head.seq} entries, head {report.head}" if report.head else "",
    ]
    assert report.outcome == "clean"
    assert report.findings == ()
    assert heard[-2:] == ["comparing the state with the entries", "checking pages and indexes"]
    assert any("100 %" in words for words in heard)


def test_an_audit_changes_no_byte_and_leaves_nothing_behind(path: Path) -> None:
    before = path.read_bytes()
    audit_file(path, now=LATER)
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_the_report_is_one_json_object_with_the_promised_keys(path: Path) -> None:
    answer = json.loads(json.dumps(audit_file(path, now=LATER).to_json()))
    promised = ["file", "entries", "head", "outcome", "first_bad_entry", "anchor", "findings", "rights"]
    assert list(answer) == promised


# Each of these is entered past the counter's own rules, straight into the ledger, as a hole in those
# rules (or an older program) might have done.


def _out(shop: Shop, tag: str, **more: object) -> None:
    shop.enter("pair out", {"tag": tag, "boot": None, "due": None, "fit": "fit not checked"} | more, by=NELL)


def _back(shop: Shop, tag: str) -> None:
    shop.enter("pair back", {"tag": tag, "said": False}, by=NELL)


def _look(shop: Shop, tag: str, by: str) -> None:
    shop.enter(
        "pair looked at",
        {
            "tag": tag,
            "kind": "recheck",
            "found": {},
            "moved": [],
            "outcome": "pass",
            "cause": "",
            "pattern": "Lark 4",
            "mount_entry": 0,
            "list": None,
        },
        by=by,
    )


def _stale_pass(shop: Shop) -> None:
    _back(shop, "P-1")
    _out(shop, "P-1")


def _two_bindings(shop: Shop) -> None:
    from fleet.facts.holes import Side

    shop.enter("binding recorded", binding_body("EXTRA", on_pair="P-2", on_ski=Side.A))


def _mount(shop: Shop, **changes: object) -> None:
    body = {
        "tag": "P-2",
        "pattern": "Lark 4",
        "bsl_um": 305_000,
        "offset_um": 0,
        "mounted_on": "2026-10-01",
        "removed_on": "2026-09-01",
        "drilled": True,
        "slides": [],
    }
    shop.enter("mount recorded", body | changes)


def _hole(shop: Shop, name: str, x_um: int) -> None:
    hole = {
        "hole_id": name,
        "side": "A",
        "x_um": x_um,
        "y_um": 18_000,
        "diameter_um": None,
        "depth_um": None,
        "state": "open",
        "knowledge": "template",
    }
    shop.enter("holes recorded", {"tag": "P-1", "holes": [hole]})


def _future(shop: Shop) -> None:
    shop.now += timedelta(days=400)
    shop.boot("B-2028", 305, "alpine A")


def _repaired_and_passed_by_one(shop: Shop) -> None:
    shop.enter("repair begun", {"tag": "P-3"}, by=JORY)
    shop.enter("repair done", {"tag": "P-3", "glued_with": []}, by=JORY)
    _look(shop, "P-3", JORY)


IMPOSSIBLE: dict[str, tuple[Callable[[Shop], None], str, str]] = {
    "out twice": (lambda s: _out(s, "P-1"), "out twice", "takes out P-1, which was out already"),
    "out of the hold": (lambda s: _out(s, "P-3"), "out without a pass", "takes out P-3 without a pass"),
    "out unpassed since its return": (_stale_pass, "out without a pass", "takes out P-1 without a pass"),
    "back, never out": (lambda s: _back(s, "P-2"), "back without out", "takes back P-2, which was not out"),
    "passed by a stranger": (
        lambda s: _look(s, "T-1", "A. Stranger"),
        "not on the staff list",
        "signed by A. Stranger, who is not on the staff list",
    ),
    "passed by counter staff": (lambda s: _look(s, "T-1", NELL), "wrong role", f"signed by {NELL}, counter"),
    "passed by one whose listing ended": (
        lambda s: _look(s, "T-1", OLD),
        "out of date",
        "whose listing ended on 2026-12-26",
    ),
    "passed by the repairer": (
        _repaired_and_passed_by_one,
        "passed by the repairer",
        f"passes P-3 by {JORY}, who worked on it",
    ),
    "quarantine lifted by a technician": (
        lambda s: s.enter("quarantine cleared", {"tag": "P-4"}, by=JORY),
        "wrong role",
        f"signed by {JORY}, technician",
    ),
    "two bindings on one ski": (_two_bindings, "two bindings on a ski", "ski A of P-2 carries 2 bindings"),
    "removed before mounted": (_mount, "removed before mounted", "removed on 2026-09-01, before"),
    "two mounts at once": (
        lambda s: _mount(s, removed_on=None),
        "two mounts at once",
        "P-2 has 2 mounts that were never removed",
    ),
    "one hole twice": (
        lambda s: _hole(s, "P-1/A9", 142_500),
        "one hole twice",
        "ski A of P-1 has 2 holes in one and the same place",
    ),
    "a hole beside the ski": (
        lambda s: _hole(s, "P-1/A9", 2_500_000),
        "hole beside the ski",
        "hole P-1/A9 of P-1 lies further from the mark than the ski is long",
    ),
    "written in the future": (_future, "written in the future", "which has not come yet"),
}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_an_impossible_history_is_a_question_and_names_its_entry(shop: Shop, name: str) -> None:
    enter, code, words = IMPOSSIBLE[name]
    before = shop.ledger.head.seq
    enter(shop)
    report = audit_file(shop.ledger.path, now=LATER)
    (finding,) = [f for f in report.findings if f.severity is AuditSeverity.QUESTION]
    assert finding.code == code
    assert words in finding.sentence
    assert finding.entry is not None
    assert finding.entry > before
    assert (report.outcome, report.sound) == ("rules" if code in RULE_CODES else "questions", True)
    assert report.exit_code == {"rules": 4, "questions": 1}[report.outcome]


def test_returns_that_nobody_scanned_out_are_one_line_a_day_and_one_remark_answers_them(shop: Shop) -> None:
    for tag in ("P-2", "T-1"):
        _back(shop, tag)
    first = shop.ledger.head.seq - 1
    shop.now += timedelta(days=1)
    _back(shop, "P-2")
    report = audit_file(shop.ledger.path, now=LATER)
    lines = list(report.lines())
    assert lines[0].endswith("; 2 questions to answer")
    asked = lines[lines.index("Questions to answer:") + 1 :]
    assert asked[0].startswith("  Sun 27 Dec 2026, back without out, 2 times: entry ")
    assert f"mountbook remark {first} {first + 1} --why" in asked[1]
    assert "takes back P-2, which was not out" in asked[2]
    assert len(report.to_json()["findings"]) == 3
    assert lines[-2:] == [f"  {words}" for words in CANNOT_SHOW]


def test_rows_outside_the_numbering_of_the_chain_are_seen(path: Path) -> None:
    with closing(sqlite3.connect(path)) as file:
        file.execute("DROP TRIGGER entries_in_order")
        file.execute(
            "INSERT INTO entries SELECT -5, recorded_at_utc, stated_at_utc, zone, by, what, body, note_hash,"
            " prev_hash, hash FROM entries WHERE seq = 2"
        )
        file.execute("PRAGMA foreign_keys = OFF")
        file.execute("DROP TRIGGER notes_in_order")
        file.execute("INSERT INTO notes VALUES (999999, '', 'somebody wrote this', NULL)")
        file.commit()
    said = [f.sentence for f in audit_file(path, now=LATER).findings if f.code == "beside the chain"]
    assert said == [
        "there is a row numbered -5, and the first entry is 1",
        "there is a note of entry 999999, and no such entry",
    ]


def test_a_remark_about_the_entry_turns_the_question_into_a_note(shop: Shop) -> None:
    _out(shop, "P-1")
    seq = shop.ledger.head.seq
    with shop.desk(IDA) as desk:
        from fleet.ledger.corrections import remark

        answer = remark(desk.tx, seq, why="scanned twice in the rush")
    (finding,) = audit_file(shop.ledger.path, now=LATER).findings
    assert finding.severity is AuditSeverity.NOTE
    assert finding.sentence.endswith(f"(see entry {answer})")


def test_a_clock_set_back_is_noted_and_the_entry_numbers_keep_the_order(shop: Shop) -> None:
    shop.now -= timedelta(hours=2)
    shop.boot("B-1", 305, "alpine A")
    shop.boot("B-2", 305, "alpine A")
    (finding,) = audit_file(shop.ledger.path, now=LATER).findings
    assert (finding.severity, finding.code) == (AuditSeverity.NOTE, "clock set back")


def test_a_head_printed_today_is_contained_tomorrow(shop: Shop) -> None:
    printed = parse_head(str(shop.ledger.head))
    shop.boot("B-1", 305, "alpine A")
    report = audit_file(shop.ledger.path, now=LATER, heads=[printed])
    assert report.anchors == (f"this file still contains the printed head {printed}",)
    assert report.sound


def test_a_head_of_another_file_is_not_contained(shop: Shop) -> None:
    report = audit_file(shop.ledger.path, now=LATER, heads=[parse_head("5:00000000")])
    assert not report.sound
    assert "sound in itself, but NOT the ledger of a printed or kept head" in next(iter(report.lines()))


@pytest.mark.parametrize("text", ["", "12", "12:", "12:a3f9", "a:a3f920c1", "12:a3f920g1", "-1:a3f920c1"])
def test_what_is_no_printed_head_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(BadInput) as refused:
        parse_head(text)
    assert "1284:a3f920c1" in refused.value.cure


def test_counters_go_on_while_an_audit_runs(shop: Shop) -> None:
    """The long part holds nothing: an entry made in the middle of it is taken along at the end."""
    entered: list[int] = []

    def meanwhile(words: str) -> None:
        if words.startswith("entry") and not entered:
            with Ledger.open(shop.ledger.path) as second:
                second.connection.execute("PRAGMA busy_timeout = 0")
                with second.transaction(by=WIM, now=shop.tick()) as tx:
                    entered.append(tx.enter("entry remarked", {"entry": 1}))

    report = audit_file(shop.ledger.path, now=LATER, progress=meanwhile)
    assert report.clean
    assert report.head is not None
    assert [report.head.seq] == entered


def test_an_audit_of_a_file_in_use_waits_for_nobody_and_reads_one_moment(path: Path) -> None:
    with closing(Ledger.open(path).connection) as holder:
        holder.execute("BEGIN IMMEDIATE")
        assert audit_file(path, now=LATER).clean
