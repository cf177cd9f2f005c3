"""What entries about holes, mounts, bindings, orders and other records change, and what takes them back.

P-1 is ready, its bindings set for 305 mm; P-2 beside it must not feel anything, unless it gives its binding.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from fleet.base.errors import BadInput, Refused
from fleet.facts.pairs import pair_state
from fleet.ledger.corrections import withdraw
from tests.counter.shop import IDA, JORY, Shop, binding_body
from tests.events.effect import AT, THIS, Row, Rows, effect, stands_at

NOT_KNOWN: Row = {"stands": "{}"}


def touched(what: str) -> Row:
    """A fact of the pair changed on record: no pass counts, nor is it known what its binding stands at."""
    return {"place": "back", "work_entry": THIS, "work_at": AT, "work_what": what, **NOT_KNOWN}


def fresh(shop: Shop) -> None:
    """P-1 is as at first again: set for 305 mm and passed."""
    shop.set_binding("P-1", 305)
    shop.look("P-1")


def hole(hole_id: str = "P-1/A7", **facts: Any) -> Row:
    said = {
        "hole_id": hole_id, "side": "A", "x_um": 101_500, "y_um": -18_000, "diameter_um": 4_100, "depth_um": 9_000,
        "state": "open", "knowledge": "measured here",
    }  # fmt: skip
    return said | facts


def hole_row(entry: Any = THIS, tag: str = "P-1", **facts: Any) -> Row:
    return hole(**facts) | {"tag": tag, "entry": entry}


def with_hole(shop: Shop) -> None:
    shop.enter("holes recorded", {"tag": "P-1", "holes": [hole()]})


def undone(shop: Shop, seq: int) -> tuple[dict[str, Row], Rows, Rows]:
    """What a withdrawal of that entry changes."""
    row = shop.ledger.connection.execute("SELECT what, body FROM entries WHERE seq = ?", (seq,)).fetchone()
    return effect(shop, "entry withdrawn", {"entry": seq, "what": row[0], "body": json.loads(row[1])})


# holes


def numbered_to(shop: Shop, side: str, tag: str = "P-1") -> int:
    row = shop.ledger.connection.execute(
        "SELECT holes_numbered_to FROM ski WHERE tag = ? AND side = ?", (tag, side)
    ).fetchone()
    return int(row[0])


def test_holes_become_known(shop: Shop) -> None:
    new = [
        hole(),
        hole("P-1/B2", side="B", diameter_um=None, depth_um=None, state="plugged", knowledge="template"),
    ]
    standing, added, gone = effect(shop, "holes recorded", {"tag": "P-1", "holes": new})
    assert standing == {"P-1": touched("holes recorded")}
    assert added["hole"] == [one | {"tag": "P-1", "entry": THIS} for one in new]
    assert list(gone) == ["ski"]
    assert (numbered_to(shop, "A"), numbered_to(shop, "B"), numbered_to(shop, "A", "P-2")) == (7, 2, 0)


def test_the_numbers_of_holes_only_rise(shop: Shop) -> None:
    with_hole(shop)
    for hole_id, to in (("P-1/A3", 7), ("P-1/A8", 8), ("X-4", 8)):
        shop.enter(
            "holes recorded", {"tag": "P-1", "holes": [hole(hole_id, x_um=-len(hole_id) * 9_000 - to)]}
        )
        assert numbered_to(shop, "A") == to
    assert numbered_to(shop, "B") == 0


def test_a_hole_changed_and_put_right_again(shop: Shop) -> None:
    with_hole(shop)
    fresh(shop)
    body = {"hole_id": "P-1/A7", "changes": {"x_um": [101_500, 102_000], "state": ["open", "plugged"]}}
    standing, added, gone = effect(shop, "hole changed", body)
    assert standing == {"P-1": touched("hole changed")}
    assert added == {"hole": [hole_row(x_um=102_000, state="plugged")]}
    assert [row["x_um"] for row in gone["hole"]] == [101_500]
    (seq,) = shop.ledger.connection.execute("SELECT entry FROM hole").fetchone()
    fresh(shop)
    standing, added, gone = undone(shop, seq)
    assert standing["P-1"]["work_what"] == "entry withdrawn"
    assert standing["P-1"]["place"] == "back"
    assert added == {"hole": [hole_row()]}


def test_holes_withdrawn(shop: Shop) -> None:
    seq = shop.enter("holes recorded", {"tag": "P-1", "holes": [hole(), hole("P-1/A8", x_um=-50_000)]})
    other = shop.enter("holes recorded", {"tag": "P-1", "holes": [hole("P-1/B1", side="B")]})
    fresh(shop)
    standing, added, gone = undone(shop, seq)
    assert standing["P-1"]["place"] == "back"
    assert [row["hole_id"] for row in gone["hole"]] == ["P-1/A7", "P-1/A8"]
    assert added == {}
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert refused.value.sentence == f"hole P-1/A7 of entry {seq} was withdrawn already"
    assert refused.value.cure == "look at the newest state"
    change = {"hole_id": "P-1/B1", "changes": {"depth_um": [9_000, 8_999]}}
    changed = shop.enter("hole changed", change)
    with pytest.raises(Refused) as refused:
        undone(shop, other)
    assert refused.value.sentence == f"hole P-1/B1 of entry {other} was changed by entry {changed}"
    assert refused.value.cure == "withdraw that entry first"


# mounts

MOUNT: Row = {
    "tag": "P-1", "pattern": "Lark 4", "bsl_um": 310_000, "offset_um": -5_500, "mounted_on": "2026-11-01",
    "removed_on": None, "drilled": True, "slides": [{"piece": "heel", "reference_um": -150_000, "slide_um": 500}],
}  # fmt: skip
MOUNT_ROW = MOUNT | {
    "drilled": 1, "slides": '{"slides":[{"piece":"heel","reference_um":-150000,"slide_um":500}]}', "entry": THIS,
}  # fmt: skip
STATED: Row = {
    "tag": "P-1", "binding_model": "Old thing", "bsl_um": 300_000, "offset_um": None, "mounted_on": "2024",
    "removed_on": None,
}  # fmt: skip


def mounts(rows: Rows, table: str = "mount") -> list[Row]:
    return [{k: v for k, v in row.items() if k != "mount_id"} for row in rows.get(table, [])]


def test_a_mount_recorded_and_withdrawn(shop: Shop) -> None:
    shop.enter("mount stated", STATED)
    standing, added, gone = effect(shop, "mount recorded", MOUNT)
    assert standing == {"P-1": touched("mount recorded")}
    assert mounts(added) == [MOUNT_ROW]
    assert gone == {}
    _, added, _ = effect(shop, "mount recorded", MOUNT | {"tag": "P-2", "drilled": False, "slides": []})
    assert mounts(added) == [MOUNT_ROW | {"tag": "P-2", "drilled": 0, "slides": '{"slides":[]}'}]
    (seq,) = shop.ledger.connection.execute("SELECT max(entry) FROM mount WHERE tag = 'P-1'").fetchone()
    fresh(shop)
    standing, added, gone = undone(shop, seq)
    assert (standing["P-1"]["place"], added) == ("back", {})
    assert [row["bsl_um"] for row in gone["mount"]] == [310_000]


def test_a_mount_that_completes_what_was_stated(shop: Shop) -> None:
    shop.enter("mount stated", STATED | {"removed_on": "2025"})
    shop.enter("mount stated", STATED | {"tag": "P-2"})
    shop.enter("mount stated", STATED)
    _, _, gone = effect(shop, "mount recorded", MOUNT | {"completes": True})
    assert [(row["tag"], row["removed_on"]) for row in gone["stated_mount"]] == [("P-1", None)]


def test_what_is_stated_to_be_on_takes_the_place_of_what_was(shop: Shop) -> None:
    for removed_on in (None, "2025"):
        shop.enter("mount stated", STATED | {"removed_on": removed_on})
    standing, added, gone = effect(shop, "mount stated", STATED | {"bsl_um": None, "offset_um": 1_500})
    assert standing == {}
    assert mounts(added, "stated_mount") == [STATED | {"bsl_um": None, "offset_um": 1_500, "entry": THIS}]
    assert [row["bsl_um"] for row in gone["stated_mount"]] == [300_000]
    _, added, gone = effect(shop, "mount stated", STATED | {"removed_on": "2026"})
    assert (len(mounts(added, "stated_mount")), gone) == (1, {})
    (seq,) = shop.ledger.connection.execute("SELECT max(entry) FROM stated_mount").fetchone()
    _, added, gone = undone(shop, seq)
    assert ([row["removed_on"] for row in gone["stated_mount"]], added) == (["2026"], {})


def test_all_that_is_on_comes_off(shop: Shop) -> None:
    shop.enter("mount stated", STATED)
    shop.enter("mount recorded", MOUNT | {"removed_on": "2026-12-01"})
    fresh(shop)
    first = shop.ledger.connection.execute("SELECT entry FROM mount WHERE tag = 'P-1'").fetchone()[0]
    standing, added, _ = effect(shop, "mount removed", {"tag": "P-1", "removed_on": "2026-12-27"})
    assert standing == {"P-1": touched("mount removed")}
    assert [(row["bsl_um"], row["removed_on"]) for row in added["mount"]] == [(305_000, "2026-12-27")]
    assert [row["removed_on"] for row in added["stated_mount"]] == ["2026-12-27"]
    with pytest.raises(Refused) as refused:
        undone(shop, first)
    assert refused.value.sentence == f"the mount of entry {first} was removed since"
    assert refused.value.cure == "enter what is true now"


# bindings


def test_a_binding_recorded_moved_and_withdrawn(shop: Shop) -> None:
    stock = binding_body("X-1", serial="77")
    standing, added, gone = effect(shop, "binding recorded", stock)
    assert (standing, added, gone) == ({}, {"binding": [stock | {"gone_entry": 0, "entry": THIS}]}, {})
    on = binding_body("X-2", on_pair="P-1", on_ski=None)
    standing, added, _ = effect(shop, "binding recorded", on)
    assert {"work_what": "binding recorded"} | standing["P-1"] == touched("binding recorded")
    fresh(shop)
    (seq,) = shop.ledger.connection.execute("SELECT entry FROM binding WHERE binding_id = 'X-2'").fetchone()
    standing, added, gone = undone(shop, seq)
    assert (list(standing), [row["binding_id"] for row in gone["binding"]], added) == (["P-1"], ["X-2"], {})
    fresh(shop)
    moved = {"binding_id": "X-1", "changes": {"on_pair": [None, "P-1"], "on_ski": [None, "A"]}}
    standing, _, _ = effect(shop, "binding changed", moved)
    assert standing == {"P-1": touched("binding changed")}
    fresh(shop)
    moved = {"binding_id": "X-1", "changes": {"on_pair": ["P-1", "P-2"]}}
    standing, _, _ = effect(shop, "binding changed", moved)
    for tag in ("P-1", "P-2"):
        assert {"work_what": "binding changed"} | standing[tag] == touched("binding changed")


# orders


def issued(tag: str = "P-1", **facts: Any) -> Row:
    body = {
        "number": "WO-1", "revision": "A", "tag": tag, "boot": "B-305", "way": "drill", "minutes": 20, "giver": None,
        "set": {"x": 1}, "plan_hash": "0", "needed_by": None, "pair_state": "then", "giver_state": None,
    }  # fmt: skip
    return body | facts


def work(**facts: Any) -> Row:
    body = {
        "number": "WO-1", "revision": "A", "tag": "P-1", "new_holes": [], "changed_holes": [], "mount_removed_on": None,
        "mount": None, "bindings": [], "giver": None, "glued_with": [], "hold": "",
    }  # fmt: skip
    return body | facts


def orders(rows: Rows) -> list[tuple[Any, ...]]:
    return [(r["number"], r["revision"], r["state"], r["closed_entry"]) for r in rows.get("work_order", [])]


def test_an_order_issued_and_cancelled(shop: Shop) -> None:
    body = issued(giver="P-2", giver_state="now")
    standing, added, gone = effect(shop, "order issued", body)
    assert (standing, gone) == ({}, {})
    [row] = added["work_order"]
    assert json.loads(row.pop("body")) == body
    kept = ("number", "revision", "tag", "boot", "giver", "pair_state", "giver_state", "way", "minutes")
    assert row == {key: body[key] for key in kept} | {
        "state": "open",
        "issued_entry": THIS,
        "closed_entry": None,
    }
    with pytest.raises(Refused) as refused:
        shop.enter("order issued", issued(number="WO-2"))
    assert refused.value.sentence == "P-1 has an open work order already"
    assert refused.value.cure == "cancel it first"
    shop.enter("order issued", issued("P-3", number="WO-1", revision="B"))
    standing, added, _ = effect(
        shop, "order cancelled", {"number": "WO-1", "revision": "A", "why": "issued again"}
    )
    assert standing == {}
    assert orders(added) == [("WO-1", "A", "cancelled", THIS)]
    assert names_of_newest(shop) == {"P-1"}
    for number, revision in (("WO-1", "A"), ("WO-1", "C"), ("WO-9", "B")):
        with pytest.raises(Refused) as refused:
            shop.enter("order cancelled", {"number": number, "revision": revision, "why": "x"})
        assert refused.value.sentence == f"work order {number} {revision} is not open"
        assert refused.value.cure == "see `mountbook order list`"
    shop.enter("order issued", issued(number="WO-2"))
    with pytest.raises(Refused, match="there is no pair P-9"):
        shop.enter("order issued", issued("P-9", number="WO-3"))


def names_of_newest(shop: Shop) -> set[str]:
    rows = shop.ledger.connection.execute(
        "SELECT name FROM naming WHERE entry = (SELECT max(seq) FROM entries)"
    ).fetchall()
    return {name for (name,) in rows}


WORKED: Row = {
    "place": "second check", "work_entry": THIS, "work_at": AT, "work_what": "work order WO-1",
    "workers": f'["{IDA}"]', "second_check": 1, "returns_since_work": 0,
}  # fmt: skip
NEW_MOUNT = MOUNT | {"bsl_um": 312_000}
BEGUN: Row = {"place": "back", "work_entry": THIS, "work_at": AT, "work_what": "work order WO-1", **NOT_KNOWN}
MOVED_HOLE = {"hole_id": "P-1/A7", "changes": {"state": ["open", "plugged"]}}
OFF_B = {"binding_id": "P-1/B", "changes": {"on_pair": ["P-1", None], "on_ski": ["B", None]}}

# the kind; what was done; what changes of P-1; the tables that change
OrderCase = tuple[str, Row, Row, set[str]]
DONE: dict[str, OrderCase] = {
    "set at the bench": (
        "order done", {"mount": None}, {**WORKED, **NOT_KNOWN}, set(),
    ),
    "mounted": (
        "order done", {"mount": NEW_MOUNT, "mount_removed_on": "2026-12-27"},
        {**WORKED, "stands": stands_at(312_000, "work order WO-1", "heel")}, {"mount"},
    ),
    "drilled, glued": (
        "order done", {"new_holes": [hole("P-1/A8", x_um=-50_000)], "glued_with": ["epoxy"]},
        {**WORKED, **NOT_KNOWN, "glued_at": AT, "glued_with": '["epoxy"]'}, {"hole", "ski", "glue"},
    ),
    "outside the rule": (
        "order done", {"hold": "A7 is 9.9 mm from A6"},
        {**WORKED, **NOT_KNOWN, "place": "hold", "hold_entry": THIS, "hold_why": "A7 is 9.9 mm from A6"}, set(),
    ),
    "stopped for the head technician though it was done": (
        "order done", {"stop": "askew", "jig": "J"},
        {**WORKED, **NOT_KNOWN, "place": "hold", "stop_entry": THIS, "stop_why": "askew"}, set(),
    ),
    "broken off before anything, and the skis are not the reason": (
        "order stopped", {"stop": "", "drilled": {"A": "nothing", "B": "nothing"}}, {}, set(),
    ),
    "broken off before anything, as older bodies say it": (
        "order stopped", {}, NOT_KNOWN, set(),
    ),
    "broken off before anything, the skis are the reason": (
        "order stopped", {"stop": "delaminated", "drilled": {"A": "nothing", "B": "nothing"}},
        {**NOT_KNOWN, "place": "hold", "stop_entry": THIS, "stop_why": "delaminated"}, set(),
    ),
    "broken off, and of ski B it is not known": (
        "order stopped", {"stop": "", "drilled": {"A": "nothing", "B": "not known"}}, BEGUN, set(),
    ),
    "broken off with a hole drilled": (
        "order stopped", {"stop": "", "new_holes": [hole("P-1/A8", x_um=-50_000)]}, BEGUN, {"hole", "ski"},
    ),
    "broken off with a hole plugged": (
        "order stopped", {"stop": "", "changed_holes": [MOVED_HOLE]}, BEGUN, {"hole"},
    ),
    "broken off with a binding off": (
        "order stopped", {"stop": "", "bindings": [OFF_B]}, BEGUN, {"binding"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", DONE)
def test_what_the_bench_did_is_what_stands_in_the_ledger(shop: Shop, name: str) -> None:
    kind, facts, changed, tables = DONE[name]
    with_hole(shop)
    fresh(shop)
    shop.enter("order issued", issued(giver=None))
    standing, added, _ = effect(shop, kind, work(**facts))
    assert standing == ({"P-1": changed} if changed else {})
    assert set(added) - {"work_order"} == tables
    ended = {"order done": "done", "order stopped": "stopped"}[kind]
    assert orders(added) == [("WO-1", "A", ended, THIS)]
    if facts.get("mount"):
        assert [(r["bsl_um"], r["removed_on"]) for r in added["mount"]] == [
            (305_000, "2026-12-27"),
            (312_000, None),
        ]
    if facts.get("new_holes"):
        assert added["hole"] == [hole_row(hole_id="P-1/A8", x_um=-50_000)]
    with pytest.raises(Refused, match="work order WO-1 A is not open"):
        shop.enter(kind, work(**facts))


def test_the_pair_that_gives_its_binding(shop: Shop) -> None:
    shop.enter("holes recorded", {"tag": "P-2", "holes": [hole("P-2/A1")]})
    shop.set_binding("P-2", 305)
    shop.look("P-2")
    shop.enter("order issued", issued(giver="P-2", giver_state="x"))
    moved = [{"binding_id": f"P-2/{s}", "changes": {"on_pair": ["P-2", "P-1"]}} for s in "AB"]
    giver = {
        "tag": "P-2",
        "changed_holes": [{"hole_id": "P-2/A1", "changes": {"state": ["open", "plugged"]}}],
        "mount_removed_on": "2026-12-27",
    }
    standing, added, _ = effect(shop, "order done", work(bindings=moved, giver=giver))
    assert standing["P-2"] == BEGUN | {"place": "flat"}
    assert standing["P-1"]["place"] == "second check"
    assert [(r["binding_id"], r["on_pair"]) for r in added["binding"]] == [("P-2/A", "P-1"), ("P-2/B", "P-1")]
    assert [(r["tag"], r["removed_on"]) for r in added["mount"]] == [("P-2", "2026-12-27")]
    assert [(r["tag"], r["state"]) for r in added["hole"]] == [("P-2", "plugged")]


def test_the_first_visit_of_an_order_leaves_it_open(shop: Shop) -> None:
    """P-3 waits for the binding of P-1, and counted on this very work."""
    connection = shop.ledger.connection
    with_hole(shop)
    fresh(shop)
    now = pair_state(connection, "P-1")
    shop.enter("order issued", issued(giver="P-2", giver_state="x"))
    shop.enter("order issued", issued("P-3", number="WO-3", giver="P-1", giver_state=now))
    body = {
        "number": "WO-1", "revision": "A", "tag": "P-1", "changed_holes": [MOVED_HOLE],
        "mount_removed_on": "2026-12-27", "filled_with": "epoxy",
    }  # fmt: skip
    for other in ({"revision": "B"}, {"tag": "P-2"}, {"number": "WO-3"}):
        with pytest.raises(Refused) as refused:
            shop.enter("order plugged", body | other)
        name = {**body, **other}
        assert refused.value.sentence == (
            f"work order {name['number']} {name['revision']} is not open for {name['tag']}"
        )
    standing, added, _ = effect(shop, "order plugged", body)
    assert standing == {
        "P-1": BEGUN
        | {
            "work_what": "plugging for work order WO-1",
            "workers": f'["{IDA}"]',
            "glued_at": AT,
            "glued_with": '["epoxy"]',
        }
    }
    assert [{"at": r["at"], "stated": r["stated"]} for r in added["glue"]] == [{"at": AT, "stated": AT}]
    assert [(r["hole_id"], r["state"]) for r in added["hole"]] == [("P-1/A7", "plugged")]
    assert [(r["tag"], r["removed_on"]) for r in added["mount"]] == [("P-1", "2026-12-27")]
    assert names_of_newest(shop) == {"P-1", "P-2"}
    after = pair_state(connection, "P-1")
    assert [(r["number"], r["state"], r["giver_state"]) for r in added["work_order"]] == [
        ("WO-3", "open", after)
    ]


@pytest.mark.parametrize("from_entry", [False, True])
def test_a_filler_of_a_stated_hour_cures_from_it_or_from_the_entry(shop: Shop, from_entry: bool) -> None:
    """From the entry where somebody entered it later, until a second person confirms the hour."""
    shop.enter("order issued", issued())
    stated = shop.now
    said = {"cure_from_entry": True} if from_entry else {}
    body = WO_OF_N | PLUGGED | {"tag": "P-1"} | said
    with shop.desk(IDA, at=stated, minutes=60) as desk:
        desk.enter("order plugged", body)
    cures_from = datetime.fromisoformat(shop.standing("P-1").glued_at)
    assert cures_from == (shop.now if from_entry else stated)
    [row] = shop.ledger.connection.execute("SELECT stated FROM glue").fetchall()
    assert datetime.fromisoformat(row[0]) == stated


def test_orders_that_counted_on_this_work_still_hold_after_it(shop: Shop) -> None:
    """P-3 waits for the binding that P-1 is given now; P-4's order was issued for P-1 as it never was."""
    connection = shop.ledger.connection
    now = pair_state(connection, "P-1")
    shop.enter("order issued", issued(pair_state=now))
    shop.enter("order issued", issued("P-3", number="WO-3", giver="P-1", giver_state=now))
    shop.enter("order issued", issued("P-4", number="WO-4", giver="P-1", giver_state="never so"))
    shop.enter("order done", work(new_holes=[hole("P-1/A8")]))
    after = pair_state(connection, "P-1")
    assert after != now
    assert connection.execute(
        "SELECT number, pair_state, giver_state FROM work_order ORDER BY number"
    ).fetchall() == [
        ("WO-1", now, None),
        ("WO-3", "then", after),
        ("WO-4", "then", "never so"),
    ]


