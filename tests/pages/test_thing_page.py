"""The page of a pair or boot: what the day asks there is the same as typed, signed, and counted once."""

from __future__ import annotations

import re
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.rules.holds import hold
from planner.cli.rooms import ROOM_OF
from planner.pages.ways import AT_TERMINAL, WAYS, way_links
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM
from tests.pages.browser import PIN, PagesBrowser, entries_of, words_of


def do(browser: PagesBrowser, name: str, does: str, tap: str = "", **fields: str) -> str:
    return words_of(browser.post("/find/do", tap=tap, name=name, do=does, **fields))


def test_a_day_at_the_desk_on_the_pages_is_the_same_typed_as_commands(
    browser: PagesBrowser,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    shop, typed = browser.shop, tmp_path / "typed.db"
    shutil.copyfile(shop.ledger.path, typed)
    head = shop.ledger.head.seq
    command = Command(typed, monkeypatch, capsys)

    def too(*words: str) -> None:
        command._now = shop.now - timedelta(minutes=1)
        answer = command(*words)
        assert answer.returncode == 0, answer.stdout

    browser.sign_in(JORY)
    assert "HOLD P-1 heel of ski B turned" in do(browser, "P-1", "hold", why="heel of ski B turned")
    too("hold", "P-1", "--why", "heel of ski B turned", "--by", JORY)
    assert "IN REPAIR P-1" in do(browser, "P-1", "begin")
    too("repair", "begin", "P-1", "--by", JORY)
    words = do(
        browser,
        "P-1",
        "repaired",
        did="heel screwed down anew",
        **{"glue wood_glue": "1", "touched B heel": "1"},
    )
    assert "its binding is set for sole: ski A 305 mm, ski B not known" in words
    assert "a second person looks" in words
    did = ("--did", "heel screwed down anew", "--glue", "wood_glue", "--touched", "B heel")
    too("repair", "done", "P-1", *did, "--by", JORY)
    do(browser, "P-2", "hold", why="the base is deep in", cause="crack")
    too("hold", "P-2", "--why", "the base is deep in", "--cause", "crack", "--by", JORY)
    do(browser, "P-3", "fault", ski="B", fault="wet core", why="behind the heel")
    too("ski-fault", "P-3", "B", "wet-core", "--why", "behind the heel", "--by", JORY)
    assert "touch nothing" in do(browser, "P-4", "quarantine", why="fell on the home run")
    too("quarantine", "P-4", "--why", "fell on the home run", "--by", JORY)
    do(browser, "T-1", "note", ski="A", text="edge blunt at the tip")
    too("note", "T-1/A", "edge blunt at the tip", "--by", JORY)
    [noted] = [entry.seq for entry in shop.ledger.entries(after=head) if entry.what == "note made"]
    do(browser, "T-1", "end", entry=f"{noted}")
    too("note", "T-1", "--end", "--entry", f"{noted}", "--by", JORY)
    do(browser, "boot:B-305", "hold", why="the buckle is broken")
    too("hold", "boot:B-305", "--why", "the buckle is broken", "--by", JORY)
    do(browser, "boot:B-305", "clear", why="another buckle")
    too("clear", "boot:B-305", "--why", "another buckle", "--by", JORY)
    do(browser, "boot:B-310", "note", text="loose heel, hold it")
    too("note", "boot:B-310", "loose heel, hold it", "--by", JORY)
    do(browser, "T-1", "bound", boot="B-310")
    too("set-binding", "T-1", "--boot", "B-310", "--by", JORY)
    do(browser, "T-1", "move", to="missing", why="not in the rack at the count")
    too("move", "T-1", "--to", "missing", "--why", "not in the rack at the count", "--by", JORY)
    do(browser, "T-1", "move", to="shop")
    too("move", "T-1", "--to", "shop", "--by", JORY)
    browser.sign_in(WIM)
    do(browser, "P-4", "clear", why="the insurer is done with it")
    too("clear", "P-4", "--why", "the insurer is done with it", "--by", WIM)
    browser.sign_in(IDA)
    do(browser, "P-3", "clear", why="dry and sound by the meter")
    too("clear", "P-3", "--why", "dry and sound by the meter", "--by", IDA)
    with Ledger.open(typed) as other:
        ours, theirs = entries_of(shop.ledger, head), entries_of(other, head)
    assert [each[2:] for each in ours] == [each[2:] for each in theirs]
    assert ours == theirs


def test_who_ends_a_stop_is_the_rule_s_person_and_a_tap_sent_twice_is_one_entry(
    browser: PagesBrowser,
) -> None:
    shop = browser.shop
    tap = "a-tap-of-its-own-01"
    head = shop.ledger.head.seq
    do(browser, "P-1", "hold", tap, why="heel of ski B turned")
    assert "counted twice" in do(browser, "P-1", "hold", tap, why="heel of ski B turned")
    assert [entry.what for entry in shop.ledger.entries(after=head)] == ["pair held"]
    assert "nobody is signed in" in do(browser, "P-1", "clear", why="it slipped")
    assert browser.status == 409
    browser.sign_in(JORY)
    do(browser, "P-2", "quarantine", why="fell on the home run")
    words = do(browser, "P-2", "clear", why="the insurer is done with it")
    assert browser.status == 409
    assert WIM in words
    assert shop.place("P-2") is Place.QUARANTINE
    do(browser, "P-3", "fault", ski="A", fault="crack")
    assert IDA in do(browser, "P-3", "clear", why="repaired as its maker says")
    assert shop.place("P-3") is Place.HOLD


def test_a_note_that_asks_is_answered_on_the_page(browser: PagesBrowser) -> None:
    """The word in it proposes a hold: asked at once, done by nobody until somebody says so."""
    shop = browser.shop
    browser.sign_in(NELL)
    assert "hold it?" in do(browser, "P-1", "note", text="heel loose, hold it")
    assert shop.place("P-1") is not Place.HOLD
    html = browser.get("/find/pair?tag=P-1")
    assert "It asks: hold it?" in words_of(html)
    [entry] = re.findall(r'name="entry" value="(\d+)"', html)
    browser.sign_in(SANNE)
    assert "HOLD" in do(browser, "P-1", "took", entry=entry)
    assert shop.place("P-1") is Place.HOLD
    words = do(browser, "P-1", "took", entry=entry)
    assert "asks nothing that is open" in words


def test_the_words_above_a_table_of_holes_are_broken_into_lines_and_its_rows_are_not(
    browser: PagesBrowser,
) -> None:
    """On a tablet the mounting zone stood beyond the edge, since it was kept in one line as the rows are."""
    holes = [
        {
            "hole_id": f"P-1/A{n}", "side": "A", "x_um": 100_000 - 20_000 * n, "y_um": 18_000,
            "diameter_um": 4100, "depth_um": 9000, "state": "plugged", "knowledge": "measured bare",
        }
        for n in (1, 2)
    ]  # fmt: skip
    browser.shop.enter("holes recorded", {"tag": "P-1", "holes": holes})
    page = browser.get("/find/thing?tag=P-1")
    [rows] = re.findall(r'<pre class="record columns"[^>]*>(.*?)</pre>', page, re.S)
    assert [line.split()[0] for line in rows.splitlines() if line.strip()] == ["hole", "A1", "A2"]
    [ski_a, _] = [
        text
        for text in re.findall(r'<pre class="record"[^>]*>(.*?)</pre>', page, re.S)
        if "mark" in text and "mounting zone" in text
    ]
    assert ski_a.startswith("ski A  ")


def test_what_was_typed_stays_where_an_action_is_refused(browser: PagesBrowser) -> None:
    html = browser.post("/find/do", name="P-1", do="repaired", did="heel screwed down anew")
    assert browser.status == 409
    assert "REFUSED" in words_of(html)
    browser.sign_in(JORY)
    do(browser, "P-1", "hold", why="heel of ski B turned")
    html = browser.post("/find/do", name="P-1", do="repaired", did="ok")
    assert 'name="did" value="ok"' in html
    assert "--" not in words_of(html).partition("Its record")[0]
    html = browser.post("/find/do", name="P-1", do="sweep")
    assert browser.status == 400
    assert f"{PIN}" not in html


@pytest.mark.parametrize("thing", ["pair?tag=P-1", "boot?tag=B-305"])
def test_a_day_of_the_past_has_no_buttons_and_no_stop_of_today(browser: PagesBrowser, thing: str) -> None:
    shop = browser.shop
    day = shop.today
    shop.tick(minutes=48 * 60)
    for tag in ("P-1", "B-305"):
        with shop.desk(NELL) as desk:
            hold(desk, tag, why="strap torn")
    words = words_of(browser.get(f"/find/{thing}&as_of={day}"))
    assert "as it was" in words
    assert "At the desk" not in words
    assert "strap torn" not in words
    assert "What ends it" not in words
    now = words_of(browser.get(f"/find/{thing}"))
    assert "It is stopped: strap torn" in now
    assert "What ends it" in now


@pytest.mark.parametrize(
    ("said", "way"),
    [
        ("see `mountbook order list --all`", "see page Bench"),
        (
            "repair it, then enter it (mountbook repair done P-1 --did TEXT --by NAME); if no screw moved,"
            " somebody else than Ida ends the stop: mountbook clear P-1 --why TEXT --by NAME",
            "repair it, then enter it (page of P-1: repaired); if no screw moved,"
            " somebody else than Ida ends the stop: page of P-1: end of the stop",
        ),
        ('its work comes first: mountbook order done "WO-1 A" --by NAME',
         "its work comes first: page Bench, order WO-1 A: done"),
        ('mountbook order done "WO-1 A" --insert "A17=9" --by NAME', "page Bench, order WO-1 A: done"),
        ("mountbook staff add NAME --role manager --until DATE --by NAME", "page Staff list: list a person"),
        ("mountbook staff add NAME --role manager --second NAME, two of: A, B",
         "page Staff list: list a person, two of: A, B"),
        ("see `mountbook audit`, then `mountbook restore` the newest good backup",
         "see at the desk's terminal: mountbook audit, then mountbook restore the newest good backup"),
        ("mountbook note K-5 --took-it --by NAME, or mountbook note K-5 --not-so --by NAME",
         "page of K-5: notes, do it now, or page of K-5: notes, it is not so"),
        ("mountbook back TAG", "page Counter: BACK"),
        ("somebody looks at it, then: mountbook recheck record 17/3 --all not-moved --by NAME",
         "somebody looks at it, then: page Evening, 17/3: both skis"),
        ("update mountbook on this machine", "update mountbook on this machine"),
        ('add --why "what was seen"', 'add the reason "what was seen"'),
        ("type who it is with --by NAME", "type who it is by signing in"),
    ],
)  # fmt: skip
def test_a_page_says_the_way_on_the_pages_where_a_rule_names_a_command(said: str, way: str) -> None:
    assert way_links(said).striptags() == way


def test_a_way_is_a_link_and_nobody_s_data_becomes_markup() -> None:
    assert way_links('mountbook back "<b>" now') == '<a href="/counter">page Counter: BACK</a> now'
    assert way_links("mountbook hold K/1 --why TEXT") == (
        '<a href="/find/thing?tag=K%2F1">page of K/1: hold</a>'
    )
    assert way_links("<i>") == "&lt;i&gt;"


def test_every_command_has_its_place_on_the_pages_or_is_the_terminal_s() -> None:
    on_pages = {way.split()[0] for way in WAYS}
    assert on_pages | AT_TERMINAL == set(ROOM_OF)
