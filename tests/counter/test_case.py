"""The bundle about one pair: whole, hashed, and without persons."""

from __future__ import annotations

import hashlib
import io
import json
import re
from datetime import timedelta
from pathlib import Path

import pymupdf
import pytest
from pypdf import PdfReader

from fleet.facts.holes import Side
from fleet.rules.holds import clear, end_repair, parse_fault, quarantine, ski_fault
from fleet.rules.recall_desk import close_recall
from planner.cli.case_bundle import case_bundle, check_case
from planner.paper.case_paper import case_sheet_pdf
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, STAFF, WIM, Shop

SALT = "0123456789abcdef"


def _story(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1", said="Mr Invented says the heel clicked")
    shop.look("P-1", by=IDA, found={"B heel": "more"})
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-1", why="fall, Mrs Invented hurt her knee")


def test_a_case_holds_every_entry_about_the_pair_and_no_person(shop: Shop) -> None:
    _story(shop)
    bundle = case_bundle(shop.ledger, "P-1", salt=SALT)
    said = json.loads(bundle.data)
    whats = [row["what"] for row in said["history"]]
    assert whats[-4:] == ["pair out", "pair back", "pair looked at", "pair quarantined"]
    assert said["place"] == "quarantine"
    everything = bundle.data.decode() + " ".join(_pages(shop, "P-1"))
    for secret in ("Invented says", "hurt her knee", *(name for name, _, _ in STAFF)):
        assert secret not in everything
    assert "person 1 (manager)" in everything
    assert "(head technician)" in everything


def test_one_person_on_the_list_in_another_spelling_is_one_person_in_a_case(shop: Shop) -> None:
    """As older programs listed them: decomposed on the list, composed in the entry."""
    shop.enter("pair held", {"tag": "P-1"}, by="Ren\u00e9 Alm")
    person = {"name": "Rene\u0301 Alm", "role": "technician", "valid_until": "2027-05-31"}
    shop.enter("staff listed", person)
    said = json.loads(case_bundle(shop.ledger, "P-1", salt=SALT).data)
    assert said["history"][-1]["by"].endswith("(technician)")


def test_the_hash_is_of_the_very_bytes_and_the_same_ledger_gives_the_same(shop: Shop) -> None:
    _story(shop)
    bundle = case_bundle(shop.ledger, "P-1", salt=SALT)
    assert bundle.sha256 == hashlib.sha256(bundle.data).hexdigest()
    assert case_bundle(shop.ledger, "P-1", salt=SALT) == bundle


def test_the_printed_case_carries_the_hash_on_every_page(shop: Shop) -> None:
    _story(shop)
    for _ in range(30):
        shop.look("P-2")
    bundle = case_bundle(shop.ledger, "P-2", salt=SALT)
    pages = PdfReader(io.BytesIO(case_sheet_pdf(bundle.sheet, printed_at=shop.now))).pages
    assert len(pages) > 1
    for page in pages:
        assert bundle.sha256 in page.extract_text().replace("\n", "")


def _pages(shop: Shop, tag: str, paper: str = "A4") -> list[str]:
    data = case_sheet_pdf(case_bundle(shop.ledger, tag, salt=SALT).sheet, printed_at=shop.now, paper=paper)
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(data)).pages]


def _long_story(shop: Shop) -> None:
    """Holes, looks by piece, a repair, a recall that reaches the pair and one that does not."""
    holes = [
        {
            "hole_id": f"P-1/{side}{n}", "side": side,
            "x_um": 150_000 - 15_000 * n, "y_um": 18_000 * (-1) ** n,
            "diameter_um": 4100, "depth_um": 9000, "state": "screwed", "knowledge": "measured here",
        }
        for side in "AB"
        for n in range(1, 21)
    ]  # fmt: skip
    _story(shop)
    with shop.desk(WIM) as desk:
        clear(desk, "P-1", why="looked at by the maker")
    shop.enter("holes recorded", {"tag": "P-1", "holes": holes})
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="new screw")
    shop.look("P-1", by=SANNE, found={"A toe": "could not reach"})
    for name, season in (("R-7", "2025"), ("R-8", "2019")):
        shop.enter("recall opened", _recall(name, season), by=IDA)
    with shop.desk(IDA) as desk:
        close_recall(desk, "R-7", how="read and found in order")


