"""What each kind of entry changes: of the pair's standing, and in the other tables. Nothing else changes.

P-1 is ready, passed by Ida, its bindings set for 305 mm; P-2 beside it must not feel anything.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from fleet.base.errors import Refused
from fleet.facts.holes import SkiFault
from tests.counter.shop import IDA, JORY, NELL, SANNE, Shop
from tests.events.effect import AT, THIS, Row, effect, stands_at

NOT_KNOWN: Row = {"stands": "{}"}
DAY = [{"day": "2026-12-27"}]
FAULT = next(iter(SkiFault)).value


def nothing(shop: Shop) -> None:
    pass


def out(shop: Shop) -> None:
    shop.out("P-1")


def held(shop: Shop) -> None:
    shop.enter("pair held", {"tag": "P-1"})


def found_loose(shop: Shop) -> None:
    shop.look("P-1", by=SANNE, found={"B heel": "more"})


def in_repair(shop: Shop) -> None:
    found_loose(shop)
    shop.enter("repair begun", {"tag": "P-1"})


def locked(shop: Shop) -> None:
    shop.enter("pair quarantined", {"tag": "P-1"})


def stopped(shop: Shop) -> None:
    found_loose(shop)
    shop.enter(
        "pair carried over",
        {
            "tag": "P-1",
            "from": "a list",
            "stops": "askew",
            "quarantine": False,
            "hold": False,
            "bench": True,
        },
    )


PASSED: Row = {"second_check": 0, "workers": "[]", "days_out": 0, "said_entry": 0, "unreached": "[]"}
SEEN = {side: {"toe": "not moved", "heel": "not moved"} for side in "AB"}


def looked(outcome: str, **facts: Any) -> Row:
    body = {
        "tag": "P-1",
        "kind": "recheck",
        "found": SEEN,
        "moved": [],
        "unreached": [],
        "outcome": outcome,
        "cause": "",
        "pattern": "Lark 4",
        "mount_entry": 7,
        "list": None,
        "list_of_another_day": False,
    }
    return body | facts


def look_row(outcome: str, *, moved: int = 0, days: int = 0) -> list[Row]:
    found = json.dumps(SEEN, separators=(",", ":"), sort_keys=True)
    return [
        {
            "entry": THIS, "tag": "P-1", "looked_at": AT, "kind": "recheck", "outcome": outcome, "moved": moved,
            "found": found, "pattern": "Lark 4", "mount_entry": 7, "days_out": days, "by": IDA,
        }
    ]  # fmt: skip


def back_three_days_later(shop: Shop) -> None:
    shop.out("P-1")
    shop.tick(minutes=3 * 24 * 60)


# before; the entry; what changes of P-1; the rows that come
Case = tuple[Callable[[Shop], object], str, Row, Row, dict[str, list[Row]]]
OF_P1: dict[str, Case] = {
    "set": (
        nothing, "binding set", {"tag": "P-1", "bsl_um": 310_500, "boot": None},
        {"stands": stands_at(310_500, "set, boot in")}, {},
    ),
    "out with the boot it is set for": (
        nothing, "pair out", {"tag": "P-1", "boot": "B-305", "due": "2026-12-29", "fit": "fits", "sole_um": 305_000},
        {"place": "out", "whereabouts": "out", "out_entry": THIS, "out_at": AT, "out_boot": "B-305",
         "out_due": "2026-12-29", "hires": 1}, {"operating_day": DAY},
    ),
    "out with another sole": (
        nothing, "pair out", {"tag": "P-1", "boot": "B-310", "due": None, "fit": "fits", "sole_um": 305_001},
        {"place": "out", "whereabouts": "out", "out_entry": THIS, "out_at": AT, "out_boot": "B-310", "hires": 1,
         **NOT_KNOWN}, {"operating_day": DAY},
    ),
    "out without a boot": (
        nothing, "pair out", {"tag": "P-1", "boot": None, "due": None, "fit": "fit not checked"},
        {"place": "out", "whereabouts": "out", "out_entry": THIS, "out_at": AT, "hires": 1, **NOT_KNOWN},
        {"operating_day": DAY},
    ),
    "back on the same day": (
        out, "pair back", {"tag": "P-1", "said": False},
        {"place": "back", "whereabouts": "shop", "return_entry": THIS, "return_at": AT, "days_out": 1,
         "days_hired": 1, "returns_since_work": 100, "returns_since_fault": 100}, {},
    ),
    "back after three days, and something was said": (
        back_three_days_later, "pair back", {"tag": "P-1", "said": True},
        {"place": "back", "whereabouts": "shop", "return_entry": THIS, "return_at": AT, "days_out": 3, "days_hired": 3,
         "said_entry": THIS, "returns_since_work": 100, "returns_since_fault": 100},
        {"operating_day": [{"day": "2026-12-30"}]},
    ),
    "back though it was never out": (
        nothing, "pair back", {"tag": "P-1", "said": False},
        {"place": "back", "return_entry": THIS, "return_at": AT, "days_out": 1, "days_hired": 1,
         "returns_since_work": 100, "returns_since_fault": 100, **NOT_KNOWN}, {"operating_day": DAY},
    ),
    "missing": (
        out, "pair moved", {"tag": "P-1", "to": "missing"}, {"place": "missing", "whereabouts": "missing"}, {},
    ),
    "sold": (nothing, "pair moved", {"tag": "P-1", "to": "sold"}, {"place": "sold", "whereabouts": "sold"}, {}),
    "in the shop again": (
        lambda shop: shop.enter("pair moved", {"tag": "P-1", "to": "missing"}), "pair moved",
        {"tag": "P-1", "to": "shop"},
        {"place": "back", "whereabouts": "shop", "return_entry": THIS, "return_at": AT, **NOT_KNOWN}, {},
    ),
    "due on another day": (
        out, "due changed", {"tag": "P-1", "due": "2026-12-31"}, {"out_due": "2026-12-31"}, {},
    ),
    "held": (nothing, "pair held", {"tag": "P-1"}, {"place": "hold", "hold_entry": THIS}, {}),
    "held while it is out": (out, "pair held", {"tag": "P-1"}, {"hold_entry": THIS}, {}),
    "held for another thing": (
        found_loose, "pair held", {"tag": "P-1"}, {"hold_entry": THIS, "hold_why": ""}, {},
    ),
    "held for a moved screw": (
        nothing, "pair held", {"tag": "P-1", "cause": "moved screw", "road": "second person"},
        {"place": "hold", "hold_entry": THIS, "finders": f'["{IDA}"]', "fault_entry": THIS, "fault_at": AT}, {},
    ),
    "held for a crack": (
        nothing, "pair held", {"tag": "P-1", "cause": "crack", "road": "head technician"},
        {"place": "hold", "stop_entry": THIS, "stop_why": "crack", "fault_entry": THIS, "fault_at": AT}, {},
    ),
    "held for a crack, stopped at the bench before": (
        stopped, "pair held", {"tag": "P-1", "cause": "crack", "road": "head technician"},
        {"stop_entry": THIS, "stop_why": "stopped at the bench; crack", "fault_entry": THIS, "fault_at": AT}, {},
    ),
    "a mere hold lifted": (held, "hold cleared", {"tag": "P-1", "hold": 1}, {"place": "ready", "hold_entry": 0}, {}),
    "the hold of a moved screw lifted": (
        found_loose, "hold cleared", {"tag": "P-1", "hold": 1},
        {"place": "back", "hold_entry": 0, "hold_why": "", "finders": "[]", "cleared_by": f'["{IDA}"]'}, {},
    ),
    "a stop ended, and the hold of a moved screw with it": (
        stopped, "stop ended", {"tag": "P-1", "stop": 1},
        {"place": "back", "hold_entry": 0, "hold_why": "", "finders": "[]", "cleared_by": f'["{IDA}"]',
         "stop_entry": 0, "stop_why": ""}, {},
    ),
    "a repair begun": (
        found_loose, "repair begun", {"tag": "P-1"}, {"place": "in repair", "repair_entry": THIS}, {},
    ),
    "a repair done": (
        in_repair, "repair done", {"tag": "P-1", "glued_with": []},
        {"place": "second check", "repair_entry": 0, "hold_entry": 0, "hold_why": "", "finders": "[]",
         "work_entry": THIS, "work_at": AT, "work_what": "a repair", "workers": f'["{IDA}"]', "second_check": 1,
         "returns_since_work": 0, **NOT_KNOWN}, {},
    ),
    "a repair with glue": (
        in_repair, "repair done", {"tag": "P-1", "glued_with": ["wood_glue", "epoxy"]},
        {"place": "second check", "repair_entry": 0, "hold_entry": 0, "hold_why": "", "finders": "[]",
         "work_entry": THIS, "work_at": AT, "work_what": "a repair", "workers": f'["{IDA}"]', "second_check": 1,
         "returns_since_work": 0, "glued_at": AT, "glued_with": '["epoxy", "wood_glue"]', **NOT_KNOWN},
        {"glue": [{"entry": THIS, "tag": "P-1", "at": AT, "stated": AT}]},
    ),
    "in quarantine": (
        nothing, "pair quarantined", {"tag": "P-1"},
        {"place": "quarantine", "quarantine_entry": THIS, "fault_entry": THIS, "fault_at": AT}, {},
    ),
    "a ski found faulty": (
        nothing, "ski fault found", {"tag": "P-1", "side": "B", "fault": FAULT},
        {"place": "hold", "stop_entry": THIS, "stop_why": f"ski B: {FAULT}", "fault_entry": THIS, "fault_at": AT}, {},
    ),
    "the other ski found faulty too": (
        lambda shop: shop.enter("ski fault found", {"tag": "P-1", "side": "B", "fault": FAULT}),
        "ski fault found", {"tag": "P-1", "side": "A", "fault": FAULT},
        {"stop_entry": THIS, "stop_why": f"ski B: {FAULT}; ski A: {FAULT}", "fault_entry": THIS, "fault_at": AT}, {},
    ),
    "out of quarantine": (
        locked, "quarantine cleared", {"tag": "P-1"}, {"place": "back", "quarantine_entry": 0}, {},
    ),
    "passed": (
        back_three_days_later, "pair looked at", looked("pass"),
        {"look_entry": THIS, "pass_entry": THIS, "pass_at": AT}, {"look": look_row("pass")},
    ),
    "passed by another after work": (
        lambda shop: shop.enter("repair done", {"tag": "P-1", "glued_with": []}, by=JORY),
        "pair looked at", looked("pass"),
        {"place": "ready", "look_entry": THIS, "pass_entry": THIS, "pass_at": AT, "second_check": 0, "workers": "[]"},
        {"look": look_row("pass")},
    ),
    "passed after it came back with words": (
        lambda shop: (shop.out("P-1"), shop.back("P-1", said="clicks")), "pair looked at", looked("pass"),
        {"place": "ready", "look_entry": THIS, "pass_entry": THIS, "pass_at": AT, "days_out": 0, "said_entry": 0},
        {"look": look_row("pass", days=1)},
    ),
    "passed after a hold was lifted and a piece not reached": (
        lambda shop: (
            found_loose(shop), shop.enter("hold cleared", {"tag": "P-1", "hold": 1}, by=JORY),
            shop.look("P-1", by=SANNE, found={"A toe": "cannot reach"}),
        ),
        "pair looked at", looked("pass"),
        {"place": "ready", "look_entry": THIS, "pass_entry": THIS, "pass_at": AT, "cleared_by": "[]", "unreached": "[]"},
        {"look": look_row("pass")},
    ),
    "found loose": (
        nothing, "pair looked at", looked("hold", moved=[["B", "heel"]], cause="ski B heel: more"),
        {"place": "hold", "look_entry": THIS, "fault_entry": THIS, "fault_at": AT, "loose": '[["B", "heel"]]',
         "returns_since_fault": 0, "hold_entry": THIS, "hold_why": "ski B heel: more", "finders": f'["{IDA}"]'},
        {"look": look_row("hold", moved=1)},
    ),
    "found loose by a second person": (
        found_loose, "pair looked at", looked("hold", moved=[["A", "toe"]], cause="ski A toe: more"),
        {"look_entry": THIS, "fault_entry": THIS, "fault_at": AT, "loose": '[["A", "toe"]]', "hold_entry": THIS,
         "hold_why": "ski A toe: more", "finders": f'["{IDA}", "{SANNE}"]'},
        {"look": look_row("hold", moved=1)},
    ),
    "left unfinished": (
        nothing, "pair looked at", looked("unfinished", unreached=[["A", "toe"], ["B", "heel"]]),
        {"place": "back", "look_entry": THIS, "unfinished_entry": THIS, "unfinished_at": AT,
         "unreached": '[["A", "toe"], ["B", "heel"]]'},
        {"look": look_row("unfinished")},
    ),
    "left unfinished, as layout 2 wrote it": (
        nothing, "pair looked at", looked("unfinished"), {"look_entry": THIS}, {"look": look_row("unfinished")},
    ),
    "a case": (nothing, "case made", {"tag": "P-1", "sha256": "0", "head": "1"}, {}, {}),
    "a test by a device": (
        nothing, "release test recorded",
        {"tag": "P-1", "side": "A", "piece": "toe", "device": "D", "result": "as wanted"}, {},
        {"release_test": [
            {"entry": THIS, "tag": "P-1", "side": "A", "piece": "toe", "device": "D", "outcome": "", "at": AT, "by": IDA}
        ]},
    ),
    "its partner lost": (
        nothing, "partner lost", {"tag": "P-1", "lost": "A"}, {"place": "retired", "whereabouts": "retired"},
        {"single_ski": [{"tag": "P-1", "side": "B"}]},
    ),
    "its other partner lost": (
        nothing, "partner lost", {"tag": "P-1", "lost": "B"}, {"place": "retired", "whereabouts": "retired"},
        {"single_ski": [{"tag": "P-1", "side": "A"}]},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OF_P1)
def test_what_an_entry_about_a_pair_changes(shop: Shop, name: str) -> None:
    before, what, body, facts, came = OF_P1[name]
    before(shop)
    standing, added, gone = effect(shop, what, body)
    assert standing == ({"P-1": facts} if facts else {})
    assert added == came
    assert gone == {}


def test_a_fact_of_earlier_does_not_move_the_time_of_a_later_one_back(shop: Shop) -> None:
    """Entered late, with a time before: by number it is the newest, by time the other stays."""
    for what, body, column in (
        ("pair back", {"tag": "P-1", "said": False}, "return"),
        ("pair moved", {"tag": "P-1", "to": "shop"}, "return"),
        ("repair done", {"tag": "P-1", "glued_with": ["epoxy"]}, "work"),
        ("pair quarantined", {"tag": "P-1"}, "fault"),
        ("pair looked at", looked("unfinished", unreached=[["A", "toe"]]), "unfinished"),
    ):
        shop.enter(what, body)
        standing, _, _ = effect(shop, what, body, at=shop.now - timedelta(minutes=30))
        assert standing["P-1"][f"{column}_entry"] == THIS, what
        assert f"{column}_at" not in standing["P-1"], what
        assert "glued_at" not in standing["P-1"], what


def test_the_place_keeps_its_entry_and_time_until_it_changes(shop: Shop) -> None:
    first = shop.enter("pair held", {"tag": "P-1"})
    at = shop.standing("P-1").since
    assert at.entry == first
    shop.enter("pair held", {"tag": "P-1"})
    assert shop.standing("P-1").since == at
    last = shop.enter("hold cleared", {"tag": "P-1", "hold": first})
    assert shop.standing("P-1").since.entry == last
    assert shop.standing("P-1").since.at > at.at


# a scan undone


@pytest.mark.parametrize("said", [False, True])
def test_a_scan_undone_leaves_the_row_as_it_was(shop: Shop, said: bool) -> None:
    def row() -> Row:
        cursor = shop.ledger.connection.execute("SELECT * FROM standing WHERE tag = 'P-1'")
        return dict(zip([column[0] for column in cursor.description], cursor.fetchone(), strict=True))

    kept = {"place_entry", "place_at"}
    before = row()
    number = shop.enter("pair back", {"tag": "P-1", "said": said})
    assert row()["undo_entry"] == number
    shop.enter(
        "scan undone", {"tag": "P-1", "entry": number, "what": "pair back", "of": NELL, "set_entry": None}
    )
    # hands may have been at it: what its binding stands at does not become known again
    assert {k: v for k, v in row().items() if k not in kept} == {
        k: v for k, v in (before | NOT_KNOWN | {"undo_entry": 0, "undo_row": ""}).items() if k not in kept
    }


def test_an_out_undone_that_said_the_binding_was_just_set(shop: Shop) -> None:
    """A slip is often the wrong tag, and then another pair was set."""
    for set_entry, stands in ((None, 305_000), (5, None)):
        number = shop.enter(
            "pair out",
            {
                "tag": "P-1",
                "boot": "B-305",
                "due": None,
                "fit": "fits",
                "sole_um": 305_000,
                "set_entry": set_entry,
            },
        )
        body = {"tag": "P-1", "entry": number, "what": "pair out", "of": NELL, "set_entry": set_entry}
        shop.enter("scan undone", body)
        assert shop.place("P-1").value == "ready"
        assert shop.standing("P-1").setting.bsl_um == stands


def test_what_came_after_a_scan_keeps_it(shop: Shop) -> None:
    number = shop.enter("pair back", {"tag": "P-1", "said": False})
    body = {"tag": "P-1", "entry": number, "what": "pair back", "of": NELL, "set_entry": None}
    for wrong in (number - 1, number + 1, 0):
        with pytest.raises(Refused, match=f"entry {wrong} cannot be undone: something came after it"):
            shop.enter("scan undone", body | {"entry": wrong})
    shop.enter("pair held", {"tag": "P-1"})
    with pytest.raises(Refused, match=f"entry {number} cannot be undone: something came after it"):
        shop.enter("scan undone", body)
    with pytest.raises(Refused, match="entry 0 cannot be undone"):
        shop.enter("scan undone", body | {"entry": 0})


# entries about the shop

OF_THE_SHOP: dict[str, tuple[str, Row, dict[str, list[Row]], list[str]]] = {
    "a policy": (
        "policy set",
        {"name": "spacing_mm", "value": "12", "unit": "mm", "origin": "ours", "since": "2026-12-01"},
        {"policy": [{"name": "spacing_mm", "value": "12", "unit": "mm", "origin": "ours", "since": "2026-12-01",
                     "entry": THIS}]},
        [],
    ),
    "a person again": (
        "staff listed",
        {"name": JORY, "role": "counter", "valid_until": "2028-05-31"},
        {"staff": [{"name": JORY, "role": "counter", "valid_until": "2028-05-31", "entry": THIS}]},
        ["staff"],
    ),
    "a fit again": (
        "fit declared",
        {"sole_type": "alpine A", "pattern": "Lark 4", "binding_sheet": "L-2", "boot_sheet": "S-2"},
        {"fit": [{"sole_type": "alpine A", "pattern": "Lark 4", "binding_sheet": "L-2", "boot_sheet": "S-2",
                  "entry": THIS}]},
        ["fit"],
    ),
    "a step of a kind of binding": (
        "kind step recorded",
        {"kind": "alpine", "step": "toe", "lead": "", "words": "as the maker says", "origin": "ours"},
        {"kind_step": [{"kind": "alpine", "step": "toe", "lead": "", "words": "as the maker says", "origin": "ours",
                        "entry": THIS}]},
        [],
    ),
    "a fit of another sole": (
        "fit declared",
        {"sole_type": "touring", "pattern": "Lark 4", "binding_sheet": "L-2", "boot_sheet": "S-2"},
        {"fit": [{"sole_type": "touring", "pattern": "Lark 4", "binding_sheet": "L-2", "boot_sheet": "S-2",
                  "entry": THIS}]},
        [],
    ),
    "a wish": (
        "wish recorded",
        {"wish": "W-1", "kind": "alpine", "length_min_mm": 1500, "length_max_mm": 1700, "mondopoint_min_mm": 240,
         "mondopoint_max_mm": 290, "quantity": 3, "priority": 1},
        {"wanted": [{"wish": "W-1", "kind": "alpine", "length_min_mm": 1500, "length_max_mm": 1700,
                     "mondopoint_min_mm": 240, "mondopoint_max_mm": 290, "quantity": 3, "priority": 1, "entry": THIS}]},
        [],
    ),
    "a recall": (
        "recall opened",
        {"recall": "R-1", "pattern": "Lark 4", "piece": "heel", "serial_from": "1", "serial_to": "9",
         "season": "2025", "source": "notice"},
        {"recall": [{"recall": "R-1", "pattern": "Lark 4", "piece": "heel", "serial_from": "1", "serial_to": "9",
                     "season": "2025", "source": "notice", "opened_entry": THIS, "closed_entry": None}]},
        [],
    ),
    "an evening": (
        "evening closed",
        {"day": "2026-12-27", "out": 7, "back": 4, "later": 2, "missing": 1},
        {"evening": [{"day": "2026-12-27", "out": 7, "back": 4, "later": 2, "missing": 1, "entry": THIS}]},
        [],
    ),
    "a count": (
        "stock counted",
        {"counted": 4, "expected": 5, "not_seen": ["P-1"], "unexpected": [["P-2", "out"]], "unknown": ["Q"]},
        {},
        [],
    ),
    "an import": (
        "import applied", {"file": "a.xlsx", "sha256": "0", "left_out": ["Skis:7"], "counts": {}, "entries": 0}, {}, [],
    ),
    "a boot": (
        "boot recorded",
        {"tag": "B-9", "model": "M", "mondopoint_mm": 270, "bsl_um": 312_000, "bsl_measured": "printed",
         "sole_type": "alpine A", "season": "2025", "pin_um": None, "kind": "alpine", "wear": "worn",
         "sole_measured_on": "2026-10-01"},
        {"boot": [{"tag": "B-9", "model": "M", "mondopoint_mm": 270, "bsl_um": 312_000, "bsl_measured": "printed",
                   "sole_type": "alpine A", "season": "2025", "pin_um": None, "kind": "alpine", "wear": "worn",
                   "sole_measured_on": "2026-10-01", "whereabouts": "shop", "hold_entry": 0, "back_entry": 0,
                   "entry": THIS}]},
        [],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OF_THE_SHOP)
def test_what_an_entry_about_the_shop_changes(shop: Shop, name: str) -> None:
    what, body, came, replaced = OF_THE_SHOP[name]
    standing, added, gone = effect(shop, what, body)
    assert standing == {}
    assert added == came
    assert list(gone) == replaced


def test_the_newest_of_a_name_takes_the_place_of_the_one_before(shop: Shop) -> None:
    step = OF_THE_SHOP["a step of a kind of binding"][1]
    for other in ({"step": "heel"}, {"kind": "touring"}):
        shop.enter("kind step recorded", step | other)
    for name in ("a policy", "a wish", "an evening", "a step of a kind of binding"):
        what, body, came, _ = OF_THE_SHOP[name]
        shop.enter(what, body)
        _, added, gone = effect(shop, what, body)
        assert added == came
        assert {table: len(rows) for table, rows in gone.items()} == dict.fromkeys(came, 1)
    pattern = json.loads(
        shop.ledger.connection.execute("SELECT body FROM pattern WHERE name = 'Lark 4'").fetchone()[0]
    )
    _, added, gone = effect(shop, "pattern recorded", pattern | {"binding_model": "Lark binding, newer"})
    assert [row["binding_model"] for row in added["pattern"]] == ["Lark binding, newer"]
    assert [row["name"] for row in gone["pattern"]] == ["Lark 4"]


def test_a_wish_withdrawn_and_a_recall_closed(shop: Shop) -> None:
    for name in ("a wish", "a recall"):
        shop.enter(*OF_THE_SHOP[name][:2])
        shop.enter(
            OF_THE_SHOP[name][0],
            {**OF_THE_SHOP[name][1], **({"wish": "W-2"} if name == "a wish" else {"recall": "R-2"})},
        )
    _, added, gone = effect(shop, "wish withdrawn", {"wish": "W-1"})
    assert (added, [row["wish"] for row in gone["wanted"]]) == ({}, ["W-1"])
    _, added, gone = effect(shop, "recall closed", {"recall": "R-1"})
    assert [(row["recall"], row["closed_entry"]) for row in added["recall"]] == [("R-1", THIS)]
    assert [row["recall"] for row in gone["recall"]] == ["R-1"]


# a sample

DRAWN: Row = {
    "day": "2026-12-27", "seed": "s", "reading": "pair", "lot": 5, "size": 2, "allowed": 0, "derived": False,
    "from_returns": ["P-1"], "from_rack": ["P-2 A"],
}  # fmt: skip


def test_a_sample_from_drawn_to_closed(shop: Shop) -> None:
    standing, added, _ = effect(shop, "sample drawn", DRAWN)
    assert standing == {}
    assert [(row["entry"], json.loads(row["body"]), row["outcome"]) for row in added["sample"]] == [
        (THIS, DRAWN, None)
    ]
    (number,) = shop.ledger.connection.execute("SELECT entry FROM sample").fetchone()
    other = shop.enter("sample drawn", DRAWN)
    result = {"sample": number, "unit": "P-2 A", "tag": "P-2", "found": "none", "device": "D"}
    standing, added, _ = effect(shop, "sample result", result)
    assert standing == {}
    assert added == {"sample_result": [{"entry": THIS, "sample": number, "unit": "P-2 A", "found": "none"}]}
    with pytest.raises(Refused, match="a sample ends with PASS or FAIL"):
        shop.enter("sample closed", {"sample": number, "outcome": "pass"})
    _, added, _ = effect(shop, "sample closed", {"sample": number, "outcome": "FAIL"})
    assert [(row["entry"], row["outcome"]) for row in added["sample"]] == [(number, "FAIL")]
    for what, body in (("sample result", result), ("sample closed", {"sample": number, "outcome": "PASS"})):
        with pytest.raises(Refused, match=f"sample {number} is not open"):
            shop.enter(what, body)
    shop.enter("sample closed", {"sample": other, "outcome": "PASS"})


def test_a_day_that_was_no_operating_day(shop: Shop) -> None:
    shop.out("P-1")
    shop.tick(minutes=24 * 60)
    shop.back("P-1")
    _, added, gone = effect(shop, "day not counted", {"day": "2026-12-27"})
    assert (added, gone) == ({}, {"operating_day": DAY})


# what is refused, with its cure

SAME_RECALL = OF_THE_SHOP["a recall"][1]
REFUSED: dict[str, tuple[Callable[[Shop], object], str, Row, str, str]] = {
    "no such pair": (
        nothing, "pair held", {"tag": "P-99"}, "there is no pair P-99 in the ledger", "check the tag",
    ),
    "moved by hand to out": (
        nothing, "pair moved", {"tag": "P-1", "to": "out"},
        "a pair is not moved to out by hand: that follows from what happened", "",
    ),
    "an evening one short": (
        nothing, "evening closed", {"day": "2026-12-27", "out": 7, "back": 4, "later": 2, "missing": 0},
        "the evening does not add up", "",
    ),
    "an evening one over": (
        nothing, "evening closed", {"day": "2026-12-27", "out": 7, "back": 5, "later": 2, "missing": 1},
        "the evening does not add up", "",
    ),
    "no single ski": (
        nothing, "single joined", {"tag": "P-1", "side": "A", "into": "P-2"}, "P-1/A is no single ski", "",
    ),
    "the other ski is the single one": (
        lambda shop: shop.enter("partner lost", {"tag": "P-1", "lost": "A"}),
        "single joined", {"tag": "P-1", "side": "A", "into": "P-2"}, "P-1/A is no single ski", "",
    ),
    "a ledger begun twice": (
        nothing, "ledger opened", {"shop": "S", "zone": "Europe/Vienna", "layout": 3}, "this ledger is open already", "",
    ),
    "a policy without an origin": (
        nothing, "policy set",
        {"name": "spacing_mm", "value": "12", "unit": "mm", "origin": "", "since": "2026-12-01"},
        "policy spacing_mm needs an origin", 'add --origin "where it comes from"',
    ),
    "a fit without the binding maker's sheet": (
        nothing, "fit declared", {"sole_type": "T", "pattern": "Lark 4", "binding_sheet": "", "boot_sheet": "S"},
        "the fit of T in Lark 4 needs both makers' sheets", "name the binding maker's and the boot maker's sheet",
    ),
    "a fit without the boot maker's sheet": (
        nothing, "fit declared", {"sole_type": "T", "pattern": "Lark 4", "binding_sheet": "L", "boot_sheet": ""},
        "the fit of T in Lark 4 needs both makers' sheets", "name the binding maker's and the boot maker's sheet",
    ),
    "no such wish": (nothing, "wish withdrawn", {"wish": "W-9"}, "there is no wish W-9", ""),
    "a recall of another piece": (
        nothing, "recall opened", SAME_RECALL | {"piece": "plate"},
        "a recall names toe, heel or neither, not 'plate'", "",
    ),
    "a recall twice": (
        lambda shop: shop.enter("recall opened", SAME_RECALL), "recall opened", SAME_RECALL,
        "recall R-1 stands in the ledger already", "give it another name",
    ),
    "a recall that is closed, closed again": (
        lambda shop: (shop.enter("recall opened", SAME_RECALL), shop.enter("recall closed", {"recall": "R-1"})),
        "recall closed", {"recall": "R-1"}, "there is no open recall R-1", "see `mountbook recall list`",
    ),
    "a boot twice": (
        lambda shop: shop.enter(*OF_THE_SHOP["a boot"][:2]), *OF_THE_SHOP["a boot"][:2],
        "boot B-9 stands in the ledger already", "",
    ),
    "a result of no sample": (
        nothing, "sample result", {"sample": 3, "unit": "P-1", "tag": "P-1", "found": "none", "device": "D"},
        "sample 3 is not open", "",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_an_entry_may_not_say(shop: Shop, name: str) -> None:
    before, what, body, sentence, cure = REFUSED[name]
    before(shop)
    dump = shop.dump()
    with pytest.raises(Refused) as refused:
        shop.enter(what, body)
    assert (refused.value.sentence, refused.value.cure) == (sentence, cure)
    assert shop.dump() == dump


def test_a_fact_of_one_ski_changes_that_ski_alone(shop: Shop) -> None:
    def marks() -> dict[str, int]:
        query = "SELECT side, mark_from_tail_um FROM ski WHERE tag = 'P-1'"
        return dict(shop.ledger.connection.execute(query))

    was = marks()
    moved = was["B"] + 3_000
    shop.enter("pair changed", {"tag": "P-1", "changes": {"B.mark_from_tail_um": [was["B"], moved]}})
    assert marks() == was | {"B": moved}
