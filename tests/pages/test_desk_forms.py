"""Release tests, soles, samples, the staff list and what an order met: the same on the pages as typed."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

import pytest

from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import list_person
from fleet.rules.sampling.record import newest_sample
from fleet.tables.snapshot import read_staff
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, WIM
from tests.pages.browser import PIN, PagesBrowser, entries_of, words_of

TWICE = "entered before"


@pytest.fixture
def typed(
    browser: PagesBrowser,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Command:
    """The command line on a copy of the shop, as it was before the page's first action."""
    copy = tmp_path / "typed.db"
    browser.shop.ledger.connection.execute("VACUUM INTO ?", (str(copy),))
    return Command(copy, monkeypatch, capsys)


def too(command: Command, browser: PagesBrowser, *words: str) -> None:
    """Type at the same minute what the page just did."""
    command._now = browser.shop.now - timedelta(minutes=1)
    answer = command(*words)
    assert answer.returncode == 0, answer.stdout


def same(command: Command, browser: PagesBrowser, head: int) -> None:
    with Ledger.open(command.ledger) as other:
        theirs = entries_of(other, head)
    assert entries_of(browser.shop.ledger, head) == theirs != []


def test_a_release_test_and_a_sole_on_the_pages_are_the_same_typed(
    browser: PagesBrowser, typed: Command
) -> None:
    head = browser.shop.ledger.head.seq
    browser.sign_in(JORY)
    test = {"piece": "B heel", "device": "bench 1", "result": "as sheet 4 asks", "outcome": "passed"}
    words = words_of(browser.post("/find/do", name="P-1", do="tested", remark="twice", **test))
    assert "release test of ski B heel: recorded as entry" in words
    said = ("--ski", "B", "--piece", "heel", "--device", "bench 1", "--result", "as sheet 4 asks")
    said = (*said, "--outcome", "passed", "--remark", "twice", "--by", JORY)
    too(typed, browser, "release-test", "P-1", *said)
    sole = {"bsl": "302,5", "how": "caliper, both boots", "wear": "worn"}
    words = words_of(browser.post("/find/do", name="boot:B-305", do="sole", **sole))
    assert "ENTERED B-305 sole 302.5 mm, before: 305.0 mm; look at its cell too: B-310" in words
    how = ("--bsl", "302.5", "--how", "caliper, both boots", "--wear", "worn")
    too(typed, browser, "sole", "B-305", *how, "--by", JORY)
    same(typed, browser, head)


def test_who_may_not_sign_a_test_or_a_sole_enters_none_and_what_was_typed_stays(
    browser: PagesBrowser,
) -> None:
    head = browser.shop.ledger.head.seq
    test = {"piece": "A toe", "device": "bench 1", "result": "as sheet 4 asks"}
    html = browser.post("/find/do", name="P-1", do="tested", **test)
    assert (browser.status, browser.shop.ledger.head.seq) == (409, head)
    assert 'name="result" value="as sheet 4 asks"' in html
    assert '<option value="A toe" selected>' in html
    browser.sign_in(NELL)
    words = words_of(browser.post("/find/do", name="boot:B-305", do="sole", bsl="302", how="caliper"))
    assert "counter staff and cannot measure a sole" in words
    browser.post("/find/do", name="P-1", do="sole", bsl="302", how="caliper")
    assert browser.status == 400, "a pair has no sole"
    assert browser.shop.ledger.head.seq == head


def test_a_sample_is_drawn_entered_and_closed_as_typed(browser: PagesBrowser, typed: Command) -> None:
    """Pairs ready in the rack; the draw's seed is the one that the page's entry keeps."""
    shop, head = browser.shop, browser.shop.ledger.head.seq
    ask, do = "/evening/sample", "/evening/sample/do"
    assert 'href="/evening/sample"' in browser.get("/evening")
    browser.sign_in(JORY)
    words = words_of(browser.post(do, do="draw", tap=(tap := "a-tap-of-its-own-07")))
    sample = newest_sample(shop.ledger.connection)
    assert sample is not None
    assert f"ENTERED sample {sample.entry} of Sun 27 Dec 2026" in words
    too(typed, browser, "sample", "draw", "--seed", sample.drawn.seed, "--by", JORY)
    assert TWICE in words_of(browser.post(do, do="draw", tap=tap))
    first, *others = sample.units
    assert f'value="{first}"' in browser.get(f"{ask}?unit={first.replace(' ', '+')}")
    words = words_of(browser.post(do, do="close"))
    assert "have no result" in words
    result = {"do": "result", "device": "bench 1"}
    words = words_of(browser.post(do, unit=first.lower(), found="II", remark="low", **result))
    assert f"ENTERED {first}: II; {len(others)} units to go" in words
    device = ("--device", "bench 1", "--by", JORY)
    too(typed, browser, "sample", "result", first, "--found", "II", "--remark", "low", *device)
    assert shop.place(first.split()[0] if " " in first else first) is Place.HOLD
    for unit in others:
        browser.post(do, unit=unit, found="in order", **result)
        too(typed, browser, "sample", "result", unit, "--found", "in-order", *device)
    words = words_of(browser.post(do, do="close"))
    assert re.search(r"ENTERED sample \d+: FAIL; the next: not due \(0 of \d+ operating days\)", words), words
    too(typed, browser, "sample", "close", "--by", JORY)
    same(typed, browser, head)


