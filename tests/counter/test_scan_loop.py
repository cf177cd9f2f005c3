"""The scan loop: what a line does, and several counters at once."""

from __future__ import annotations

import itertools
import multiprocessing
import shutil
import time
from datetime import UTC, datetime, timedelta
from multiprocessing.queues import Queue
from pathlib import Path

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.standing import Place
from fleet.facts.tags import known_tag
from fleet.ledger.ledger import Ledger
from fleet.rules.scanning import Counter, Mode
from tests.counter.shop import NELL, Shop


@pytest.fixture
def counter(shop: Shop) -> Counter:
    return Counter(shop.ledger, by=NELL, mode=Mode.OUT)


def test_a_tag_goes_out_and_comes_back(shop: Shop, counter: Counter) -> None:
    assert counter.handle("P-1", now=shop.tick()).text == "P-1  OUT  fit not checked"
    assert counter.handle("back", now=shop.tick()).text == "now scanning BACK"
    assert counter.handle("p-1 felt loose", now=shop.tick()).text == "P-1  BACK  to the recheck rack"
    assert shop.standing("P-1").said_entry > 0


def test_the_boot_is_scanned_before_its_pair(shop: Shop, counter: Counter) -> None:
    assert counter.handle("B-305", now=shop.tick()).text == "B-305  boot, now its pair"
    assert counter.prompt == "OUT · boot B-305 > "
    assert counter.handle("P-1", now=shop.tick()).text == "P-1  OUT  boot B-305 fits"
    assert counter.boot is None


@pytest.fixture
def strict(shop: Shop) -> Counter:
    """A counter of a shop that lets nothing out without a boot, as every shop until it says else."""
    shop.policy("out_without_boot", "no")
    return Counter(shop.ledger, by=NELL, mode=Mode.OUT)


def said(counter: Counter, shop: Shop, *lines: str) -> list[str]:
    return [counter.handle(line, now=shop.tick()).text for line in lines]


WAITS = "waits for its boot: scan it, or type own MM TYPE"


def test_a_pair_waits_for_its_boot(shop: Shop, strict: Counter) -> None:
    assert said(strict, shop, "P-1") == [f"P-1  {WAITS}"]
    assert strict.prompt == "OUT · P-1 waits for its boot > "
    assert shop.place("P-1") is Place.READY
    assert said(strict, shop, "B-305") == ["P-1  OUT  boot B-305 fits"]
    assert strict.prompt == "OUT > "


def test_the_customer_s_own_boot_is_typed_for_the_pair_that_waits(shop: Shop, strict: Counter) -> None:
    fits = "OUT  boot of the customer (305 mm, alpine A) fits"
    assert said(strict, shop, "P-1", "own 305 alpine A") == [f"P-1  {WAITS}", f"P-1  {fits}"]
    assert said(strict, shop, "P-2 own boot 305 alpine A") == [f"P-2  {fits}"]
    for line in ("own 305", "own x alpine A", "own 305 alpine A", "P-3 own 12 alpine A"):
        assert strict.handle(line, now=shop.tick()).refused, line
    assert shop.place("P-3") is Place.READY


def test_what_may_not_go_out_does_not_wait(shop: Shop, strict: Counter) -> None:
    shop.back("P-1")
    [text] = said(strict, shop, "P-1")
    assert text.startswith("REFUSED  P-1 cannot go out: it came back")
    assert strict.pair is None


def test_a_boot_never_passes_to_another_customer_s_pair(shop: Shop, strict: Counter) -> None:
    assert said(strict, shop, "P-1", "P-2", "B-305") == [
        f"P-1  {WAITS}",
        f"P-2  {WAITS}; P-1 waited for its boot and stays in",
        "P-2  OUT  boot B-305 fits",
    ]
    strict.handle("B-310", now=shop.tick())
    assert said(strict, shop, "back", "out", "P-3")[-1] == f"P-3  {WAITS}"


