"""Today leads to each thing; Find says what the door says; a thing has the words of its command."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from fleet.ledger.history import pair_history
from fleet.rules.find import Now, find_pairs
from fleet.rules.holds import hold
from fleet.rules.looks import LookKind, look_as_typed
from planner.bench.today import today_at
from planner.paper.ski_view.ski_words import pair_lines
from tests.counter.shop import IDA, JORY, Shop
from tests.pages.browser import PagesBrowser, words_of


@pytest.fixture
def browser(shop: Shop) -> PagesBrowser:
    return PagesBrowser.on(shop)


def links_of(html: str) -> list[str]:
    return re.findall(r'<a class="tag" href="([^"]+)"', html)


def test_today_shows_every_topic_of_the_command_and_each_pair_leads_to_its_page(
    browser: PagesBrowser,
) -> None:
    shop = browser.shop
    with shop.desk(JORY) as desk:
        hold(desk, "P-2", why="heel of ski B turned")
    shop.back("P-3")
    html = browser.get("/today")
    told = today_at(shop.ledger.connection, now=shop.now, zone=shop.ledger.zone)
    assert {"on hold", "back, to be looked at"} <= {topic.title for topic in told.topics}
    for topic in told.topics:
        assert f"{topic.title} {topic.count}" in words_of(html)
    assert "heel of ski B turned" in words_of(html)
    for link in links_of(html):
        browser.get(link.replace("&amp;", "&"))
        assert browser.status == 200, link


def test_find_says_of_each_pair_what_the_door_says(browser: PagesBrowser) -> None:
    shop = browser.shop
    with shop.desk(JORY) as desk:
        hold(desk, "P-2", why="heel of ski B turned")
    words = words_of(browser.get("/find?boot=B-305"))
    found = find_pairs(shop.ledger.connection, at=shop.now, zone=shop.ledger.zone, boot="B-305").pairs
    assert {pair.now for pair in found} >= {Now.GOES, Now.NOT_NOW}
    for pair in found:
        assert pair.tag in words
        for reason in pair.reasons:
            assert reason in words
    assert words.index("Goes now") < words.index("Not now, and why")
    folded = re.compile(r"<summary>Not now, and why.*</details>", re.S)
    assert folded.search(browser.get("/find?boot=B-305")), "a hundred reasons do not hide what goes"
    for pair in found:
        if pair.now is not Now.NOT_NOW:
            with shop.desk(JORY) as desk:
                hold(desk, pair.tag, why="to look at")
    html = browser.get("/find?boot=B-305")
    assert "Goes now" not in html
    assert not folded.search(html), "where nothing goes the reasons are what is asked"
    assert "no kind of ski" in words_of(browser.get("/find?kind=sledge"))


def test_a_page_asks_about_so_many_pairs_first_those_that_likely_go_and_says_so(
    browser: PagesBrowser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """P-3 and P-4 stand at the sole of the boot, P-1 and P-2 do not; P-4 has the length."""
    shop = browser.shop
    for tag in ("P-3", "P-4"):
        shop.set_binding(tag, 310)
        shop.look(tag, kind=LookKind.SEASON_PREP)
    assert "were looked at" not in words_of(browser.get("/find?boot=B-310&length=176"))
    monkeypatch.setattr("planner.pages.find._MOST", 1)
    words = words_of(browser.get("/find?boot=B-310&length=176"))
    assert "Goes now 1 P-4" in words
    assert "1 of 3 pairs were looked at, those that are ready and nearest first" in words
    with shop.desk(JORY) as desk:
        hold(desk, "P-4", why="heel of ski B turned")
    assert "Goes now 1 P-3" in words_of(browser.get("/find?boot=B-310&length=176"))


@pytest.mark.parametrize("typed", ["P-1", "p-1", "P-1/A", "P-1/B"])
def test_a_pair_a_ski_or_a_binding_leads_to_the_pair(browser: PagesBrowser, typed: str) -> None:
    page = browser.ask("GET", "/find/thing", params={"tag": typed})
    assert str(page.url).endswith("/find/pair?tag=P-1")
    words = words_of(page.text)
    for line in pair_lines(pair_history(browser.shop.ledger, "P-1"), maps=False):
        said = " ".join(line.removeprefix("P-1 ").replace(", see --json", "").split())
        assert said in words.replace("&#39;", "'") or "“" in line


def test_a_boot_has_its_own_page_and_what_is_nowhere_is_said(browser: PagesBrowser) -> None:
    assert "Boot B-305" in words_of(browser.get("/find/thing?tag=B-305"))
    assert "there is no pair, ski, boot or binding P-99" in words_of(browser.get("/find/thing?tag=P-99"))
    assert browser.status == 409


def test_a_pair_as_of_a_day_is_as_it_was_then(browser: PagesBrowser) -> None:
    shop = browser.shop
    day: date = shop.today
    shop.now += timedelta(days=1)
    with shop.desk(JORY) as desk:
        hold(desk, "P-1", why="heel of ski B turned")
    assert "heel of ski B turned" in words_of(browser.get("/find/pair?tag=P-1"))
    then = words_of(browser.get(f"/find/pair?tag=P-1&as_of={day.isoformat()}"))
    assert "heel of ski B turned" not in then
    assert "as the shop knew it at the end of" in then


def test_the_picture_is_drawn_and_no_tag_is_a_path(browser: PagesBrowser) -> None:
    picture = browser.ask("GET", "/find/picture.svg", params={"tag": "P-1"})
    assert picture.headers["content-type"] == "image/svg+xml"
    assert picture.text.startswith("<svg")
    for said in ("../../etc/passwd", "P-1\x00", "<script>alert(1)</script>", "a" * 5000):
        answer = browser.ask("GET", "/find/pair", params={"tag": said})
        assert answer.status_code in (400, 409)
        assert "<script>alert" not in answer.text


def test_passes_in_bulk_lead_the_head_technician_to_the_pairs_and_what_was_found_is_entered_once(
    browser: PagesBrowser,
) -> None:
    shop = browser.shop
    shop.policy("bulk_passes", "2")
    shop.out("P-1", "P-2")
    shop.back("P-1", "P-2")
    with shop.desk(JORY) as desk:
        for tag in ("P-1", "P-2"):
            look_as_typed(desk, tag, "not moved", ())
    html = browser.get("/today")
    [address] = set(re.findall(r'href="(/today/passes[^"]*)"', html))
    words = words_of(browser.get(address))
    assert "2 of them at one moment" in words
    assert all(f'href="/evening/pair?scan={tag}"' in browser.get(address) for tag in ("P-1", "P-2"))
    [entry] = re.findall(r'name="entry" value="(\d+)"', browser.get(address))
    said = {"by": JORY, "entry": entry, "why": "P-2 looked at again, nothing turned"}
    head = shop.ledger.head.seq
    assert "nobody is signed in" in words_of(browser.post("/today/seen", **said))
    for no_number in ("9" * 5000, "-1", "\u0663", ""):
        assert "that is no look" in words_of(browser.post("/today/seen", **said | {"entry": no_number}))
        assert browser.status == 400
    browser.sign_in(IDA)
    for _ in range(2):
        browser.post("/today/seen", tap="a-tap-of-its-own-02", **said)
    [made] = shop.ledger.entries(after=head)
    assert (made.what, made.by, made.body["entry"]) == ("entry remarked", IDA, int(entry))
