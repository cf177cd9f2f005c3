"""What stops a pair, and who ends it: the cause decides. Typed as a person types it.

The staff of the shop: Ida is head technician, Jory and Sanne technicians, Wim manager, Nell at the counter,
until 31 May 2027; Old Timer's signature ran out on 26 December 2026, the day before.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import BadInput, Refused, in_words
from fleet.checks.findings import AuditSeverity
from fleet.events.movement import BindingSet
from fleet.facts.carried import carried_body
from fleet.facts.fault_causes import Road, fault_causes, proposed_cause
from fleet.facts.standing import Place
from fleet.ledger.people import set_policy
from fleet.rules.clearance import next_step
from fleet.rules.holds import clear, end_repair, hold
from fleet.rules.looks import Found
from fleet.rules.renaming import rename
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, WIM, Shop

# the words of a reason

SAY_NOTHING = ("", " ", "-", "...", "ok", "OK", "x", "xx", "xxx", "1.5", "no", "?!", "a b c")
WORDS = ("dry", "öl am Rand", "réparé", "新しいネジ", "ok, it sits", "ठीक है", "K-031 heel")


@pytest.mark.parametrize("text", SAY_NOTHING)
def test_a_blank_or_ok_is_no_reason(text: str) -> None:
    with pytest.raises(BadInput):
        in_words(text, "what was done")


@pytest.mark.parametrize("text", WORDS)
def test_one_word_of_letters_is_a_reason_in_any_script(text: str) -> None:
    assert in_words(f" {text} ", "what was done") == text


# the words of a cause

SAID = {
    "the screw spins": "spinning screw",
    "Toe WOBBLES": "moved screw",
    "heel screw turned": "moved screw",
    "lost a screw": "missing screw",
    "crack across the edge": "crack",
    "core looks wet": "wet core",
    "spins, and the core is soaked": "wet core",  # of two the one that asks for more
    "accident at the lift": "accident",
    "tag fell off": "other",
    "returned late": "other",  # a sign stands at the beginning of a word
    "edge bent": "other",
}


@pytest.mark.parametrize("text", SAID)
def test_a_cause_is_read_out_of_the_words_as_a_proposal(text: str) -> None:
    assert proposed_cause(text).cause == SAID[text]


def test_every_fault_that_a_look_can_find_is_a_cause_that_needs_a_second_person() -> None:
    of_look = {word: cause.road for cause in fault_causes().values() for word in cause.look}
    assert of_look == {found.value: Road.SECOND for found in Found if found.is_fault}


# the roads, through the command line: held by whom and for what, then who types what, and the outcome

LOOK, CLEAR, DONE = "look", "clear", "repair"
SITS = ("--why", "it sits, the driver slipped")
ROADS: dict[str, tuple[str, str, Sequence[tuple[str, str, bool]], str]] = {
    "a spinning screw, cleared by its finder": ("screw spins", JORY, ((CLEAR, JORY, False),), "hold"),
    "a spinning screw, cleared by another": ("screw spins", JORY, ((CLEAR, SANNE, True),), "back"),
    "a spinning screw, cleared by another who then passes it": (
        "screw spins", JORY, ((CLEAR, SANNE, True), (LOOK, SANNE, False)), "back",
    ),
    "a spinning screw, cleared by another, passed by its finder": (
        "screw spins", JORY, ((CLEAR, SANNE, True), (LOOK, JORY, True)), "ready",
    ),
    "a spinning screw, repaired by its finder, passed by him": (
        "screw spins", JORY, ((DONE, JORY, True), (LOOK, JORY, False)), "second check",
    ),
    "a spinning screw, repaired by its finder, passed by another": (
        "screw spins", JORY, ((DONE, JORY, True), (LOOK, SANNE, True)), "ready",
    ),
    "a spinning screw, found at the counter, cleared at the counter": (
        "screw spins", NELL, ((CLEAR, NELL, False), (DONE, NELL, False)), "hold",
    ),
    "a spinning screw, by one whose signature ran out": ("screw spins", JORY, ((CLEAR, OLD, False),), "hold"),
    "a crack, repaired: the stop stays": ("crack in the heel", JORY, ((DONE, JORY, True),), "hold"),
    "a crack, ended by technician and manager": (
        "crack in the heel", JORY, ((CLEAR, SANNE, False), (CLEAR, WIM, False)), "hold",
    ),
    "a crack, ended by the head technician, who found it": (
        "crack in the heel", IDA, ((CLEAR, IDA, True), (LOOK, SANNE, True)), "ready",
    ),
    "an accident": ("accident on run 4", NELL, ((CLEAR, IDA, False), (CLEAR, WIM, True)), "back"),
    "a lost tag, cleared by who held it": ("tag fell off", JORY, ((CLEAR, JORY, True),), "ready"),
    "a lost tag, cleared at the counter": ("tag fell off", JORY, ((CLEAR, NELL, False),), "hold"),
}  # fmt: skip


def types(command: Command, step: str, by: str) -> int:
    words = {
        LOOK: ("recheck", "record", "P-1", "--all", "not-moved"),
        CLEAR: ("clear", "P-1", *SITS),
        DONE: ("repair", "done", "P-1", "--did", "heel screw set anew"),
    }[step]
    return command(*words, "--by", by).returncode


@pytest.mark.parametrize("name", ROADS)
def test_each_cause_ends_by_its_own_road(command: Command, name: str) -> None:
    why, finder, steps, place = ROADS[name]
    assert command("hold", "P-1", "--why", why, "--by", finder).returncode == 0
    for step, by, allowed in steps:
        assert (types(command, step, by) == 0) is allowed, f"{step} by {by}"
    assert f"place: {place}" in command("ski", "P-1").stdout or place in command("ski", "P-1").stdout


def test_the_hold_says_its_cause_where_it_read_it_and_what_ends_it(command: Command) -> None:
    said = command("hold", "P-1", "--why", "screw spins", "--by", JORY).stdout
    assert "cause: spinning screw, read out of these words" in said
    assert "somebody else than Jory Malkin" in said
    said = command("hold", "P-2", "--why", "screw spins", "--cause", "other", "--by", JORY).stdout
    assert "cause" not in said
    assert command("clear", "P-2", "--by", JORY).returncode == 0
    unknown = command("hold", "P-2", "--why", "screw spins", "--cause", "fog", "--json")
    assert unknown.returncode == 1


def test_an_accident_typed_as_a_hold_is_a_quarantine(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        done = hold(desk, "P-1", why="accident on run 4")
    assert (done.place, "QUARANTINE, touch nothing" in done.words) == (Place.QUARANTINE, True)


def test_a_later_hold_for_something_small_does_not_open_the_shorter_road(shop: Shop) -> None:
    with shop.desk(JORY) as desk:
        hold(desk, "P-1", why="screw spins")
    with shop.desk(JORY) as desk:
        hold(desk, "P-1", why="tag fell off")
    with shop.desk(JORY) as desk, pytest.raises(Refused, match="found the moved screw"):
        clear(desk, "P-1", why="tag is on again")


def test_the_next_step_follows_the_cause(shop: Shop) -> None:
    for why, words in (
        ("tag fell off", "a listed person lifts the hold"),
        ("screw spins", "somebody else than Jory Malkin"),
        ("crack", "a head technician ends the stop, never who caused it"),
    ):
        with shop.desk(JORY) as desk:
            hold(desk, "P-1", why=why)
        assert words in next_step(shop.standing("P-1"), open_order=None)


# a hole below the rule: the head technician, never who caused it


def bench_order(shop: Shop, by: str) -> None:
    """An order that somebody ended with a hole outside the rule; its body as the bench enters it."""
    shop.enter(
        "order issued",
        {
            "number": "WO-1", "revision": "A", "tag": "P-1", "boot": "B-305", "way": "all new", "minutes": 9,
            "giver": None, "set": {}, "plan_hash": "x", "needed_by": None, "pair_state": "x",
            "giver_state": None,
        },
    )  # fmt: skip
    shop.enter(
        "order done",
        {
            "number": "WO-1", "revision": "A", "tag": "P-1", "new_holes": [], "changed_holes": [],
            "mount_removed_on": None, "mount": None, "bindings": [], "giver": None, "glued_with": [],
            "jig": "", "hold": "", "stop": "hole P-1/A9 is 4 mm from P-1/A1, the rule asks for 10 mm",
        },
        by=by,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("caused_by", "ended_by", "allowed"),
    [(JORY, IDA, True), (JORY, SANNE, False), (JORY, WIM, False), (IDA, IDA, False), (IDA, WIM, True)],
)
def test_a_hole_below_the_rule_is_ended_by_the_head_technician_and_never_by_who_caused_it(
    shop: Shop, caused_by: str, ended_by: str, allowed: bool
) -> None:
    """Where the only head technician in date caused it the manager ends it, or two could not go on."""
    bench_order(shop, caused_by)
    assert shop.place("P-1") is Place.HOLD
    with shop.desk(ended_by) as desk:
        if allowed:
            clear(desk, "P-1", why="near enough for a child's ski")
        else:
            with pytest.raises(Refused):
                clear(desk, "P-1", why="near enough for a child's ski")
    assert (shop.place("P-1") is not Place.HOLD) is allowed


def test_who_caused_it_does_not_end_it_after_the_pair_has_another_tag(shop: Shop) -> None:
    bench_order(shop, IDA)
    with shop.desk(WIM) as desk:
        rename(desk, "P-1", "N-1", why="the label was lost")
    with shop.desk(IDA) as desk, pytest.raises(Refused) as refused:
        clear(desk, "N-1", why="near enough for a child's ski")
    assert refused.value.sentence == f"{IDA} caused what stopped N-1: another head technician ends that"
    assert refused.value.cure == "where no other is listed in date, the manager does"
    with shop.desk(WIM) as desk:
        clear(desk, "N-1", why="near enough for a child's ski")
    assert shop.place("N-1") is not Place.HOLD


# two listed people suffice


def two(path: Path, *people: tuple[str, str]) -> Shop:
    shop = Shop.new(path)
    shop.furnish()
    for name in (IDA, JORY, SANNE, WIM, NELL, OLD):
        role = dict(people).get(name, "counter")
        until = "2027-05-31" if name in dict(people) else "2026-12-26"
        shop.enter("staff listed", {"name": name, "role": role, "valid_until": until})
    return shop


ORDERS = [(a, b) for a in (0, 1) for b in (0, 1)]


@pytest.mark.parametrize("roles", [("head technician", "technician"), ("manager", "head technician")])
@pytest.mark.parametrize(("first", "second"), ORDERS)
def test_two_listed_people_get_every_pair_out_again(
    tmp_path: Path, roles: tuple[str, str], first: int, second: int
) -> None:
    """Whoever worked on it before, one of the two passes it in the end, and never the one who worked last."""
    shop = two(tmp_path / "two.db", (IDA, roles[0]), (JORY, roles[1]))
    names = (IDA, JORY)
    for worker in (names[first], names[second]):
        with shop.desk(NELL) as desk:
            hold(desk, "P-1", why="screw spins")
        with shop.desk(worker) as desk:
            end_repair(desk, "P-1", did="screw set anew")
    last, other = names[second], names[1 - second]
    with pytest.raises(Refused, match=f"{last} did the work"):
        shop.look("P-1", by=last)
    assert shop.look("P-1", by=other).place is Place.READY
    assert asked(shop) == []
    shop.enter("pair looked at", PASSED, by=last)  # past the door, and no work since: nothing to ask
    assert asked(shop) == []


def test_whose_hand_was_the_newest_is_known_after_the_pair_has_another_tag(tmp_path: Path) -> None:
    shop = two(tmp_path / "two.db", (IDA, "head technician"), (JORY, "technician"))
    for worker in (JORY, IDA):
        with shop.desk(NELL) as desk:
            hold(desk, "P-1", why="screw spins")
        with shop.desk(worker) as desk:
            end_repair(desk, "P-1", did="screw set anew")
    with shop.desk(IDA) as desk:
        rename(desk, "P-1", "N-1", why="the label was lost")
    with pytest.raises(Refused, match=f"{IDA} did the work"):
        shop.look("N-1", by=IDA)
    assert shop.look("N-1", by=JORY).place is Place.READY


def test_where_another_record_knows_whose_hand_was_newest_neither_of_two_passes_it(tmp_path: Path) -> None:
    """Carried over from a replaced file, whoever entered that: a third person looks."""
    shop = two(tmp_path / "two.db", (IDA, "head technician"), (JORY, "technician"))
    for worker in (JORY, IDA):
        repaired(shop, worker, moved=True)
    shop.enter("pair carried over", carried_body("P-1", (), source="the lost file"), by=JORY)
    for name in (IDA, JORY):
        with pytest.raises(Refused, match=f"{name} did the work"):
            shop.look("P-1", by=name)


def test_what_one_of_two_passes_past_the_door_after_the_newest_work_is_asked(tmp_path: Path) -> None:
    shop = two(tmp_path / "two.db", (IDA, "manager"), (JORY, "technician"))
    for worker in (JORY, IDA):
        repaired(shop, worker, moved=True)
    shop.enter("pair looked at", PASSED, by=IDA)
    assert asked(shop) == ["passed by the repairer"]


def test_with_a_third_person_there_none_of_the_workers_passes_it(shop: Shop) -> None:
    for worker in (IDA, JORY):
        with shop.desk(NELL) as desk:
            hold(desk, "P-1", why="screw spins")
        with shop.desk(worker) as desk:
            end_repair(desk, "P-1", did="screw set anew")
    for worker in (IDA, JORY):
        with pytest.raises(Refused, match=f"{worker} did the work"):
            shop.look("P-1", by=worker)
    assert shop.look("P-1", by=SANNE).place is Place.READY


PASSED = {
    "tag": "P-1",
    "kind": "second check",
    "found": {side: {"toe": "not moved", "heel": "not moved"} for side in "AB"},
    "moved": [],
    "outcome": "pass",
    "cause": "",
    "pattern": "Lark 4",
    "mount_entry": 1,
    "list": None,
    "list_of_another_day": False,
}


def asked(shop: Shop) -> list[str]:
    """What the audit asks about the file as it is now."""
    findings = audit_file(shop.ledger.path, now=shop.now).findings
    return [each.code for each in findings if each.severity is AuditSeverity.QUESTION]


# a shop that lists one


def alone(path: Path) -> Shop:
    return two(path, (IDA, "manager"))


def repaired(shop: Shop, by: str, *, moved: bool) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="screw spins" if moved else "brake bent")
    with shop.desk(by) as desk:
        end_repair(desk, "P-1", did="put right")


def test_one_alone_passes_own_work_only_by_the_dated_policy_and_only_where_no_screw_moved(
    tmp_path: Path,
) -> None:
    shop = alone(tmp_path / "one.db")
    repaired(shop, IDA, moved=False)
    before = shop.now
    with pytest.raises(Refused, match="did the work"):
        shop.look("P-1", by=IDA)
    with shop.desk(IDA) as desk:
        set_policy(desk, "one_person_passes", "yes", origin="we are one person, till the season begins")
    with pytest.raises(Refused):
        shop.look("P-1", by=IDA, at=before - timedelta(days=1))
    assert shop.look("P-1", by=IDA).place is Place.READY
    assert asked(shop) == []
    repaired(shop, IDA, moved=True)
    with pytest.raises(Refused, match="did the work"):
        shop.look("P-1", by=IDA)
    shop.enter("pair looked at", PASSED, by=IDA)
    assert asked(shop) == ["passed by the repairer"]


def test_the_policy_of_one_ends_with_the_second_person(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "one_person_passes", "yes", origin="we were one")
    repaired(shop, IDA, moved=False)
    with pytest.raises(Refused, match="did the work"):
        shop.look("P-1", by=IDA)


# cures


def test_no_cure_names_one_whose_signature_ran_out(shop: Shop) -> None:
    with shop.desk(JORY) as desk:
        hold(desk, "P-1", why="screw spins")
    for by in ("Stranger", NELL, OLD, JORY):
        with shop.desk(by) as desk, pytest.raises(Refused) as refused:
            clear(desk, "P-1", why="it sits again")
        assert OLD not in refused.value.cure


def test_a_set_binding_is_no_work_that_bars(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        desk.enter(BindingSet(tag="P-1", bsl_um=305_000, boot=None))
    assert shop.look("P-1", by=IDA).place is Place.READY
