"""The door as it reads the file: of which pair, which boot, which mount; and what it offers instead.

P-1 170 cm, P-2 172, P-3 175, P-4 176 and T-1 (telemark, 170) are passed; their bindings stand at 305 mm.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from fleet.base.entries import parse_utc
from fleet.base.errors import Refused
from fleet.facts.holes import Mount, PieceSlide, Side
from fleet.facts.kinds import Kind
from fleet.ledger.people import set_policy
from fleet.rules.boots import read_boot
from fleet.rules.clearance import (
    Answer,
    Door,
    cured_at,
    read_case,
    read_pattern,
)
from fleet.rules.find import FoundPairs, find_pairs
from fleet.rules.holds import hold
from fleet.rules.looks import LookKind
from tests.counter.shop import NELL, WIM, ZONE, Shop, binding_body, lark

A, B = Side.A, Side.B
SET_IT = "set it, boot in, and type the same with --set"


def door(shop: Shop, *, boot: str | None = None, set_now: bool = False, seconds: int = 0) -> Door:
    at = shop.now + timedelta(seconds=seconds)
    return Door(shop.ledger.connection, at=at, zone=ZONE, boot=boot, set_now=set_now)


def passed_again(shop: Shop, *tags: str) -> None:
    for tag in tags:
        shop.look(tag)


# two bindings on one ski


@pytest.mark.parametrize("ski", ["A", "B"])
def test_a_ski_with_two_bindings_on_record_stays_in(shop: Shop, ski: str) -> None:
    """Which of the two is on is not known: a recall may reach the one that nobody asks about."""
    shop.enter("binding recorded", binding_body("A-0", on_pair="P-2", on_ski=Side(ski)))
    shop.enter("binding recorded", binding_body("X-9"))
    passed_again(shop, "P-2")
    assert door(shop).ask("P-1").reasons == ()
    assert door(shop).ask("P-2").reasons == (f"several bindings are on record on ski {ski}: A-0, P-2/{ski}",)
    shop.enter(
        "binding changed", {"binding_id": "A-0", "changes": {"on_pair": ["P-2", None], "on_ski": [ski, None]}}
    )
    passed_again(shop, "P-2")
    assert door(shop).ask("P-2").reasons == ()


# what a case holds


def test_a_case_is_of_its_own_pair(shop: Shop) -> None:
    shop.set_binding("P-2", 310)
    case = read_case(shop.ledger.connection, "P-2")
    assert (case.standing.tag, case.kind, case.length_mm) == ("P-2", Kind.ALPINE, 1720)
    assert case.standing.setting.bsl_um == 310_000
    assert {side: binding.binding_id for side, binding in case.bindings.items()} == {A: "P-2/A", B: "P-2/B"}
    assert case.doubled == {}
    assert case.pattern == lark()
    assert case.open_order is None
    assert read_case(shop.ledger.connection, "T-1").kind is Kind.TELEMARK


def test_a_case_without_binding_and_mount(shop: Shop) -> None:
    shop.pair("N-1", mounted=False)
    case = read_case(shop.ledger.connection, "N-1")
    assert (case.bindings, case.doubled, case.mount, case.pattern) == ({}, {}, None, None)
    shop.enter("binding recorded", binding_body("N-1/B", on_pair="N-1", on_ski=B))
    case = read_case(shop.ledger.connection, "N-1")
    assert list(case.bindings) == [B]


def test_who_passed_a_pair_whose_mount_is_not_on_record_is_told_what_to_do(shop: Shop) -> None:
    """An import asks about a mount of a day to come and leaves it out; its bindings and a look are there."""
    shop.pair("N-1", mounted=False)
    for side in Side:
        shop.enter("binding recorded", binding_body(f"N-1/{side.value}", on_pair="N-1", on_ski=side))
    passed_again(shop, "N-1")
    answer = door(shop, boot="B-305").ask("N-1")
    assert answer.reasons == ("how its binding is mounted is not on record, so no boot can be checked",)
    assert answer.step == (
        "measure how it is mounted and bring it in with a sheet of mounts: mountbook import SHEET;"
        " what an import left open: mountbook import open"
    )


def mounted(shop: Shop, tag: str, **facts: Any) -> int:
    body = {
        "tag": tag,
        "pattern": "Lark 4",
        "bsl_um": 305_000,
        "offset_um": 0,
        "mounted_on": "2026-10-01",
        "removed_on": None,
        "drilled": True,
        "slides": [],
    }
    return shop.enter("mount recorded", body | facts)


def mounts_on(shop: Shop, tag: str) -> tuple[Mount, ...]:
    case = read_case(shop.ledger.connection, tag)
    return (*case.also_on, *([case.mount] if case.mount else ()))


def test_every_mount_that_was_not_removed_is_read_the_newest_last(shop: Shop) -> None:
    shop.pair("N-1", mounted=False)
    assert mounts_on(shop, "N-1") == ()
    mounted(shop, "N-1", removed_on="2026-11-01")
    assert mounts_on(shop, "N-1") == ()
    slides = [{"piece": "heel", "reference_um": -150_000, "slide_um": 2_500}]
    first = mounted(shop, "N-1", bsl_um=310_000, offset_um=-5_500, slides=slides)
    mounted(shop, "N-1", bsl_um=320_000, removed_on="2026-12-01")
    mounted(shop, "P-1", bsl_um=330_000)
    [one] = mounts_on(shop, "N-1")
    assert one == Mount(
        pattern="Lark 4",
        bsl_um=310_000,
        offset_um=-5_500,
        mounted_on="2026-10-01",
        drilled=True,
        slides=(PieceSlide(piece="heel", reference_um=-150_000, slide_um=2_500),),
        entry=first,
    )
    second = mounted(shop, "N-1", pattern="Other 4", drilled=False, mounted_on="2026-12-02")
    older, newest = mounts_on(shop, "N-1")
    assert older == one
    assert newest == Mount(
        pattern="Other 4",
        bsl_um=305_000,
        offset_um=0,
        mounted_on="2026-12-02",
        drilled=False,
        entry=second,
    )


def test_a_pattern_that_was_never_recorded_is_none(shop: Shop) -> None:
    connection = shop.ledger.connection
    assert read_pattern(connection, "Other 4") == lark("Other 4")
    assert read_pattern(connection, "Lark 9") is None
    mounted(shop, "P-1", pattern="Lark 9")
    assert read_case(connection, "P-1").pattern is None


def test_a_boot_by_its_tag_or_the_nearest(shop: Shop) -> None:
    connection = shop.ledger.connection
    assert read_boot(connection, "B-310").tag == "B-310"
    for tag, cure in (("B-3100", "did you mean B-310?"), ("something else", "check the tag")):
        with pytest.raises(Refused) as refused:
            read_boot(connection, tag)
        assert refused.value.sentence == f"there is no boot {tag} in the ledger"
        assert refused.value.cure == cure


def order(shop: Shop, tag: str, *, number: str = "WO-2612-0001", giver: str | None = None) -> None:
    body = {
        "number": number,
        "revision": "B",
        "tag": tag,
        "boot": "B-305",
        "way": "adjust",
        "minutes": 10,
        "giver": giver,
        "set": {},
        "plan_hash": "0" * 64,
        "needed_by": None,
        "pair_state": "x",
        "giver_state": "y" if giver else None,
    }
    shop.enter("order issued", body)


def test_an_open_order_keeps_its_pair_in_and_the_giver(shop: Shop) -> None:
    order(shop, "P-1", giver="P-2")
    for tag in ("P-1", "P-2"):
        answer = door(shop).ask(tag)
        assert answer.reasons == ("work order WO-2612-0001 B is open",)
        assert answer.step == 'its work comes first: mountbook order done "WO-2612-0001 B" --by NAME'
    assert door(shop).ask("P-3") == Answer(reasons=(), fit=None)


# what the door answers


def test_a_pair_that_may_go_without_a_boot(shop: Shop) -> None:
    assert door(shop).ask("P-1") == Answer(reasons=(), fit=None, step="", only_set=False)
    assert door(shop).sole_um is None


def test_a_boot_that_stands_in_it_as_it_is_set(shop: Shop) -> None:
    answer = door(shop, boot="B-305").ask("P-1")
    assert answer.fit is not None
    assert answer.fit.reasons == ()
    assert (answer.reasons, answer.step, answer.only_set) == ((), "", False)
    assert (door(shop, boot="B-305").sole_um, door(shop, boot="B-NONE").sole_um) == (305_000, None)


STANDS = "its binding is set for sole 305 mm, boot B-310 has 310 mm"


def test_a_boot_that_the_binding_is_to_be_set_for(shop: Shop) -> None:
    answer = door(shop, boot="B-310").ask("P-1")
    assert (answer.reasons, answer.step, answer.only_set) == ((STANDS,), SET_IT, True)
    assert answer.fit is not None
    assert answer.fit.not_set == STANDS
    said_nothing = Door(shop.ledger.connection, at=shop.now, zone=ZONE, boot="B-310").ask("P-1")
    assert said_nothing.reasons == (STANDS,)
    set_now = door(shop, boot="B-310", set_now=True).ask("P-1")
    assert (set_now.reasons, set_now.step, set_now.only_set) == ((), "", False)


def test_to_be_set_and_held_the_hold_is_the_step(shop: Shop) -> None:
    with shop.desk() as desk:
        hold(desk, "P-1", why="tag fell off")
    answer = door(shop, boot="B-310").ask("P-1")
    assert answer.reasons == ("it is on hold: tag fell off", STANDS)
    assert answer.step == "a listed person lifts the hold: mountbook clear P-1 --by NAME"
    assert not answer.only_set
    set_now = door(shop, boot="B-310", set_now=True).ask("P-1")
    assert set_now.reasons == ("it is on hold: tag fell off",)
    assert not set_now.only_set


@pytest.mark.parametrize("set_now", [False, True])
def test_a_boot_that_does_not_fit_is_no_matter_of_setting(shop: Shop, set_now: bool) -> None:
    with shop.desk() as desk:
        hold(desk, "P-2", why="tag fell off")
    sole = "boot B-TOUR has a sole of type touring, not declared by both makers for Lark 4"
    answer = door(shop, boot="B-TOUR", set_now=set_now).ask("P-1")
    assert (answer.reasons, answer.step, answer.only_set) == ((sole,), "", False)
    assert answer.fit is not None
    assert answer.fit.reasons == (sole,)
    held = door(shop, boot="B-TOUR", set_now=set_now).ask("P-2")
    assert held.reasons == ("it is on hold: tag fell off", sole)


def test_the_door_asks_the_policy_and_the_recalls_of_the_ledger(shop: Shop) -> None:
    limit = "boot B-310 has a sole of 310 mm; it would stand 2.5 mm from the mark, the shop's limit is 2.0 mm"
    assert door(shop, boot="B-310", set_now=True).ask("P-1").reasons == ()
    with shop.desk(WIM) as desk:
        set_policy(desk, "offset_limit_mm", "2", origin="x")
    assert door(shop, boot="B-310", set_now=True).ask("P-1").reasons == (limit,)
    shop.enter(
        "recall opened",
        {
            "recall": "R-1",
            "pattern": "Lark 4",
            "piece": "",
            "serial_from": "",
            "serial_to": "",
            "season": "",
            "source": "s",
        },
    )
    answer = door(shop).ask("P-1")
    assert answer.reasons == ("recall R-1 is open and reaches the binding of ski A, B",)
    assert answer.step == "what the recall asks for: mountbook recall list"


def test_the_door_is_at_the_moment_of_going_out(shop: Shop) -> None:
    passed = parse_utc(shop.standing("P-1").passed.at)
    early = (passed - shop.now).total_seconds()
    assert door(shop, seconds=int(early)).ask("P-1").reasons == ()
    late = door(shop, seconds=int(early) - 1).ask("P-1").reasons
    assert len(late) == 1
    assert late[0].endswith(", after the time of going out")


# when the glue has cured

HOUR = timedelta(hours=1)


@pytest.mark.parametrize(
    ("adhesives", "hours"),
    [
        (["wood_glue"], 12),
        (["epoxy"], 12.5),
        (["epoxy", "wood_glue"], 12.5),
        (["wood_glue", "hide_glue"], None),
    ],
)
def test_the_slowest_glue_says_when_it_has_cured(
    shop: Shop, adhesives: list[str], hours: float | None
) -> None:
    """P-2 is glued, P-1 is not; the door opens for P-2 at that second and not one before."""
    connection = shop.ledger.connection
    for name, value in (("cure_wood_glue_hours", "12"), ("cure_epoxy_hours", "12.5")):
        with shop.desk(WIM) as desk:
            set_policy(desk, name, value, origin="x")
    shop.enter("repair done", {"tag": "P-2", "glued_with": adhesives})
    glued = parse_utc(shop.standing("P-2").glued_at)
    passed_again(shop, "P-2")
    assert cured_at(connection, "P-1") is None
    cured = cured_at(connection, "P-2")
    assert cured == (None if hours is None else glued + hours * HOUR)
    if cured is not None:
        for seconds, kept_in in ((-1, True), (0, False)):
            at = cured + timedelta(seconds=seconds)
            assert bool(Door(connection, at=at, zone=ZONE).ask("P-2").reasons) is kept_in


# what could go instead


def passed_pair(shop: Shop, tag: str, *, length_mm: int, kind: str = "alpine") -> None:
    shop.pair(tag, length_mm=length_mm, kind=kind)
    shop.set_binding(tag, 305)
    shop.ready(tag)


def test_pairs_within_the_policy_are_offered_nearest_first_and_by_tag(shop: Shop) -> None:
    """P-1 is 1700 mm; the policy says 50: 1750 and 1650 are in, 1751 and 1649 are not."""
    for tag, length_mm in (("Z-1650", 1650), ("Z-1649", 1649), ("Z-1751", 1751), ("A-1720", 1720)):
        passed_pair(shop, tag, length_mm=length_mm)
    assert door(shop).instead_of("P-1") == ("A-1720", "P-2", "P-3", "Z-1650")
    with shop.desk(WIM) as desk:
        set_policy(desk, "instead_length_mm", "51", origin="x")
    assert door(shop).instead_of("P-1") == ("A-1720", "P-2", "P-3", "Z-1650", "Z-1649")
    with shop.desk(WIM) as desk:
        set_policy(desk, "instead_length_mm", "19", origin="x")
    assert door(shop).instead_of("P-1") == ()


def test_five_are_enough(shop: Shop) -> None:
    for number in range(7):
        passed_pair(shop, f"A-{number}", length_mm=1700)
    assert door(shop).instead_of("P-1") == ("A-0", "A-1", "A-2", "A-3", "A-4")
    assert door(shop).instead_of("A-2") == ("A-0", "A-1", "A-3", "A-4", "A-5")


def test_more_are_looked_at_where_some_of_the_first_five_may_not_go(shop: Shop) -> None:
    for number in range(9):
        passed_pair(shop, f"A-{number}", length_mm=1700)
    for number in (0, 3, 4, 6):
        order(shop, f"A-{number}", number=f"WO-2612-000{number + 1}")
    assert door(shop).instead_of("P-1") == ("A-1", "A-2", "A-5", "A-7", "A-8")


def test_what_is_named_already_is_not_offered(shop: Shop) -> None:
    assert door(shop).instead_of("P-1", leave_out=["P-2"]) == ("P-3",)
    assert door(shop).instead_of("T-1") == ()


def test_only_what_may_itself_go_out_is_offered(shop: Shop) -> None:
    """An open order leaves P-2 in its place, ready; it may not go all the same."""
    order(shop, "P-2")
    assert shop.place("P-2").value == "ready"
    assert door(shop).instead_of("P-1") == ("P-3",)
    shop.back("P-3")
    assert door(shop).instead_of("P-1") == ()


def test_with_a_boot_only_pairs_that_it_stands_in_are_offered(shop: Shop) -> None:
    shop.set_binding("P-3", 310, by=NELL)
    passed_again(shop, "P-3")
    assert door(shop, boot="B-310").instead_of("P-1") == ("P-3",)
    assert door(shop, boot="B-305").instead_of("P-1") == ("P-2",)
    assert door(shop, boot="B-TOUR").instead_of("P-1") == ()
    mounted(shop, "P-2", pattern="Other 4")
    passed_again(shop, "P-2")
    assert door(shop, boot="B-305").instead_of("P-1") == ()


def test_who_lists_is_no_matter_to_the_door(shop: Shop) -> None:
    """The manager's own hold stops a pair for her too."""
    with shop.desk(WIM) as desk:
        hold(desk, "P-1", why="mine")
    with pytest.raises(Refused, match="it is on hold: mine"):
        shop.out("P-1", by=WIM)


