"""The shop's sampling rule: sizes, limits, schedule, and a draw that can be repeated."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given, settings, strategies as st

from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.facts.kinds import Kind
from fleet.facts.policy import default_policy
from fleet.ledger.people import set_policy
from fleet.rules.sampling.record import (
    close_sample,
    draw,
    draw_halves,
    draw_sample,
    newest_sample,
    not_operating,
    record_result,
    schedule,
)
from fleet.rules.sampling.rule import (
    DeviationClass,
    class_1_allowed,
    next_sample,
    operating_days_until_next,
    outcome,
    sample_kinds,
    sample_size,
)
from fleet.tables.snapshot import read_policy
from tests.counter.shop import IDA, NELL, WIM, Shop

POLICY = default_policy()


@pytest.mark.parametrize(
    ("pairs", "reading", "size", "allowed", "derived"),
    [
        # 640 pairs: 5 % are 32 pairs or 64 skis (a binding maker's manual, excerpts); default the larger.
        (640, "pairs", 32, 6, True),
        (640, "skis", 64, 12, True),
        (640, "larger", 64, 12, True),
        (100, "pairs", 16, 3, False),
        (332, "pairs", 17, 3, True),  # 16.6 of 332: a part of a unit is a whole one
        (320, "pairs", 16, 3, False),
        (321, "pairs", 17, 3, True),
        (400, "pairs", 20, 4, False),
        (5000, "pairs", 80, 12, True),
        (10, "pairs", 10, 0, True),
        (10, "skis", 16, 3, False),
    ],
)
def test_five_percent_at_least_16_at_most_80(
    pairs: int, reading: str, size: int, allowed: int, derived: bool
) -> None:
    got = sample_size(pairs, POLICY.with_values(sample_reading=reading))
    assert (got.size, got.allowed, got.derived) == (size, allowed, derived)


@pytest.mark.parametrize(("pairs", "size"), [(99, 99), (100, 100), (101, 100), (5000, 100)])
def test_a_least_above_the_most_is_kept(pairs: int, size: int) -> None:
    """The shop said at least 100, and 80 were drawn."""
    rules = POLICY.with_values(sample_reading="pairs", sample_min="100", sample_max="80")
    assert sample_size(pairs, rules).size == size


@pytest.mark.parametrize(
    ("size", "limit", "derived"),
    [
        (15, 0, True),
        (16, 3, False),
        (17, 3, True),
        (20, 4, False),
        (30, 6, False),
        (40, 8, False),
        (50, 10, False),
        (60, 12, False),
        (80, 12, True),
    ],
)
def test_a_size_without_a_printed_limit_takes_the_next_smaller_ones(
    size: int, limit: int, derived: bool
) -> None:
    assert class_1_allowed(size) == (limit, derived)


ONE, TWO, THREE, NONE = (DeviationClass(word) for word in ("I", "II", "III", "in order"))


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ([NONE] * 16, "PASS"),
        ([NONE] * 13 + [ONE] * 3, "PASS"),
        ([NONE] * 12 + [ONE] * 4, "FAIL"),
        ([NONE] * 15 + [TWO], "FAIL"),
        ([TWO], "FAIL"),
        ([THREE], "FAIL"),
        ([NONE] * 15, None),
    ],
)
def test_pass_or_fail(found: list[DeviationClass], said: str | None) -> None:
    assert outcome(found, size=16, allowed=3) == said


@pytest.mark.parametrize(
    ("outcomes", "days"),
    [
        ((), 7),
        (("PASS",), 7),
        (("PASS", "PASS"), 14),
        (("PASS", "PASS", "PASS"), 14),
        (("PASS", "PASS", "FAIL"), 1),
        (("FAIL", "PASS"), 1),
        (("FAIL", "PASS", "PASS"), 7),
        (("FAIL", "PASS", "PASS", "PASS"), 7),
    ],
)
def test_when_the_next_sample_is_due(outcomes: tuple[str, ...], days: int) -> None:
    assert operating_days_until_next(outcomes, POLICY) == days


@pytest.mark.parametrize("start", [date(2026, 12, 28), date(2026, 7, 4)])
def test_storm_days_do_not_count_and_a_southern_winter_is_a_season(start: date) -> None:
    """Nine calendar days with two storm days are seven operating days; last year does not count."""
    last_year = [start - timedelta(days=300 - n) for n in range(20)]
    days = [start + timedelta(days=n) for n in range(9) if n not in (3, 4)]
    samples = [(last_year[-1], "FAIL")]
    due = next_sample(last_year + days, samples, policy=POLICY)
    assert (due.after_days, due.days_so_far, due.due) == (7, 7, True)
    assert not next_sample(last_year + days[:-1], samples, policy=POLICY).due


def test_the_same_seed_draws_the_same_units_whatever_their_order() -> None:
    units = [f"K-{n:03d}" for n in range(200)]
    assert draw(units, seed="s", size=20) == draw(reversed(units), seed="s", size=20)
    assert draw(units, seed="s", size=20) != draw(units, seed="t", size=20)


def test_every_unit_is_drawn_about_equally_often() -> None:
    """Not from beside the door: 4,000 seeds, 20 of 100; each expected 800 times, five sigma are 127."""
    units = [f"K-{n:03d}" for n in range(100)]
    counts = dict.fromkeys(units, 0)
    for seed in range(4000):
        for unit in draw(units, seed=str(seed), size=20):
            counts[unit] += 1
    assert all(abs(count - 800) < 127 for count in counts.values())


@given(back=st.integers(0, 60), rack=st.integers(0, 60), size=st.integers(0, 80))
@settings(max_examples=150, deadline=None)
def test_half_comes_from_the_returns_unless_one_half_is_short(back: int, rack: int, size: int) -> None:
    returned = [f"B{n}" for n in range(back)]
    stands = [f"R{n}" for n in range(rack)]
    a, b = draw_halves(returned, stands, seed="x", size=size)
    assert len(a) + len(b) == min(size, back + rack)
    assert len(set(a) | set(b)) == len(a) + len(b)
    if back >= size - size // 2 and rack >= size // 2:
        assert (len(a), len(b)) == (size - size // 2, size // 2)


def _fill(shop: Shop, pairs: int) -> list[str]:
    tags = [f"Q-{n:02d}" for n in range(pairs)]
    for tag in tags:
        shop.pair(tag)
        shop.ready(tag)
    return tags


def test_a_sample_from_draw_to_close(shop: Shop) -> None:
    """Ten alpine pairs read as skis: 16 single skis; a class II is held at once and fails the sample."""
    _fill(shop, 6)
    shop.out("Q-00", "Q-01")
    shop.back("Q-00", "Q-01")
    with shop.desk(IDA) as desk:
        sample = draw_sample(desk, seed="2026-12-27/abc")
    assert (sample.drawn.size, sample.drawn.lot) == (16, 20)
    assert set(sample.drawn.from_returns) == {"Q-00 A", "Q-00 B", "Q-01 A", "Q-01 B"}
    bad = sample.drawn.from_rack[0]
    for unit in sample.units:
        with shop.desk(IDA) as desk:
            record_result(desk, unit, TWO if unit == bad else NONE, device="bench device 1")
    assert shop.place(bad[:-2]).value == "hold"
    with shop.desk(IDA) as desk:
        closed = close_sample(desk)
    assert closed.closed == "FAIL"
    assert schedule(shop.ledger.connection).after_days == 1


def test_touring_and_telemark_pairs_are_neither_counted_nor_drawn(shop: Shop) -> None:
    """ISO 13993 and ASTM F1064 do not cover touring systems [published scopes]."""
    shop.pair("U-1", kind="touring")
    shop.pair("J-1", kind="junior")
    shop.ready("U-1", "J-1")
    for tag in ("T-1", "U-1", "P-1"):
        shop.out(tag)
        shop.back(tag)
    with shop.desk(IDA) as desk:
        sample = draw_sample(desk, seed="s")
    drawn = {unit.rsplit(" ", 1)[0] for unit in sample.units}
    assert (sample.drawn.lot, sample.drawn.size) == (10, 10)  # P-1 to P-4 and J-1, read as skis
    assert drawn == {"P-1", "P-2", "P-3", "P-4", "J-1"}
    assert set(sample.drawn.from_returns) == {"P-1 A", "P-1 B"}


def test_the_kinds_of_the_sample_are_the_shops_setting(shop: Shop) -> None:
    for words in ("alpine,  Telemark", "telemark"):
        with shop.desk(WIM) as desk:
            set_policy(desk, "sample_kinds", words, origin="our own reading")
            kinds = sample_kinds(read_policy(desk.connection))
        assert (Kind.TELEMARK in kinds, Kind.ALPINE in kinds) == (True, "alpine" in words)
    with shop.desk(IDA) as desk:
        assert draw_sample(desk, seed="s").drawn.from_rack[0].startswith("T-1")


@pytest.mark.parametrize("words", ["", "alpin", "alpine; touring"])
def test_a_kind_that_is_none_is_refused_before_anything_is_drawn(shop: Shop, words: str) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "sample_kinds", words, origin="a slip")
    before = shop.dump()
    with pytest.raises(BadInput, match="sample_kinds"), shop.desk(IDA) as desk:
        draw_sample(desk, seed="s")
    assert shop.dump() == before


def test_a_sample_is_not_closed_before_every_unit_is_tested(shop: Shop) -> None:
    _fill(shop, 4)
    with shop.desk(IDA) as desk:
        sample = draw_sample(desk, seed="s")
    with shop.desk(IDA) as desk:
        record_result(desk, sample.units[0], NONE, device="bench device 1")
    with pytest.raises(Refused, match="units have no result"), shop.desk(IDA) as desk:
        close_sample(desk)
    with pytest.raises(Refused, match="is still open"), shop.desk(IDA) as desk:
        draw_sample(desk, seed="t")
    for unit, device, by in itertools.chain(
        [(sample.units[0], "device", IDA), ("Z-9", "device", IDA), (sample.units[1], " ", IDA)],
        [(sample.units[1], "device", NELL)],
    ):
        with pytest.raises(MountbookError), shop.desk(by) as desk:
            record_result(desk, unit, NONE, device=device)


def test_an_operating_day_is_a_day_something_moved_and_no_storm_day(shop: Shop) -> None:
    connection = shop.ledger.connection
    assert schedule(connection).days_so_far == 0
    shop.out("P-1")
    shop.back("P-1")
    assert schedule(connection).days_so_far == 1
    with shop.desk(IDA) as desk:
        not_operating(desk, shop.today, why="tows closed from ten")
    assert schedule(connection).days_so_far == 0
    assert newest_sample(connection) is None
    head = shop.ledger.head.seq
    with pytest.raises(BadInput, match="has not come yet"), shop.desk(IDA) as desk:
        not_operating(
            desk, shop.today + timedelta(days=1), why="a scan of that day would count it all the same"
        )
    assert shop.ledger.head.seq == head