@pytest.mark.parametrize(("seconds", "goes"), [(300, True), (301, False)])
def test_a_boot_waits_so_long_and_no_longer(shop: Shop, strict: Counter, seconds: int, goes: bool) -> None:
    """counter_wait_minutes is 5: our default, no source."""
    strict.handle("B-305", now=shop.tick())
    reply = strict.handle("P-1", now=shop.now + timedelta(seconds=seconds))
    assert (shop.place("P-1") is Place.OUT) is goes
    if not goes:
        assert reply.text == f"P-1  {WAITS}; boot B-305 waited too long and counts no more: scan it again"
        assert strict.boot is None


def test_a_boot_that_waited_too_long_does_not_let_its_pair_out_without_one(
    shop: Shop, counter: Counter
) -> None:
    """This shop lets pairs out without a boot; but here somebody had scanned one."""
    counter.handle("B-305", now=shop.tick())
    assert counter.handle("P-1", now=shop.tick(minutes=60)).text.startswith(
        f"P-1  {WAITS}; boot B-305 waited"
    )
    assert shop.place("P-1") is Place.READY


def test_a_boot_that_beeps_again_after_its_pair_does_not_wait_for_the_next(
    shop: Shop, strict: Counter
) -> None:
    said(strict, shop, "P-1", "B-305")
    again = strict.handle("B-305", now=shop.now + timedelta(seconds=1))
    assert again.text == "B-305  same scan twice, counted once"
    assert strict.boot is None


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("P-1 P-2", "two pairs on one line: P-1, P-2"),
        ("P-1 B-305 B-310", "two boots on one line: B-305, B-310"),
        ("B-305 B-310", "two boots on one line: B-305, B-310"),
        ("P-1 B-305 own 305 alpine A", "two boots on one line: B-305, the customer's own"),
        ("P-1 P-2 set", "two pairs on one line: P-1, P-2"),
    ],
)
def test_two_of_a_kind_on_one_line_are_said(shop: Shop, strict: Counter, line: str, words: str) -> None:
    reply = strict.handle(line, now=shop.tick())
    assert (reply.refused, f"REFUSED  {words}; nothing was handed out" in reply.text) == (True, True)
    assert {shop.place(tag) for tag in ("P-1", "P-2")} == {Place.READY}


@pytest.mark.parametrize("line", ["P-1 B-305", "B-305 P-1"])
def test_pair_and_boot_on_one_line_in_either_order(shop: Shop, strict: Counter, line: str) -> None:
    assert said(strict, shop, line) == ["P-1  OUT  boot B-305 fits"]


def test_a_second_boot_before_the_pair_is_said(shop: Shop, strict: Counter) -> None:
    assert said(strict, shop, "B-310", "B-305", "P-1") == [
        "B-310  boot, now its pair",
        "B-305  boot, now its pair; boot B-310 waited for a pair and is put aside",
        "P-1  OUT  boot B-305 fits",
    ]


def test_a_refusal_rings_and_names_what_could_go_instead(shop: Shop, counter: Counter) -> None:
    shop.back("P-1")
    reply = counter.handle("P-1", now=shop.tick())
    assert reply.refused
    assert reply.text.startswith("REFUSED  P-1 cannot go out: it came back")
    assert reply.text.endswith("INSTEAD: P-2, P-3")


def test_a_refused_boot_does_not_wait_for_the_next_pair(shop: Shop, counter: Counter) -> None:
    counter.handle("B-335", now=shop.tick())
    assert counter.handle("P-1", now=shop.tick()).refused
    assert counter.handle("P-2", now=shop.tick()).text == "P-2  OUT  fit not checked"


def test_a_scan_after_its_undo_is_a_new_scan_however_quick(shop: Shop, counter: Counter) -> None:
    moment = shop.tick()
    said = [counter.handle(line, now=moment).text for line in ("P-1", "undo", "P-1")]
    assert said == [
        "P-1  OUT  fit not checked",
        "P-1  READY  undone: pair out; it is ready",
        "P-1  OUT  fit not checked",
    ]
    assert shop.place("P-1") is Place.OUT


def test_a_scanner_that_beeps_twice_counts_once(shop: Shop, counter: Counter) -> None:
    counter.handle("P-1", now=shop.tick())
    reply = counter.handle("P-1", now=shop.now + timedelta(seconds=1))
    assert (reply.refused, reply.text) == (False, "P-1  same scan twice, counted once")
    assert counter.counts[Mode.OUT] == 1


