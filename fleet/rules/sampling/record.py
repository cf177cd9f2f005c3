"""Samples in the ledger: drawn at random as anybody can repeat, results entered, closed."""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from fleet.base.days import day_text, shop_day
from fleet.base.errors import BadInput, Refused, filled
from fleet.base.units import counted
from fleet.events.looks import DayNotCounted, SampleClosed, SampleDrawn, SampleResult
from fleet.facts.kinds import Kind
from fleet.facts.standing import read_standing
from fleet.facts.tags import known_tag, ski_code, ski_coded
from fleet.ledger.desk import Desk, signer
from fleet.rules.holds import hold, quarantine
from fleet.rules.sampling.rule import (
    DeviationClass,
    LotUnit,
    NextSample,
    next_sample,
    outcome,
    sample_kinds,
    sample_size,
)
from fleet.tables.connection import AMONG, among
from fleet.tables.snapshot import read_policy


def draw(units: Iterable[str], *, seed: str, size: int) -> tuple[str, ...]:
    """Return ``size`` different units. Each set is equally likely over seeds; every machine draws the same.

    Order by SHA-256 of ``seed`` and unit; the order in which the units come in does not matter.
    """
    ranks = {unit: hashlib.sha256(f"{seed}\n{unit}".encode()).digest() for unit in units}
    return tuple(sorted(ranks, key=lambda unit: (ranks[unit], unit))[:size])


