"""Any sequence of moves, by anybody, at any stated time, against a model of a few lines.

The model knows what no ledger sees: at which sole length a binding *really* stands, because hands may have
set it whenever nobody said what they did.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings, strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from fleet.base.entries import utc_text
from fleet.base.errors import MountbookError
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.rules import holds
from fleet.rules.counter import move, undo
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, WIM, Shop
from tests.counter.test_impossible import order_body

TAGS = st.sampled_from(["P-1", "P-2"])
PEOPLE = st.sampled_from([IDA, JORY, WIM, IDA, JORY, WIM, NELL, OLD, "A Stranger"])
EARLIER = st.sampled_from([0, 1, 3, 10, 60])
SIGNERS = (IDA, JORY, SANNE, WIM)
BOOTS = {"B-305": 305_000, "B-310": 310_000}
HANDS = st.sampled_from(list(BOOTS.values()))
"""What the binding stands at after something that nobody wrote down."""


@dataclass
class Model:
    """What one pair went through, and from that alone whether it may go out."""

    events: list[tuple[int, str, str]] = field(default_factory=list)  # (entry, stated time, what)
    away: str = ""
    stops: set[str] = field(default_factory=set)
    workers: set[str] = field(default_factory=set)
    finders: set[str] = field(default_factory=set)  # of a moved screw, while its hold lasts
    clearers: set[str] = field(default_factory=set)  # of such a hold, until the next pass
    stands: int | None = 305_000  # at what the ledger says that the bindings stand
    really: int = 305_000  # at what they stand
    boot: str | None = None  # with which it went out last
    set_by_out: bool = False  # whether that out said that the binding had just been set

    def may_go(self, at: str) -> bool:
        passes = [event for event in self.events if event[2] == "pass"]
        if self.away or self.stops or not passes:
            return False
        entry, time, _ = passes[-1]
        others = [event for event in self.events if event[2] != "pass"]
        return time <= at and all(entry > other[0] and time > other[1] for other in others)


class AnySequence(RuleBasedStateMachine):
    """Rules do; invariants compare the ledger with the model."""

    template: Path
    start: datetime

    @initialize()
    def open(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        path = Path(self.folder.name) / "shop.db"
        shutil.copyfile(self.template, path)
        self.ledger = Ledger.open(path)
        self.shop = Shop(self.ledger, now=self.start)
        self.models = {tag: Model() for tag in ("P-1", "P-2")}
        for tag, model in self.models.items():
            standing = self.shop.standing(tag)
            model.events += [(*standing.work, "work"), (*standing.passed, "pass")]
        self.orders = 0

    def teardown(self) -> None:
        if hasattr(self, "ledger"):
            self.ledger.connection.close()
            self.folder.cleanup()

    def state(self) -> tuple[object, ...]:
        connection = self.ledger.connection
        return (self.ledger.head, *connection.execute("SELECT * FROM standing ORDER BY tag"))

    def attempt(self, action: Callable[[], object]) -> bool:
        """Whether it was done; a refusal leaves the ledger as it was."""
        before = self.state()
        try:
            action()
        except MountbookError:
            assert self.state() == before, "a refusal changed the ledger"
            return False
        assert self.ledger.head.seq > before[0].seq  # type: ignore[attr-defined]
        return True

    def at(self, earlier: int) -> datetime | None:
        return self.shop.now - timedelta(minutes=earlier) if earlier else None

    def note(self, tag: str, what: str, earlier: int) -> None:
        when = self.shop.now if not earlier else self.shop.now - timedelta(minutes=earlier + 1)
        self.models[tag].events.append((self.ledger.head.seq, utc_text(when), what))

    @rule(tag=TAGS, earlier=EARLIER, hands=HANDS)
    def out(self, tag: str, earlier: int, hands: int) -> None:
        model = self.models[tag]
        at = self.at(earlier)
        when = utc_text(at or self.shop.now + timedelta(minutes=1))
        expected = model.may_go(when)
        assert self.attempt(lambda: self.shop.out(tag, at=at)) == expected
        if expected:
            model.away, model.boot, model.set_by_out = "out", None, False
            model.stands, model.really = None, hands

    @rule(tag=TAGS, boot=st.sampled_from(list(BOOTS)), by=PEOPLE, set_now=st.booleans(), earlier=EARLIER)
    def out_with_a_boot(self, tag: str, boot: str, by: str, set_now: bool, earlier: int) -> None:
        model, sole = self.models[tag], BOOTS[boot]
        at = self.at(earlier)
        when = utc_text(at or self.shop.now + timedelta(minutes=1))
        is_in = all(each.away != "out" or each.boot != boot for each in self.models.values())
        is_set = by in (*SIGNERS, NELL) if set_now else model.stands == sole
        expected = model.may_go(when) and is_in and is_set
        act = lambda: self.shop.out(tag, boot=boot, by=by, set_now=set_now, at=at)  # noqa: E731
        assert self.attempt(act) == expected
        if not expected:
            return
        if set_now:
            model.really = sole
        assert model.really == sole, "a binding that stands at another sole went out"
        model.away, model.boot, model.set_by_out, model.stands = "out", boot, set_now, sole

    @rule(tag=TAGS, earlier=EARLIER, hands=HANDS)
    def back(self, tag: str, earlier: int, hands: int) -> None:
        at = self.at(earlier)
        model = self.models[tag]
        if self.attempt(lambda: self.shop.back(tag, at=at)):
            if model.away != "out":  # it went out unseen, with whatever boot
                model.stands, model.really = None, hands
            model.away = ""
            self.note(tag, "return", earlier)

    @rule(
        tag=TAGS,
        by=PEOPLE,
        earlier=EARLIER,
        seen=st.sampled_from([(Side.A,), (Side.B,), tuple(Side), tuple(Side)]),
    )
    def look_and_find_nothing(self, tag: str, by: str, earlier: int, seen: tuple[Side, ...]) -> None:
        at = self.at(earlier)
        model = self.models[tag]
        if self.attempt(lambda: self.shop.look(tag, by=by, at=at, seen=seen)):
            assert by in SIGNERS
            assert len(seen) == 2
            assert by not in model.workers
            assert not model.away
            assert model.stops <= {"second check", "order"}
            assert by not in model.clearers
            model.stops.discard("second check")
            model.workers.clear()
            model.clearers.clear()
            self.note(tag, "pass", earlier)

    @rule(tag=TAGS, by=PEOPLE, earlier=EARLIER, piece=st.sampled_from(["A toe", "B heel"]))
    def look_and_leave_it_unfinished(self, tag: str, by: str, earlier: int, piece: str) -> None:
        at = self.at(earlier)
        model = self.models[tag]
        if self.attempt(lambda: self.shop.look(tag, by=by, at=at, found={piece: "could not reach"})):
            assert by in SIGNERS
            assert model.stops <= {"second check", "order"}
            self.note(tag, "unfinished", earlier)

    @rule(tag=TAGS, by=PEOPLE, earlier=EARLIER, word=st.sampled_from(["turned under an eighth", "spins"]))
    def look_and_find_movement(self, tag: str, by: str, earlier: int, word: str) -> None:
        at = self.at(earlier)
        if self.attempt(lambda: self.shop.look(tag, by=by, at=at, found={"B heel": word})):
            self.models[tag].stops.add("hold")
            self.models[tag].finders.add(by)
            self.note(tag, "fault", earlier)

    @rule(tag=TAGS, by=PEOPLE, why=st.sampled_from(["seen", "seen", "", "..."]))
    def clear(self, tag: str, by: str, why: str) -> None:
        quarantined = self.shop.place(tag) is Place.QUARANTINE
        model = self.models[tag]
        if self.attempt(self.action(by, lambda desk: holds.clear(desk, tag, why=why))):
            assert by in SIGNERS
            if quarantined:
                assert by == WIM
                assert why == "seen"
                model.stops.discard("quarantine")
            else:
                assert by not in model.workers
                if model.finders:
                    assert by not in model.finders
                    assert why == "seen"
                    model.clearers.add(by)
                model.finders.clear()
                model.stops.discard("hold")

    @rule(tag=TAGS, by=PEOPLE, hands=HANDS)
    def repair(self, tag: str, by: str, hands: int) -> None:
        if self.attempt(self.action(by, lambda desk: holds.end_repair(desk, tag, did="reset"))):
            model = self.models[tag]
            model.stands, model.really = None, hands
            model.stops.discard("hold")
            model.finders.clear()
            model.stops.add("second check")
            model.workers.add(by)
            self.note(tag, "work", 0)

    @rule(tag=TAGS, hands=HANDS)
    def change_a_binding(self, tag: str, hands: int) -> None:
        binding_id = f"{tag}/A"
        old = self.ledger.connection.execute(
            "SELECT serial_toe FROM binding WHERE binding_id = ?", (binding_id,)
        ).fetchone()[0]
        body = {"binding_id": binding_id, "changes": {"serial_toe": [old, f"{old}1"]}}
        if self.attempt(lambda: self.shop.enter("binding changed", body)):
            self.models[tag].stands, self.models[tag].really = None, hands
            self.note(tag, "work", 0)

    @rule(tag=TAGS, by=PEOPLE, what=st.sampled_from(["hold", "quarantine", "order", "missing", "in transit"]))
    def stop(self, tag: str, by: str, what: str) -> None:
        """All that takes a ready pair out of reach: one rule, so that it does not crowd out the rest."""
        model = self.models[tag]
        self.orders += 1
        body = order_body(tag) | {"number": f"WO-2612-{self.orders:04d}"}
        acts: dict[str, Callable[[], object]] = {
            "hold": self.action(by, lambda desk: holds.hold(desk, tag, why="seen")),
            "quarantine": self.action(by, lambda desk: holds.quarantine(desk, tag, why="fall")),
            "order": lambda: self.shop.enter("order issued", body),
            "missing": self.action(by, lambda desk: move(desk, tag, to="missing", reason="x")),
            "in transit": self.action(by, lambda desk: move(desk, tag, to="in transit", reason="x")),
        }
        if not self.attempt(acts[what]):
            return
        if what in ("missing", "in transit"):
            model.away = what
        else:
            model.stops.add(what)
        if what == "quarantine":
            self.note(tag, "fault", 0)

    def cancel_order(self, tag: str) -> None:
        row = self.ledger.connection.execute(
            "SELECT number FROM work_order WHERE tag = ? AND state = 'open'", (tag,)
        ).fetchone()
        if row is None:
            return
        body = {"number": row[0], "revision": "A", "why": "not in the new plan"}
        assert self.attempt(lambda: self.shop.enter("order cancelled", body))
        self.models[tag].stops.discard("order")

    @rule(tag=TAGS, hands=HANDS)
    def find(self, tag: str, hands: int) -> None:
        if self.attempt(self.action(WIM, lambda desk: move(desk, tag, to="shop", reason="x"))):
            self.models[tag].away = ""
            self.models[tag].stands, self.models[tag].really = None, hands
            self.note(tag, "return", 0)

    @rule(tag=TAGS, hands=HANDS)
    def undo(self, tag: str, hands: int) -> None:
        """The slip may have been the tag: another pair was set, and this one stands where it stood."""
        was = self.shop.place(tag)
        model = self.models[tag]
        if self.attempt(self.action(NELL, lambda desk: undo(desk, tag))):
            if was is Place.OUT:
                model.away = ""
                if model.set_by_out:
                    model.stands, model.really = None, hands
            else:
                last = max((event for event in model.events if event[2] == "return"), key=lambda e: e[0])
                model.events.remove(last)
                model.away = self.shop.place(tag).value if self.shop.place(tag) in _AWAY else ""

    @rule(tag=TAGS, hands=HANDS)
    def set_by_a_slip_and_undo(self, tag: str, hands: int) -> None:
        self.out_with_a_boot(tag, "B-310", NELL, True, 0)
        self.undo(tag, hands)

    @rule(tag=TAGS)
    def set_right(self, tag: str) -> None:
        """The ordinary way out of every stop, so that the sequences spend time among ready pairs."""
        model = self.models[tag]
        self.cancel_order(tag)
        if model.away:
            self.back(tag, earlier=0, hands=310_000)
        for by in (WIM, SANNE, IDA, JORY):
            self.clear(tag, by, "seen")
        for by in (SANNE, IDA, JORY):
            self.look_and_find_nothing(tag, by, 0, tuple(Side))

    @rule(tag=TAGS, repairer=PEOPLE, looker=PEOPLE)
    def repair_and_look(self, tag: str, repairer: str, looker: str) -> None:
        self.stop(tag, NELL, "hold")
        self.repair(tag, repairer, 310_000)
        self.look_and_find_nothing(tag, looker, 0, tuple(Side))

    @rule(tag=TAGS, first=EARLIER, second=EARLIER, looked=EARLIER)
    def enter_a_paper_evening(self, tag: str, first: int, second: int, looked: int) -> None:
        self.back(tag, first, 310_000)
        self.back(tag, second, 305_000)
        self.look_and_find_nothing(tag, IDA, looked, tuple(Side))

    @rule(tag=TAGS)
    def set_right_again(self, tag: str) -> None:
        self.set_right(tag)

    @rule(minutes=st.integers(0, 20))
    def wait(self, minutes: int) -> None:
        self.shop.tick(minutes=minutes)

    def action(self, by: str, act: Callable[..., object]) -> Callable[[], object]:
        def run() -> object:
            with self.shop.desk(by) as desk:
                return act(desk)

        return run

    @invariant()
    def what_may_go_is_what_the_model_says(self) -> None:
        if not hasattr(self, "shop"):
            return
        from fleet.rules.clearance import Door

        now = self.shop.now + timedelta(seconds=1)
        door = Door(self.ledger.connection, at=now, zone="Europe/Vienna")
        for tag, model in self.models.items():
            assert (not door.ask(tag).reasons) == model.may_go(utc_text(now)), door.ask(tag)
            assert self.shop.standing(tag).setting.bsl_um == model.stands

    @invariant()
    def the_place_follows_from_the_facts(self) -> None:
        if not hasattr(self, "shop"):
            return
        for tag, model in self.models.items():
            place = self.shop.place(tag)
            still_open = Model(events=model.events, away=model.away, stops=model.stops - {"order"})
            assert (place is Place.READY) == still_open.may_go("9999")
            assert (place.value == model.away) or not model.away


_AWAY = (Place.OUT, Place.MISSING, Place.IN_TRANSIT)


def _run(furnished: tuple[Path, Shop], *, examples: int, steps: int) -> None:
    from hypothesis.stateful import run_state_machine_as_test

    class Here(AnySequence):
        template = furnished[0]
        start = furnished[1].now

    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            derandomize=examples < 100,
            print_blob=True,
        ),
    )


def test_no_sequence_of_moves_reaches_an_impossible_state(furnished: tuple[Path, Shop]) -> None:
    _run(furnished, examples=20, steps=30)


@pytest.mark.long
def test_no_long_sequence_of_moves_reaches_an_impossible_state(furnished: tuple[Path, Shop]) -> None:
    _run(furnished, examples=400, steps=60)