PLUGGED = {"changed_holes": [], "mount_removed_on": None, "filled_with": "epoxy"}
WO_OF_N: Row = {"number": "WO-1", "revision": "A", "tag": "N-1"}


@pytest.mark.parametrize(
    ("what", "body"),
    [
        ("mount removed", {"tag": "N-1", "removed_on": "2026-12-27"}),
        ("order plugged", WO_OF_N | PLUGGED),
        ("order done", WO_OF_N),
    ],
)
def test_what_the_holes_show_is_kept_before_work_changes_them(shop: Shop, what: str, body: Row) -> None:
    """Nobody stated the mounts of N-1 before this ledger; its open holes show one at least."""
    with shop.desk(IDA) as desk:
        ski = {
            "mark_from_tail_um": 800_000,
            "zone_back_um": 300_000,
            "zone_front_um": 300_000,
            "zone_half_width_um": 40_000,
        }
        desk.enter(
            "pair recorded",
            {
                "tag": "N-1", "model": "M", "kind": "alpine", "length_mm": 1700, "waist_um": 90_000,
                "construction": "no metal", "rack": "R", "earlier_mounts": None, "skis": {"A": ski, "B": ski},
            },
        )  # fmt: skip
    shop.enter("holes recorded", {"tag": "N-1", "holes": [hole("N-1/A1")]})

    def at_least(tag: str) -> int:
        row = shop.ledger.connection.execute(
            "SELECT earlier_at_least FROM pair WHERE tag = ?", (tag,)
        ).fetchone()
        return int(row[0])

    assert (at_least("N-1"), at_least("P-1")) == (0, 0)
    shop.enter("order issued", issued("N-1"))
    shop.enter(what, work(tag="N-1") if what == "order done" else body)
    with_hole(shop)
    shop.enter("mount removed", {"tag": "P-1", "removed_on": "2026-12-27"})
    assert (at_least("N-1"), at_least("P-1")) == (1, 0)


