"""The bundle about one pair: whole, hashed, and without persons."""

from __future__ import annotations

import hashlib
import json

from fleet.rules.holds import quarantine
from planner.cli.case_bundle import case_bundle, case_pdf
from tests.counter.shop import IDA, NELL, STAFF, Shop


def _story(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1", said="Mr Invented says the heel clicked")
    shop.look("P-1", by=IDA, found={"B heel": "more"})
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-1", why="fall, Mrs Invented hurt her knee")


def test_a_case_holds_every_entry_about_the_pair_and_no_person(shop: Shop) -> None:
    _story(shop)
    bundle = case_bundle(shop.ledger, "P-1")
    said = json.loads(bundle.data)
    whats = [row["what"] for row in said["history"]]
    assert whats[-4:] == ["pair out", "pair back", "pair looked at", "pair quarantined"]
    assert said["place"] == "quarantine"
    everything = bundle.data.decode() + "\n".join(bundle.lines)
    for secret in ("Invented says", "hurt her knee", *(name for name, _, _ in STAFF)):
        assert secret not in everything
    assert "person 1 (manager)" in everything
    assert "(head technician)" in everything


def test_one_person_on_the_list_in_another_spelling_is_one_person_in_a_case(shop: Shop) -> None:
    """As older programs listed them: decomposed on the list, composed in the entry."""
    shop.enter("pair held", {"tag": "P-1"}, by="Ren\u00e9 Alm")
    person = {"name": "Rene\u0301 Alm", "role": "technician", "valid_until": "2027-05-31"}
    shop.enter("staff listed", person)
    said = json.loads(case_bundle(shop.ledger, "P-1").data)
    assert said["history"][-1]["by"].endswith("(technician)")


def test_the_hash_is_of_the_very_bytes_and_the_same_ledger_gives_the_same(shop: Shop) -> None:
    _story(shop)
    bundle = case_bundle(shop.ledger, "P-1")
    assert bundle.sha256 == hashlib.sha256(bundle.data).hexdigest()
    assert case_bundle(shop.ledger, "P-1") == bundle


def test_the_printed_case_carries_the_hash_on_every_page(shop: Shop) -> None:
    import io

    from pypdf import PdfReader

    _story(shop)
    for _ in range(30):
        shop.look("P-2")
    bundle = case_bundle(shop.ledger, "P-2")
    pages = PdfReader(io.BytesIO(case_pdf(bundle, printed_at=shop.now))).pages
    assert len(pages) > 1
    for page in pages:
        assert bundle.sha256 in page.extract_text().replace("\n", "")