def test_why_a_ski_is_stopped_is_told_without_the_free_text(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        ski_fault(desk, "P-1", Side.B, parse_fault("crack"), why="Mrs Invented saw it")
    bundle = case_bundle(shop.ledger, "P-1", salt=SALT)
    everything = bundle.data.decode() + " ".join(_pages(shop, "P-1"))
    assert "crack" in json.loads(bundle.data)["stopped"]
    assert "Mrs Invented" not in everything


def _recall(name: str, season: str) -> dict[str, str]:
    return {
        "recall": name, "pattern": "Lark 4", "piece": "heel", "serial_from": "", "serial_to": "",
        "season": season, "source": "maker's notice 4",
    }  # fmt: skip


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_printed_case_tells_every_look_by_piece_every_signature_and_every_recall(
    shop: Shop, paper: str
) -> None:
    _long_story(shop)
    text = " ".join(_pages(shop, "P-1", paper))
    assert "ski A: toe not moved, heel not moved" in text
    assert "ski B: toe not moved, heel turned" in text
    assert "ski A: toe could not reach, heel not moved" in text
    assert "R-7" in text
    assert "maker's notice 4" in text
    assert "R-8" not in text  # another season: it reaches nothing of this pair
    bundle = json.loads(case_bundle(shop.ledger, "P-1", salt=SALT).data)
    [recall] = bundle["recalls"]
    assert recall["recall"] == "R-7"
    assert {row["binding"] for row in recall["bindings"]} == {"P-1/A", "P-1/B"}
    assert recall["closed_entry"] > recall["opened_entry"]
    for row in bundle["history"]:
        assert f"entry {row['seq']}" in text
        assert f"signed {row['by']}" in text
    roles = {row["role"] for row in bundle["people"]}
    assert {"manager", "head technician", "technician", "counter"} <= roles
    assert sum(len(row["signed"]) for row in bundle["people"]) == len(bundle["history"])


def test_nothing_in_a_printed_case_is_cut_short(shop: Shop) -> None:
    """All twenty holes of an entry, all facts of a body, and no word that stands for what is left out."""
    _long_story(shop)
    text = " ".join(_pages(shop, "P-1"))
    assert " more;" not in text
    assert "…" not in text
    assert "20 holes" not in text
    for side in "AB":
        for n in range(1, 21):
            assert len(re.findall(rf"\b{side}{n}\b", text)) >= 2, "in the table and in its entry"
    assert "a text of that entry is left out here" in text


def test_a_change_is_told_from_what_was_to_what_is(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """*state: screwed, plugged* was read as both at once."""
    _long_story(shop)
    command = Command(shop.ledger.path, monkeypatch, capsys)
    for what in (("P-1", "rack=C-07"), ("P-1/A1", "state=plugged")):
        assert command("correct", *what, "--why", "seen on the ski", "--by", WIM).returncode == 0
    text = " ".join(_pages(shop, "P-1"))
    assert "state: from screwed to plugged" in text
    assert re.search(r"rack: from \S.* to C-07", text)
    assert "state: screwed, plugged" not in text
    off = {"on_pair": ["P-1", None], "on_ski": ["A", None]}
    shop.enter("binding changed", {"binding_id": "P-1/A", "changes": off}, by=WIM)
    assert "on pair: from P-1 to none" in " ".join(_pages(shop, "P-1"))


def test_the_story_of_a_printed_case_runs_in_order_of_time(shop: Shop) -> None:
    """An entry made later about an earlier time stands at the time it is about, and says so."""
    _story(shop)
    early = shop.now - timedelta(minutes=30)
    shop.tick(minutes=30)
    with shop.desk(NELL, at=early) as desk:
        quarantine(desk, "P-1", why="said on the phone")
    bundle = case_bundle(shop.ledger, "P-1", salt=SALT)
    history = sorted(json.loads(bundle.data)["history"], key=lambda row: (row["at"], row["seq"]))
    text = " ".join(_pages(shop, "P-1"))
    story = text[text.index("What happened") :]
    places = [story.index(f"entry {row['seq']} ") for row in history]
    assert places == sorted(places)
    assert "entered later" in story


def test_the_printed_case_has_both_skis_pictures_with_every_hole(shop: Shop) -> None:
    """Read back as words at the signs: the name of each hole, and that the picture is not to scale."""
    _long_story(shop)
    data = case_sheet_pdf(case_bundle(shop.ledger, "P-1", salt=SALT).sheet, printed_at=shop.now)
    [picture] = [page for page in pymupdf.open(stream=data) if "NEVER MEASURE" in page.get_text()]
    words = [word[4] for word in picture.get_text("words")]
    for n in range(1, 21):
        assert words.count(str(n)) >= 2, n
    assert "SKI" in words
    assert words.count("MARK") == 2


def test_every_page_of_a_printed_case_has_the_cautions_the_head_and_its_number(shop: Shop) -> None:
    _long_story(shop)
    pages = _pages(shop, "P-1", "Letter")
    assert len(pages) > 3
    bundle = case_bundle(shop.ledger, "P-1", salt=SALT)
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert f"ledger {bundle.head}" in page
        assert "qualified technician" in page
        assert "A record, not an inspection" in page


def test_no_hash_in_a_case_can_be_tried_against_the_names_of_the_shops_people(shop: Shop) -> None:
    """The entries follow each other, so their bare hashes would let anybody try the names."""
    _story(shop)
    data = case_bundle(shop.ledger, "P-1", salt=SALT).data.decode()
    for entry in shop.ledger.entries():
        assert entry.hash not in data
        assert entry.prev_hash not in data


def test_a_case_is_opened_by_the_ledger_that_made_it_and_by_no_other(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _story(shop)
    command = Command(shop.ledger.path, monkeypatch, capsys)
    assert command("case", "P-1", "--out", str(tmp_path / "case")).returncode == 0
    file = tmp_path / "case" / "case.json"
    good = command("case-check", str(file))
    assert good.returncode == 0
    assert "are still those of the ledger" in good.stdout
    rows = json.loads(file.read_text(encoding="utf-8"))["history"]
    assert check_case(shop.ledger, file.read_bytes()).entries == len(rows)
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("quarantine", "ready", 1), encoding="utf-8")
    bad = command("case-check", str(file))
    assert bad.returncode == 1
    assert "this ledger made no case with these bytes" in bad.stdout
    file.write_text("[]", encoding="utf-8")
    assert command("case-check", str(file)).returncode == 1


def test_a_printed_case_says_as_of_which_entry_it_is_and_never_goes_stale(shop: Shop) -> None:
    data = case_sheet_pdf(case_bundle(shop.ledger, "P-1", salt=SALT).sheet, printed_at=shop.now)
    for page in pymupdf.open(stream=data):
        text = page.get_text()
        assert f"AS THE LEDGER STOOD AT ENTRY {shop.ledger.head.seq}" in text
        assert "STALE" not in text