# what another record says

CARRIED: Row = {"tag": "P-1", "from": "a list", "stops": "", "quarantine": False, "hold": False}
COUNTS = {"hires": 3, "days_out": 4, "days_hired": 5, "returns_since_work": 6, "returns_since_fault": 7}
VOID: Row = {
    "place": "back", "work_entry": THIS, "work_at": AT, "work_what": "a record carried over", **NOT_KNOWN,
}  # fmt: skip
SAYS: dict[str, tuple[Row, Row]] = {
    "nothing": ({}, VOID),
    "a quarantine": ({"quarantine": True}, VOID | {"place": "quarantine", "quarantine_entry": THIS}),
    "a hold": ({"hold": True}, VOID | {"place": "hold", "hold_entry": THIS}),
    "what the bench stopped": (
        {"bench": True}, VOID | {"place": "hold", "stop_entry": THIS, "stop_why": "stopped at the bench"},
    ),
    "people": (
        {"workers": [JORY], "finders": [IDA, JORY], "cleared_by": [IDA]},
        VOID | {"workers": f'["{JORY}"]', "finders": f'["{IDA}", "{JORY}"]', "cleared_by": f'["{IDA}"]'},
    ),
    "glue": (
        {"glued_at": "2026-12-26T10:00:00.000Z", "glued_with": ["epoxy"]},
        VOID | {"glued_at": "2026-12-26T10:00:00.000Z", "glued_with": '["epoxy"]'},
    ),
    "glue of no known time": ({"glued_with": ["epoxy"]}, VOID | {"glued_with": '["epoxy"]'}),
    "counts": ({"counts": COUNTS}, VOID | COUNTS),
    "that a renter said something": ({"said": True}, VOID | {"said_entry": THIS}),
    "that it is out": (
        {"where": {"whereabouts": "out", "out_at": "2026-12-20T10:00:00.000Z", "out_boot": "B-9",
                   "out_due": "2026-12-30"}},
        {"place": "out", "whereabouts": "out", "out_entry": THIS, "out_at": "2026-12-20T10:00:00.000Z",
         "out_boot": "B-9", "out_due": "2026-12-30", **NOT_KNOWN},
    ),
    "that it is out, no more": (
        {"where": {"whereabouts": "out", "out_at": "", "out_boot": "", "out_due": ""}},
        {"place": "out", "whereabouts": "out", "out_entry": THIS, "out_at": AT, **NOT_KNOWN},
    ),
    "that it is missing": (
        {"where": {"whereabouts": "missing"}}, {"place": "missing", "whereabouts": "missing", **NOT_KNOWN},
    ),
    "that it came back": (
        {"where": {"whereabouts": "shop", "return_at": "2026-12-26T10:00:00.000Z"}},
        {"place": "back", "return_entry": THIS, "return_at": "2026-12-26T10:00:00.000Z", **NOT_KNOWN},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SAYS)
def test_what_another_record_says_takes_effect(shop: Shop, name: str) -> None:
    says, changed = SAYS[name]
    standing, added, gone = effect(shop, "pair carried over", CARRIED | says)
    assert standing == {"P-1": changed}
    glue = {"entry": THIS, "tag": "P-1", "at": says.get("glued_at", ""), "stated": ""}
    assert (added, gone) == ({"glue": [glue]} if "glued_with" in says else {}, {})


def test_a_ski_that_was_worked_on_unseen_is_closed(shop: Shop) -> None:
    _, added, _ = effect(shop, "pair carried over", CARRIED | {"unseen": True})
    assert [
        (r["tag"], r["side"], r["closed_entry"], r["closed_at"], r["closed_why"]) for r in added["ski"]
    ] == [("P-1", side, THIS, AT, "worked on, as a list has it") for side in "AB"]


def test_what_waits_stops_its_pair_from_the_first_moment(shop: Shop) -> None:
    for tag in ("N-1", "N-2"):
        body = CARRIED | {"tag": tag, "hold": True, "workers": [IDA]}
        standing, added, _ = effect(shop, "pair carried over", body)
        assert standing == {}
        [row] = added["waiting_stop"]
        assert json.loads(row.pop("body")) == body
        assert row == {"tag": tag, "entry": THIS, "stated_at_utc": AT}
    seq, at = shop.ledger.connection.execute(
        "SELECT entry, stated_at_utc FROM waiting_stop WHERE tag = 'N-1'"
    ).fetchone()
    shop.pair("N-1", mounted=False)
    standing_of = shop.standing("N-1")
    assert (standing_of.place.value, standing_of.hold_entry, standing_of.workers) == ("hold", seq, (IDA,))
    assert (standing_of.work.entry, standing_of.work.at) == (seq, at)
    assert shop.ledger.connection.execute("SELECT tag FROM waiting_stop").fetchall() == [("N-2",)]


def test_a_restore_that_makes_passes_void_makes_them_void_of_every_pair(shop: Shop) -> None:
    shop.pair("N-1")
    body = {"head": "1", "replaced": None}
    for stand in (body, body | {"passes": "stand"}):
        assert effect(shop, "ledger restored", stand) == ({}, {}, {})
        assert names_of_newest(shop) == set()
    standing, added, gone = effect(shop, "ledger restored", body | {"passes": "void"})
    assert (added, gone) == ({}, {})
    assert standing == {
        tag: touched("a restore of the ledger") for tag in ("P-1", "P-2", "P-3", "P-4", "T-1")
    }
    assert names_of_newest(shop) == {"N-1", "P-1", "P-2", "P-3", "P-4", "T-1"}


def never(shop: Shop) -> None:
    pass


TAKEN_BACK: dict[str, tuple[Callable[[Shop], object], str, Row, str]] = {
    "a hole that stands in the ledger": (
        with_hole, "holes recorded", {"tag": "P-1", "holes": [hole()]}, "hole P-1/A7 stands in the ledger already",
    ),
    "a hole of no pair": (
        never, "hole changed", {"hole_id": "P-1/A9", "changes": {"x_um": [1, 2]}}, "there is no hole P-1/A9",
    ),
    "holes of no pair": (never, "holes recorded", {"tag": "P-9", "holes": []}, "there is no pair P-9 in the ledger"),
    "a mount of no pair": (never, "mount recorded", MOUNT | {"tag": "P-9"}, "there is no pair P-9 in the ledger"),
    "a stated mount of no pair": (never, "mount stated", STATED | {"tag": "P-9"}, "there is no pair P-9 in the ledger"),
}  # fmt: skip


@pytest.mark.parametrize("name", TAKEN_BACK)
def test_what_cannot_be_entered(shop: Shop, name: str) -> None:
    before, what, body, sentence = TAKEN_BACK[name]
    before(shop)
    dump = shop.dump()
    with pytest.raises(Refused) as refused:
        shop.enter(what, body)
    assert refused.value.sentence == sentence
    assert shop.dump() == dump


@pytest.mark.parametrize(
    "changes",
    [
        {"state": ["open", "waxed"]},
        {"knowledge": ["measured here", "dreamt"]},
        {"diameter_um": [4_100, 0]},
    ],
)
def test_a_changed_hole_is_checked_as_a_new_one(shop: Shop, changes: Row) -> None:
    with_hole(shop)
    dump = shop.dump()
    with pytest.raises(BadInput, match="hole changed cannot be entered"):
        shop.enter("hole changed", {"hole_id": "P-1/A7", "changes": changes})
    assert shop.dump() == dump


def test_a_hole_that_is_not_there_is_not_changed_by_nothing(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        shop.enter("hole changed", {"hole_id": "P-1/A9", "changes": {}})
    assert (refused.value.sentence, refused.value.cure) == ("there is no hole P-1/A9", "check the id")


def test_a_binding_that_was_moved_since_is_not_withdrawn(shop: Shop) -> None:
    seq = shop.enter("binding recorded", binding_body("X-1"))
    shop.enter(
        "binding changed", {"binding_id": "X-1", "changes": {"on_pair": [None, "P-1"], "on_ski": [None, "A"]}}
    )
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert refused.value.sentence == "binding X-1 was moved since"
    assert refused.value.cure == "enter what is true now"


def test_a_boot_is_withdrawn_once_and_not_while_a_pair_or_an_order_names_it(shop: Shop) -> None:
    (seq,) = shop.ledger.connection.execute("SELECT entry FROM boot WHERE tag = 'B-305'").fetchone()
    shop.out("P-1", boot="B-305")
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert refused.value.sentence == "boot B-305 is in use: P-1 names it"
    shop.back("P-1")
    shop.enter("pair out", {"tag": "P-1", "boot": None, "due": None, "fit": "fit not checked"})
    shop.enter("order issued", issued("P-2"))
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert refused.value.sentence == "boot B-305 is in use: WO-1 names it"
    (seq,) = shop.ledger.connection.execute("SELECT entry FROM boot WHERE tag = 'B-310'").fetchone()
    standing, added, gone = undone(shop, seq)
    assert (standing, added, [row["tag"] for row in gone["boot"]]) == ({}, {}, ["B-310"])
    with pytest.raises(Refused) as refused:
        undone(shop, seq)
    assert refused.value.sentence == "boot B-310 is not in force any more"


def test_a_fit_is_withdrawn_once(shop: Shop) -> None:
    (seq,) = shop.ledger.connection.execute("SELECT entry FROM fit").fetchone()
    with shop.desk(IDA) as desk:
        withdraw(desk.tx, seq, by=IDA, why="wrong sheet", today=shop.today)
    assert shop.ledger.connection.execute("SELECT count(*) FROM fit").fetchone() == (0,)