# how much is read


def statements(shop: Shop, act: Callable[[], object]) -> int:
    """How many queries the act sends to the file."""
    sent: list[str] = []
    shop.ledger.connection.set_trace_callback(sent.append)
    try:
        act()
    finally:
        shop.ledger.connection.set_trace_callback(None)
    return len(sent)


def test_what_goes_instead_costs_the_same_among_five_pairs_and_among_many(shop: Shop) -> None:
    """Of pairs that stand at another sole nothing but that is read: each of them is refused for it."""
    shop.set_binding("P-2", 310)
    passed_again(shop, "P-2")
    refused = door(shop, boot="B-310", seconds=60)
    assert refused.instead_of("P-1") == ("P-2",)
    few = statements(shop, lambda: refused.instead_of("P-1"))
    for number in range(30):
        shop.pair(f"M-{number}", length_mm=1700)
        shop.set_binding(f"M-{number}", 305)
        shop.look(f"M-{number}", kind=LookKind.SEASON_PREP)
    refused = door(shop, boot="B-310", seconds=60)
    assert refused.instead_of("P-1") == ("P-2",)
    assert statements(shop, lambda: refused.instead_of("P-1")) == few


def test_many_pairs_are_asked_about_with_the_queries_of_one(shop: Shop) -> None:
    def find() -> FoundPairs:
        return find_pairs(shop.ledger.connection, at=shop.now, zone=ZONE, boot="B-305")

    few = statements(shop, find)
    for number in range(10):
        shop.pair(f"M-{number}")
    assert len(find().pairs) == 15
    assert statements(shop, find) == few


def test_a_record_that_cannot_be_read_is_a_reason_against_its_pair_alone(shop: Shop) -> None:
    with shop.ledger.connection.unlatched():
        shop.ledger.connection.execute("UPDATE mount SET slides = '{}' WHERE tag = 'P-2'")
    found = {one.tag: one for one in find_pairs(shop.ledger.connection, at=shop.now, zone=ZONE).pairs}
    assert found["P-2"].reasons == ("its record cannot be read (KeyError: 'slides')",)
    assert found["P-1"].reasons == found["P-3"].reasons == ()