def draw_halves(
    returned: Iterable[str], rack: Iterable[str], *, seed: str, size: int
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return a draw, half from today's returns, half from the rack. One half fills up what the other
    lacks.
    """
    back, stands = set(returned), set(rack) - set(returned)
    want_back = min(len(back), max(size - size // 2, size - len(stands)))
    from_back = draw(back, seed=f"{seed}/back", size=want_back)
    return from_back, draw(stands, seed=f"{seed}/rack", size=size - len(from_back))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One drawn sample. Units are tags, or ``TAG A`` where single skis are drawn."""

    entry: int
    drawn: SampleDrawn
    results: dict[str, DeviationClass]
    closed: str | None

    @property
    def units(self) -> tuple[str, ...]:
        """The units to test."""
        return (*self.drawn.from_returns, *self.drawn.from_rack)

    @property
    def open_units(self) -> tuple[str, ...]:
        """The units that have no result yet."""
        return tuple(unit for unit in self.units if unit not in self.results)

    @property
    def outcome(self) -> str | None:
        """The outcome: PASS, FAIL, or None while open."""
        return outcome(list(self.results.values()), size=self.drawn.size, allowed=self.drawn.allowed)

    @property
    def to_go(self) -> str:
        """The count of units without a result, in words."""
        return f"{counted(len(self.open_units), 'unit')} to go"

    def said(self) -> Iterator[str]:
        """The sample as lines."""
        derived = " (derived: no limit is printed for this size)" if self.drawn.derived else ""
        yield (
            f"sample {self.entry} of {day_text(self.drawn.day)}: {self.drawn.size} of {self.drawn.lot}"
            f" ({' and '.join(self.drawn.kinds or ()) or 'all kinds'}),"
            f" seed {self.drawn.seed}, class I allowed {self.drawn.allowed}{derived}, {self.closed or 'open'}"
        )
        yield f"  from today's returns: {', '.join(self.drawn.from_returns) or 'none'}"
        yield f"  from the rack: {', '.join(self.drawn.from_rack) or 'none'}"
        if self.results:
            yield f"  {counted(len(self.results), 'result')}, {self.to_go}"


def draw_sample(desk: Desk, *, seed: str) -> Sample:
    """Draw today's sample from the pairs in reach: today's returns and the rack. The seed is recorded."""
    connection = desk.connection
    open_one = newest_sample(connection)
    if open_one is not None and open_one.closed is None:
        raise Refused(f"sample {open_one.entry} is still open", cure="enter its results, then close it")
    policy = read_policy(connection)
    kinds = sample_kinds(policy)
    size = sample_size(_rental_pairs(connection, kinds), policy)
    sides = ("A", "B") if size.reading == LotUnit.SKIS else ("",)
    back: list[str] = []
    rack: list[str] = []
    for tag, place, returned_at in connection.execute(
        "SELECT tag, place, return_at FROM standing JOIN pair USING (tag) WHERE place IN ('back', 'ready')"
        f" AND kind {AMONG} ORDER BY tag",
        among(kinds),
    ):
        today = bool(returned_at) and shop_day(returned_at, desk.zone) == desk.day
        (back if place == "back" and today else rack).extend(f"{tag} {side}".strip() for side in sides)
    from_back, from_rack = draw_halves(back, rack, seed=seed, size=size.size)
    if len(from_back) + len(from_rack) < size.size:
        raise Refused(
            f"the rule asks for {size.size} {size.reading}, only {len(back) + len(rack)} are here",
            cure="draw the sample when more are back",
        )
    entry = desk.enter(
        SampleDrawn(
            day=desk.day,
            seed=seed,
            reading=size.reading,
            kinds=tuple(kind.value for kind in kinds),
            lot=size.lot,
            size=size.size,
            allowed=size.allowed,
            derived=size.derived,
            from_returns=tuple(from_back),
            from_rack=tuple(from_rack),
        )
    )
    return read_sample(connection, entry)


def _rental_pairs(connection: sqlite3.Connection, kinds: tuple[Kind, ...]) -> int:
    gone = "('retired', 'sold', 'flat', 'missing')"
    query = f"SELECT count(*) FROM standing JOIN pair USING (tag) WHERE place NOT IN {gone}"
    return int(connection.execute(f"{query} AND kind {AMONG}", among(kinds)).fetchone()[0])


def record_result(desk: Desk, unit: str, found: DeviationClass, *, device: str, remark: str = "") -> Sample:
    """Enter what a person found on one unit with that device. II is held at once, III is withdrawn.

    ``unit``: as it was drawn, or the code of its pair or of one of its skis as a scanner reads it.
    """
    sample = _open_sample(desk.connection)
    unit = _unit(desk.connection, sample, unit)
    if unit not in sample.units:
        raise Refused(f"{unit} is not in sample {sample.entry}", cure=f"open: {', '.join(sample.open_units)}")
    if unit in sample.results:
        raise Refused(f"{unit} has its result already: {sample.results[unit].value}", cure="check the tag")
    device = filled(device, "the device needs to be named", cure='add --device "name and number"')
    signer(desk.connection, desk.by, days=desk.signing_days, what="enter a test result")
    tag = unit.rsplit(" ", 1)[0] if unit[-2:] in (" A", " B") else unit
    result = SampleResult(sample=sample.entry, unit=unit, tag=tag, found=found.value, device=device)
    desk.enter(result, note=remark)
    place = read_standing(desk.connection, tag).place.value
    if found is DeviationClass.TWO and place not in ("hold", "quarantine"):
        hold(desk, tag, why=f"class II deviation in sample {sample.entry}: {unit}")
    if found is DeviationClass.THREE and place != "quarantine":
        quarantine(desk, tag, why=f"class III deviation in sample {sample.entry}: {unit}")
    return read_sample(desk.connection, sample.entry)


def _open_sample(connection: sqlite3.Connection) -> Sample:
    sample = newest_sample(connection)
    if sample is None or sample.closed is not None:
        raise Refused("no sample is open", cure="draw one: mountbook sample draw")
    return sample


def _unit(connection: sqlite3.Connection, sample: Sample, text: str) -> str:
    """Return the unit of the sample that a code means; the text as it is where none is meant."""
    tag, side = known_tag(connection, text.strip()), ski_coded(text)[1]
    meant = (text.strip(), ski_code(tag, side) if side else tag, tag)
    return next((unit for unit in meant if unit in sample.units), text)


def close_sample(desk: Desk) -> Sample:
    """Close the newest sample: every unit has its result; the outcome follows from the counts."""
    sample = _open_sample(desk.connection)
    if sample.open_units:
        raise Refused(
            f"{len(sample.open_units)} units have no result: {', '.join(sample.open_units[:12])}",
            cure="test them and enter what was found",
        )
    signer(desk.connection, desk.by, days=desk.signing_days, what="close a sample")
    desk.enter(SampleClosed(sample=sample.entry, outcome=str(sample.outcome)))
    return read_sample(desk.connection, sample.entry)


def not_operating(desk: Desk, day: date, *, why: str) -> None:
    """Enter a closed day. Its movements so far do not make it an operating day; a day to come is refused."""
    if day > desk.day:
        raise BadInput(f"{day_text(day)} has not come yet", cure="say it on that day, or after it")
    desk.enter(DayNotCounted(day=day), note=why)


def newest_sample(connection: sqlite3.Connection) -> Sample | None:
    """The newest sample, open or closed."""
    row = connection.execute("SELECT max(entry) FROM sample").fetchone()
    return read_sample(connection, row[0]) if row[0] is not None else None


def read_sample(connection: sqlite3.Connection, entry: int) -> Sample:
    """One sample with its results."""
    row = connection.execute("SELECT body, outcome FROM sample WHERE entry = ?", (entry,)).fetchone()
    if row is None:
        raise Refused(f"there is no sample {entry}", cure="see `mountbook sample status`")
    return Sample(
        entry=entry,
        drawn=SampleDrawn.read(json.loads(row[0])),
        results={
            unit: DeviationClass(found)
            for unit, found in connection.execute(
                "SELECT unit, found FROM sample_result WHERE sample = ? ORDER BY entry", (entry,)
            )
        },
        closed=row[1],
    )


def schedule(connection: sqlite3.Connection) -> NextSample:
    """Return the next sample and when it is due, from the days and outcomes in the ledger."""
    days = [
        date.fromisoformat(row[0]) for row in connection.execute("SELECT day FROM operating_day ORDER BY day")
    ]
    samples = [
        (date.fromisoformat(json.loads(row[0])["day"]), row[1])
        for row in connection.execute(
            "SELECT body, outcome FROM sample WHERE outcome IS NOT NULL ORDER BY entry"
        )
    ]
    return next_sample(days, samples, policy=read_policy(connection))