def test_undo_is_a_new_entry(shop: Shop, counter: Counter) -> None:
    counter.handle("P-1", now=shop.tick())
    before = shop.ledger.head.seq
    assert counter.handle("undo", now=shop.tick()).text == "P-1  READY  undone: pair out; it is ready"
    assert shop.ledger.head.seq == before + 1


def test_a_paper_list_is_entered_with_the_papers_time(shop: Shop, counter: Counter) -> None:
    shop.tick(minutes=300)
    counter.handle("at 09:05 list from the hut", now=shop.tick())
    assert counter.prompt == "OUT · paper Sun 27 Dec 09:05 > "
    counter.handle("P-1", now=shop.tick())
    entry = shop.ledger.connection.execute(
        "SELECT stated_at_utc, recorded_at_utc FROM entries ORDER BY seq DESC LIMIT 1"
    ).fetchone()
    assert entry[0] == "2026-12-27T08:05:00.000Z"
    assert entry[1] > entry[0]
    note = shop.ledger.connection.execute("SELECT text FROM notes ORDER BY seq DESC LIMIT 1").fetchone()
    assert note[0] == "from a paper list: list from the hut"
    counter.handle("at now", now=shop.tick())
    assert counter.prompt == "OUT > "


def test_a_paper_list_of_the_hour_that_is_there_twice_says_which(shop: Shop, counter: Counter) -> None:
    """The second 02:30 of 25 October 2026 is an hour after the first: a return is not counted as earlier."""
    now = datetime(2026, 10, 25, 8, tzinfo=UTC)
    asked = counter.handle("at 02:30", now=now)
    assert asked.refused
    assert "2026-10-25T02:30+02:00 or 2026-10-25T02:30+01:00" in asked.text
    assert counter.paper_time is None
    counter.handle("at 2026-10-25T02:30+01:00", now=now)
    assert counter.paper_time == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


@pytest.mark.parametrize("line", ["at yesterday", "at 23:59", "K-999", "hold P-1", "undo P-2", "at 25:00"])
def test_nonsense_is_a_refusal_and_enters_nothing(shop: Shop, counter: Counter, line: str) -> None:
    before = shop.ledger.head
    assert counter.handle(line, now=shop.tick()).refused
    assert shop.ledger.head == before


def test_an_empty_line_does_nothing(shop: Shop, counter: Counter) -> None:
    assert counter.handle("\n", now=shop.tick()).text == ""


def _scan(path: Path, tags: list[str], start: datetime, seconds: float, queue: Queue[int]) -> None:
    """One counter: every pair out, back, looked at, over and over; counts what was not refused."""
    done, began = 0, time.monotonic()
    with Ledger.open(path) as ledger:
        while time.monotonic() - began < seconds:
            for tag in tags:
                for act in ("out", "back", "look"):
                    shop = Shop(ledger, now=start + timedelta(seconds=time.monotonic() - began))
                    try:
                        getattr(shop, act)(tag)
                    except MountbookError:
                        continue
                    done += 1
    queue.put(done)


def _six_at_once(path: Path, *, start: datetime, seconds: float) -> tuple[int, int]:
    """Six processes on one ledger; returns the scans they say they made and the entries there are."""
    with Ledger.open(path) as ledger:
        before = ledger.head.seq
    context = multiprocessing.get_context("spawn")
    queue: Queue[int] = context.Queue()
    pairs = [["P-1", "P-2"], ["P-2", "P-1"], ["P-3", "P-4"], ["P-4", "P-3"], ["T-1", "P-1"], ["P-1", "T-1"]]
    workers = [context.Process(target=_scan, args=(path, tags, start, seconds, queue)) for tags in pairs]
    for worker in workers:
        worker.start()
    said = sum(queue.get(timeout=300) for _ in workers)
    for worker in workers:
        worker.join(timeout=60)
    with Ledger.open(path) as ledger:
        return said, ledger.head.seq - before