def test_a_closed_day_is_taken_out_on_the_sample_s_page_as_typed(
    browser: PagesBrowser, typed: Command
) -> None:
    """A reason nobody wrote is the command's own; a day to come is refused, and what was typed stays."""
    head, do = browser.shop.ledger.head.seq, "/evening/sample/do"
    html = browser.post(do, do="not-counted", closed_day="2026-12-28", why="storm is coming")
    assert "has not come yet" in words_of(html)
    assert 'value="storm is coming"' in html
    words = words_of(browser.post(do, do="not-counted", closed_day="2026-12-26", why="tows closed"))
    assert "ENTERED Sat 26 Dec 2026 does not count as an operating day" in words
    desk = ("--by", "Desk 1")
    too(typed, browser, "sample", "closed-day", "2026-12-26", "--why", "tows closed", *desk)
    browser.post(do, do="not-counted", closed_day="2026-12-27", why="")
    too(typed, browser, "sample", "closed-day", "2026-12-27", *desk)
    same(typed, browser, head)


def test_a_tester_s_calibration_is_entered_at_the_bench_as_typed(
    browser: PagesBrowser, typed: Command
) -> None:
    head, do = browser.shop.ledger.head.seq, "/bench/testers/do"
    assert 'href="/bench/testers"' in browser.get("/bench")
    said = {"do": "calibrated", "device": "bench 1", "on": "2026-09-01", "certificate": "no. 7"}
    browser.sign_in(NELL)
    browser.post(do, **said, until="2027-08-31")
    assert (browser.status, browser.shop.ledger.head.seq) == (409, head), "counter staff does not sign it"
    browser.sign_in(JORY)
    html = browser.post(do, **said, until="2026-08-31")
    assert "does not end on Mon 31 Aug 2026" in words_of(html)
    assert 'value="no. 7"' in html
    words = words_of(browser.post(do, **said, until="2027-08-31"))
    assert "bench 1: calibrated Tue 1 Sep 2026, counts until Tue 31 Aug 2027" in words
    days = ("--on", "2026-09-01", "--until", "2027-08-31")
    too(typed, browser, "calibration", "bench 1", *days, "--certificate", "no. 7", "--by", JORY)
    same(typed, browser, head)
    browser.post(do, do="calibrated", device="bench 2", on="2025-09-01", until="2026-08-31")
    words = words_of(browser.get("/bench/testers"))
    assert "bench 1 counts until Tue 31 Aug 2027 calibrated Tue 1 Sep 2026, certificate no. 7" in words
    assert "bench 2 counts no more: ended Mon 31 Aug 2026" in words
    assert 'href="/bench/testers"' in browser.get("/find/pair?tag=P-1"), "where a test is entered"


