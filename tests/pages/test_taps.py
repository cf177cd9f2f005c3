"""An action of a page carries its own id, and is one entry however often it is sent."""

from __future__ import annotations

import pytest

from fleet.audit.full import audit_file
from fleet.checks.findings import AuditFinding
from planner.pages.served import ServedLedger
from tests.pages.browser import PagesBrowser, words_of

TAP = "0123456789abcdef"


def test_a_tap_sent_twice_is_one_entry_and_says_so(browser: PagesBrowser) -> None:
    head = browser.shop.ledger.head.seq
    browser.post("/counter/scan", tap=TAP, line="hold P-1 wobbles")
    assert "entered before" in words_of(browser.post("/counter/scan", tap=TAP, line="hold P-1 wobbles"))
    assert [(e.what, e.body["tag"]) for e in browser.shop.ledger.entries(after=head)] == [
        ("pair held", "P-1")
    ]


def test_the_id_stands_in_the_entry_so_another_process_knows_it_too(browser: PagesBrowser) -> None:
    head = browser.shop.ledger.head.seq
    browser.post("/counter/scan", tap=TAP, line="hold P-1 wobbles")
    [entry] = browser.shop.ledger.entries(after=head)
    assert entry.body["tap"] == {"id": TAP, "desk": "Desk 1"}
    browser.served.close()
    served = ServedLedger(browser.served.path, now=lambda: browser.shop.now)
    later = PagesBrowser(browser.shop, served, browser.desks, browser.pins)
    later.get("/counter")
    later.post("/counter/scan", tap=TAP, line="hold P-1 wobbles")
    assert browser.shop.ledger.head.seq == head + 1


def test_the_same_id_from_another_desk_is_still_one_entry(browser: PagesBrowser) -> None:
    head = browser.shop.ledger.head.seq
    browser.post("/counter/scan", tap=TAP, line="hold P-1 wobbles")
    other = browser.beside()
    other.get("/counter")
    other.post("/counter/scan", tap=TAP, line="hold P-2 wobbles")
    assert browser.shop.ledger.head.seq == head + 1


@pytest.mark.parametrize("tap", ["short", "x" * 41, "spaces in it are no id", "../../../../etc/passwd"])
def test_an_action_without_an_id_of_its_own_is_refused(browser: PagesBrowser, tap: str) -> None:
    head = browser.shop.ledger.head.seq
    assert "no id of its own" in words_of(browser.post("/counter/scan", tap=tap, line="hold P-1 wobbles"))
    assert browser.shop.ledger.head.seq == head


def test_a_refused_action_leaves_its_id_free(browser: PagesBrowser) -> None:
    head = browser.shop.ledger.head.seq
    browser.post("/counter/scan", tap=TAP, line="hold P-99 wobbles")
    assert browser.shop.ledger.head.seq == head
    browser.post("/counter/scan", tap=TAP, line="hold P-1 wobbles")
    assert browser.shop.ledger.head.seq == head + 1


def test_an_audit_finds_a_tap_that_the_entries_do_not_say(browser: PagesBrowser) -> None:
    browser.post("/counter/scan", tap=TAP, line="hold P-1 wobbles")
    before = {found.sentence for found in _audit(browser)}
    connection = browser.shop.ledger.connection
    with connection.unlatched():
        connection.execute("DELETE FROM tap")
    [found] = [found for found in _audit(browser) if found.sentence not in before]
    assert found.sentence.startswith(f"tap {TAP}")
    assert "is missing" in found.sentence


def _audit(browser: PagesBrowser) -> tuple[AuditFinding, ...]:
    return audit_file(browser.served.path, now=browser.shop.now).findings