@pytest.mark.long
def test_six_counters_at_once_lose_and_double_nothing(furnished: tuple[Path, Shop], tmp_path: Path) -> None:
    """Every scan that was not refused is one entry, and each pair went out only from a look."""
    path = tmp_path / "shop.db"
    shutil.copyfile(furnished[0], path)
    with Ledger.open(path) as ledger:
        before = ledger.head.seq
    said, entered = _six_at_once(path, start=furnished[1].now, seconds=60)
    assert said == entered > 200
    with Ledger.open(path) as ledger:
        for tag in ("P-1", "P-2", "P-3", "P-4", "T-1"):
            turns = [
                row[0]
                for row in ledger.connection.execute(
                    "SELECT what FROM entries WHERE json_extract(body, '$.tag') = ? AND seq > ? ORDER BY seq",
                    (tag, before),
                )
            ]
            steps = set(itertools.pairwise(["pair looked at", *turns]))
            assert {step for step in steps if step[1] == "pair out"} == {("pair looked at", "pair out")}
            assert (shop_place(ledger, tag) is Place.OUT) == (turns[-1] == "pair out")


def shop_place(ledger: Ledger, tag: str) -> Place:
    return Shop(ledger).place(tag)


@pytest.mark.parametrize("width", [78, 118])
def test_a_long_refusal_breaks_between_words(width: int) -> None:
    from planner.cli.session import folded

    line = "REFUSED  K-003 cannot go out: it came back and nobody has passed it since  INSTEAD: K-019, K-022"
    rows = folded(line, width)
    assert all(len(row) <= width for row in rows)
    assert " ".join(" ".join(rows).split()) == " ".join(line.split())


MIXED = "REFUSED  P-1 A and P-2 B are of two pairs: mixed  (find the other ski of each; nothing was entered)"
BY_SKI: dict[str, tuple[tuple[str, ...], list[str]]] = {
    "both skis of a pair go out": (
        ("out", "P-1 A", "P-1 B"),
        ["P-1 A  seen, now ski B", "P-1  OUT  fit not checked"],
    ),
    "in either order": (("out", "P-1 B", "P-1 A"), ["P-1 B  seen, now ski A", "P-1  OUT  fit not checked"]),
    "with their boot first": (
        ("out", "B-305", "P-1 A", "P-1 B"),
        ["B-305  boot, now its pair", "P-1 A  seen, now ski B", "P-1  OUT  boot B-305 fits"],
    ),
    "one ski twice is one ski": (
        ("out", "P-1 A", "P-1 A", "P-1 B"),
        ["P-1 A  seen, now ski B", "P-1 A  seen, now ski B", "P-1  OUT  fit not checked"],
    ),
    "two pairs mixed": (("out", "P-1 A", "P-2 B"), ["P-1 A  seen, now ski B", MIXED]),
    "two pairs mixed, coming back": (
        ("back", "P-3 A", "P-3 B", "P-1 A", "P-2 B"),
        [
            "P-3 A  seen, now ski B",
            "P-3  BACK  to the recheck rack (it was never scanned out: the ledger had it ready)",
            "P-1 A  seen, now ski B",
            MIXED,
        ],
    ),
    "a boot between two skis": (
        ("out", "P-1 A", "B-305"),
        [
            "P-1 A  seen, now ski B",
            "REFUSED  one ski of P-1 was scanned, and not the other  (scan both skis, then the boot)",
        ],
    ),
    "the pair's own tag is both skis": (
        ("out", "P-1 A", "P-2"),
        ["P-1 A  seen, now ski B", f"P-2  {WAITS}; P-1 waited for its boot and stays in"],
    ),
    "a renter's words are no ski": (
        ("back", "P-1 a bit loose"),
        ["P-1  BACK  to the recheck rack (it was never scanned out: the ledger had it ready)"],
    ),
    "a tag that is none": (
        ("out", "P-9 A"),
        ["REFUSED  there is no pair P-9 in the ledger  (did you mean P-4?)"],
    ),
}


@pytest.mark.parametrize("name", BY_SKI)
def test_skis_scanned_by_their_own_codes(shop: Shop, counter: Counter, name: str) -> None:
    lines, wanted = BY_SKI[name]
    assert said(counter, shop, *lines)[1:] == wanted


def test_the_code_of_a_ski_is_its_pair_for_every_command(shop: Shop) -> None:
    assert known_tag(shop.ledger.connection, "p-1 B") == "P-1"
    assert known_tag(shop.ledger.connection, "P-1 C") == "P-1 C"
