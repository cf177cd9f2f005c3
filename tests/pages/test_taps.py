"""An action of a page carries its own id, and is one entry however often it is sent."""

from __future__ import annotations

import pytest

from fleet.audit.full import audit_file
from fleet.checks.findings import AuditFinding, AuditSeverity
from planner.pages.web import ServedLedger
from planner.paper.ski_view.ski_words import facts_of
from tests.counter.shop import NELL
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
    assert _audit(browser) == ()
    connection = browser.shop.ledger.connection
    with connection.unlatched():
        connection.execute("DELETE FROM tap")
    [found] = _audit(browser)
    assert found.sentence.startswith("tap ")
    assert "is missing" in found.sentence


def _audit(browser: PagesBrowser) -> tuple[AuditFinding, ...]:
    """What an audit finds wrong with the file."""
    found = audit_file(browser.served.path, now=browser.shop.now).findings
    return tuple(each for each in found if each.severity is AuditSeverity.BAD)


def test_the_history_of_a_pair_says_at_which_desk_and_how_it_was_signed(browser: PagesBrowser) -> None:
    browser.post("/counter/scan", line="hold P-1 wobbles")
    browser.sign_in(NELL)
    browser.post("/counter/scan", line="hold P-2 wobbles")
    words = [
        "; ".join(facts_of(entry.body))
        for entry in browser.shop.ledger.entries(after=browser.shop.ledger.head.seq - 2)
    ]
    assert words[0].endswith("on the page of Desk 1, not signed")
    assert words[1].endswith("on the page of Desk 1, signed by PIN")