def test_two_list_a_manager_on_the_page_where_none_is_in_date(browser: PagesBrowser, typed: Command) -> None:
    """The other signs with a PIN of her own; a wrong one, the same person twice, or nobody: nothing."""
    shop, manager = browser.shop, ("--by", WIM)
    with shop.desk(WIM) as desk:
        list_person(desk, IDA, role="head technician", until=(gone := date(2026, 12, 26)))
    too(typed, browser, "staff", "add", IDA, "--role", "head-technician", "--until", "2026-12-26", *manager)
    assert 'name="second"' not in browser.get("/staff"), "a manager is in date"
    with shop.desk(WIM) as desk:
        list_person(desk, WIM, role="manager", until=gone)
    too(typed, browser, "staff", "add", WIM, "--role", "manager", "--until", "2026-12-26", *manager)
    head = shop.ledger.head.seq
    browser.pins.set_pin(SANNE, "739152", "739152", by=WIM)
    browser.sign_in(JORY)
    assert 'name="second"' in browser.get("/staff")
    ida = {"do": "list", "name": IDA, "role": "manager", "until": "2027-10-31"}
    for second, pin in (("", ""), (SANNE, ""), (SANNE, PIN), (JORY, PIN)):
        browser.post("/staff/do", **ida, second=second, second_pin=pin)
        assert (browser.status, shop.ledger.head.seq) == (409, head), second
    html = browser.post("/staff/do", **ida, second=SANNE, second_pin="739152")
    assert f"{IDA}: manager until Sun 31 Oct 2027" in words_of(html)
    assert "739152" not in html
    listing = ("--role", "manager", "--until", "2027-10-31", "--by", JORY, "--second", SANNE)
    too(typed, browser, "staff", "add", IDA, *listing)
    same(typed, browser, head)


def test_who_may_sign_in_need_may_sign_in(browser: PagesBrowser) -> None:
    """With fewer than two in date anybody listed is one of the two, so the page lets each sign in."""
    shop, names = browser.shop, lambda: re.findall(r'name="name" value="([^"]*)"', browser.get("/sign"))
    assert OLD not in names(), "his right has ended"
    with shop.desk(WIM) as desk:
        for name in (IDA, SANNE, NELL, WIM):
            role = read_staff(desk.connection)[name].role.value
            list_person(desk, name, role=role, until=date(2026, 12, 26))
    assert set(names()) == {IDA, JORY, SANNE, NELL, WIM, OLD}


def test_the_staff_list_on_its_page_is_the_ledger_s_rule(browser: PagesBrowser, typed: Command) -> None:
    head = browser.shop.ledger.head.seq
    vera = {"name": "Vera Lind", "role": "technician", "until": "2027-10-31"}
    browser.sign_in(JORY)
    words = words_of(browser.post("/staff/do", do="list", **vera))
    assert browser.status == 409
    assert WIM in words, "who may"
    browser.sign_in(WIM)
    words = words_of(browser.post("/staff/do", do="list", **vera))
    assert "Vera Lind: technician until Sun 31 Oct 2027" in words
    manager = ("--by", WIM)
    said = ("--role", "technician", "--until", "2027-10-31")
    too(typed, browser, "staff", "add", "Vera Lind", *said, *manager)
    matter = {"what": "release test", "until": "2027-10-31"}
    words = words_of(browser.post("/staff/do", do="qualify", name="Vera Lind", **matter))
    assert "Vera Lind: qualified for release test until Sun 31 Oct 2027" in words
    assert "release test, until Sun 31 Oct 2027" in words.partition("Set a PIN")[0]
    stated = ("--for", "release-test", "--until", "2027-10-31")
    too(typed, browser, "staff", "qualify", "Vera Lind", *stated, *manager)
    words = words_of(browser.post("/staff/do", do="end", name=NELL, until="2027-06-01"))
    assert "ends on Mon 31 May 2027, before that day" in words
    words = words_of(browser.post("/staff/do", do="end", name=NELL, until="2026-12-26"))
    assert f"{NELL} counter, the right to sign ended Sat 26 Dec 2026" in words
    too(typed, browser, "staff", "add", NELL, "--role", "counter", "--until", "2026-12-26", *manager)
    same(typed, browser, head)
    assert NELL not in words_of(browser.get("/sign"))


def test_a_desk_lists_its_first_manager_on_the_page(tmp_path: Path) -> None:
    """A shop without anybody: the first one is one who lists the others, and nobody signs for that."""
    from tests.counter.shop import Shop

    browser = PagesBrowser.on(Shop.new(tmp_path / "new.db"))
    assert 'href="/staff"' in browser.get("/sign")
    words = words_of(browser.post("/staff/do", do="list", name="Vera", role="counter", until="2027-10-31"))
    assert "the first person listed is one who lists the others" in words
    assert "page Staff list: list a person" in words
    words = words_of(browser.post("/staff/do", do="list", name="Ada", role="manager", until="2027-10-31"))
    assert "Ada: manager until Sun 31 Oct 2027" in words
    browser.post("/staff/do", do="list", name="Vera", role="counter", until="2027-10-31")
    assert browser.status == 409, "from now on the manager signs"
