"""One odd datum costs itself: plan, sheets and orders of all others come out, and the one is named."""

from __future__ import annotations

import json
import re
import sqlite3
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import fleet.rules.counter as counter
import fleet.rules.recheck as recheck
import planner.paper.issued_sheets as issued_sheets
import planner.paper.work_order_facts as facts
import planner.planning.assign.classes as classes
import planner.planning.assign.plan as expand
import planner.planning.assign.plan as plan_module
from tests.imports.books import BINDING, BOOT, FIT, MOUNTED, SKI, T4H4, WANTED
from tests.odd_data.front_door import BARE, WITH_BINDING, FrontDoor, holes_of

TRAVEL_ON = SKI | {
    "binding_model": "Travel 5", "brake_mm": 105, "bsl_mm": 310, "mark_offset_mm": 0, "earlier_mounts": 0
}  # fmt: skip
"""A pair whose binding may be slid to another sole; none of its holes is on record."""
BOOTS = [BOOT | {"tag": f"B-{n}", "bsl_mm": 305} for n in range(210, 216)]


def test_a_pair_of_which_neither_waist_nor_holes_are_known_is_planned_and_drawn(door: FrontDoor) -> None:
    blank = dict.fromkeys(("waist_mm", "zone_back_mm", "zone_front_mm", "zone_half_width_mm"))
    door.begin(Skis=[TRAVEL_ON | {"tag": "K-1"} | blank, BARE | {"tag": "K-2"}])
    assert door("plan", "--out", "p", "--html").code == 0
    ways = {s["pair"]: s["way"] for s in door.plan_json()["sets"]}
    assert ways == {"K-1": "adjust", "K-2": "all new"}
    assert "waist not known" in " ".join(door.pages("p/work_orders.pdf"))
    assert door("order", "issue", "p").code == 0
    assert door("hole-map", "K-1", "K-2", "--out", "map.pdf").code == 0


def test_a_pair_with_an_unknown_waist_is_named_with_what_to_measure(door: FrontDoor) -> None:
    door.begin(Skis=[BARE | {"tag": "K-1", "waist_mm": None}, BARE | {"tag": "K-2"}])
    assert door("plan", "--out", "p").code == 0
    plan = door.plan_json()
    assert [s["pair"] for s in plan["sets"]] == ["K-2"]
    [row] = plan["unplanned_pairs"]
    assert row["pair"] == "K-1"
    assert "not known of it, measure this: the waist" in row["reason"]


def test_a_pair_whose_ski_b_is_better_known_than_ski_a_is_planned_and_drawn(door: FrontDoor) -> None:
    door.begin(
        Skis=[TRAVEL_ON | {"tag": "K-1", "ski": "A"}, TRAVEL_ON | {"tag": "K-1", "ski": "B"}],
        Holes=holes_of("K-1", 310, "B"),
    )
    assert door("plan", "--out", "p", "--html").code == 0
    assert [s["pair"] for s in door.plan_json()["sets"]] == ["K-1"]
    [a, b] = door.pages("p/work_orders.pdf")
    assert "WORK ORDER, SKI A" in a
    assert "WORK ORDER, SKI B" in b
    assert door("order", "issue", "p").code == 0


def test_a_lone_binding_of_a_sort_is_no_pair_of_bindings_and_stops_no_plan(door: FrontDoor) -> None:
    """One of two put right: from now on an odd count of both sorts lies in stock."""
    door.begin(Bindings=[BINDING | {"quantity": 2}], Skis=[BARE | {"tag": f"K-{n}"} for n in range(3)])
    with sqlite3.connect(door.folder / "mountbook.db") as ledger:
        [one] = ledger.execute("SELECT min(binding_id) FROM binding").fetchone()
    assert door("correct", one, "brake_mm=110", "--why", "read it again").code == 0
    assert door("plan", "--out", "p").code == 0
    assert len(door.plan_json()["sets"]) == 1, "three bindings of the other sort are one pair, and one over"
    assert door("order", "issue", "p").code == 0


def unlucky(real: Any, tag: str) -> Any:
    """That function, which breaks for one pair: a fault that nobody foresaw."""

    def broken(*args: Any, **named: Any) -> Any:
        if any(tag in (getattr(each, "tag", None), getattr(each, "pair", None)) for each in args):
            raise KeyError("toe", 1)
        return real(*args, **named)

    return broken


def test_a_fault_in_drawing_one_pair_costs_its_sheet_and_no_other(
    door: FrontDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    door.begin()
    monkeypatch.setattr(facts, "ski_facts", unlucky(facts.ski_facts, "K-002"))
    said = door("plan", "--out", "p", "--html", may_fault=True)
    assert said.code == 1
    assert "NOT DRAWN: work order K-002: a fault of the program itself (KeyError: ('toe', 1))" in said.err
    kept = re.findall(r"\S*mountbook_fault_\w+\.txt", said.err)
    assert all("in broken" in Path(file).read_text(encoding="utf-8") for file in kept)
    assert len(kept) == 2, "one for the sheet, one for the page"
    plan = door.plan_json()
    assert [s["pair"] for s in plan["sets"]] == ["K-001", "K-002", "K-003"], "the plan itself stands"
    assert {row["name"] for row in plan["not_drawn"]} == {"K-002"}
    sheets = " ".join(door.pages("p/work_orders.pdf"))
    assert ("K-001" in sheets, "proposal for K-002" in sheets, "K-003" in sheets) == (True, False, True)
    page = (door.folder / "p" / "plan.html").read_text(encoding="utf-8")
    assert "This order could not be drawn: a fault of the program itself" in page


def test_only_the_order_whose_sheet_cannot_be_drawn_is_not_issued(
    door: FrontDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    door.begin()
    door("plan", "--out", "p")
    monkeypatch.setattr(facts, "ski_facts", unlucky(facts.ski_facts, "K-002"))
    said = door("order", "issue", "p", may_fault=True)
    assert said.code == 1
    assert "NOT ISSUED: work order K-002: a fault of the program itself" in said.err
    assert said.out.startswith("2 work orders issued")
    orders = {order["pair"] for order in door("order", "list", "--json").json["orders"]}
    assert orders == {"K-001", "K-003"}
    assert len(door.pages("p/work_orders_issued.pdf")) == 2
    monkeypatch.undo()
    assert door("order", "issue", "p").code == 0, "mended, the third is issued and the two stand"
    assert len(door("order", "list", "--json").json["orders"]) == 3


def test_a_pair_that_gets_its_binding_off_one_that_is_not_issued_waits_with_it(
    door: FrontDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """K-1 carries the one T4/H4 of the shop and gets another binding; K-2 waits for the T4/H4."""
    door.begin(
        Skis=[WITH_BINDING | {"tag": "K-1"}, BARE | {"tag": "K-2", "length_cm": 168}, BARE | {"tag": "K-3"}],
        Holes=holes_of("K-1"),
        Bindings=[BINDING | {"model": "Travel 5", "quantity": 2}],
        Fits=[FIT, FIT | {"sole_type": "touring", "pattern": "Tr5"}],
        Boots=[
            *(
                BOOT | {"tag": f"B-{n}", "bsl_mm": 305, "mondopoint": 27, "sole_type": "touring"}
                for n in (1, 2)
            ),
            BOOT | {"tag": "B-3", "bsl_mm": 305, "mondopoint": 28},
        ],
        Wanted=[
            WANTED | {"length_min_cm": 175, "mondopoint_min": 27, "mondopoint_max": 27, "quantity": 2},
            WANTED | {"wish": "W-4", "length_max_cm": 170, "mondopoint_min": 28, "quantity": 1},
        ],
    )
    assert door("plan", "--out", "p").code == 0
    assert {s["pair"]: s["binding_from"] for s in door.plan_json()["sets"]} == {
        "K-1": "stock", "K-2": "K-1", "K-3": "stock"
    }  # fmt: skip
    monkeypatch.setattr(facts, "ski_facts", unlucky(facts.ski_facts, "K-1"))
    said = door("order", "issue", "p", "--json", may_fault=True)
    assert said.code == 1
    assert [order["pair"] for order in said.json["issued"]] == ["K-3"]
    reasons = {row["name"]: row["reason"] for row in said.json["not_issued"]}
    assert reasons["K-2"] == "its binding comes off K-1, whose work order is not issued"
    assert "KeyError" in reasons["K-1"]


@pytest.mark.parametrize("where", ["problem", "expand"])
def test_a_fault_in_planning_with_one_pair_costs_that_pair_and_no_other(
    door: FrontDoor, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    door.begin()
    if where == "problem":
        monkeypatch.setattr(classes, "frame_of", unlucky(classes.frame_of, "K-002"))
    else:
        monkeypatch.setattr(expand.Twins, "way_of", unlucky(expand.Twins.way_of, "K-002"))
    said = door("plan", "--out", "p", may_fault=True)
    assert said.code == 1
    assert "SET ASIDE: pair K-002: a fault of the program itself (KeyError: ('toe', 1))" in said.err
    plan = door.plan_json()
    assert [s["pair"] for s in plan["sets"]] == ["K-001", "K-003"]
    [row] = plan["unplanned_pairs"]
    assert (row["pair"], row["reason"][:10]) == ("K-002", "set aside:")
    assert plan["set_aside"][0]["name"] == "K-002"
    assert plan["status"] == "proved best"
    assert door("order", "issue", "p", may_fault=True).code == 0, "judged again, that pair set aside"
    plan["sets"][0]["pair"], plan["set_aside"][0]["name"] = "K-002", "K-001"
    (door.folder / "p" / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    assert "the plan no longer holds" in door("order", "issue", "p", may_fault=True).err


def test_a_fault_that_is_not_of_one_thing_stops_the_plan_and_says_so(
    door: FrontDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    door.begin()
    monkeypatch.setattr(plan_module, "totals_of", lambda *_, **__: 1 // 0)
    said = door("plan", "--out", "p", may_fault=True)
    assert said.code == 1
    assert "a fault of the program itself (ZeroDivisionError" in said.err
    assert not (door.folder / "p").exists()


@pytest.mark.parametrize(("written", "kept"), [("1150²", "1150²"), ("１１５０", "1150"), ("①②", "①②")])
def test_a_raised_digit_of_a_serial_stays_raised_through_import_and_export(
    door: FrontDoor, written: str, kept: str
) -> None:
    door.begin(Bindings=[BINDING | {"quantity": 1, "serial": written}])
    with sqlite3.connect(door.folder / "mountbook.db") as ledger:
        found = ledger.execute("SELECT DISTINCT serial_toe FROM binding").fetchall()
    assert found == [(kept,)]
    for typed, back in ((["export", "csv"], "csv"), (["export", "--xlsx", "all.xlsx"], "all.xlsx")):
        assert door(*typed).code == 0
        said = door("import", back, "--json")
        assert (said.code, said.json["changes"]["new"], said.json["changes"]["changed"]) == (0, 0, 0)


def test_a_fault_at_one_scan_costs_that_scan_and_the_counter_goes_on(
    rented: FrontDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(counter, "read_standing", unlucky_tag(counter.read_standing, "K-001"))
    said = rented("counter", given="K-001\nK-002\nquit\n", may_fault=True)
    assert said.code == 1
    first, second, last = said.out.splitlines()
    assert first.startswith("REFUSED  a fault of the program itself (KeyError: 'K-001')")
    assert second.startswith("K-002  BACK")
    assert last == "out 0, back 1"


def test_a_pair_whose_record_ends_in_a_fault_stands_first_on_the_list_and_on_its_paper(
    rented: FrontDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    for tag in ("K-002", "K-001"):
        rented("back", tag)
    monkeypatch.setattr(recheck, "_why", unlucky_tag(recheck._why, "K-001"))
    said = rented("recheck", "list", may_fault=True)
    assert said.code == 1
    rows = [line.split()[0] for line in said.out.splitlines() if line.startswith("K-")]
    assert rows == ["K-001", "K-002"]
    assert "its record cannot be read (KeyError: 'K-001'): look at every screw" in said.out
    assert "NOT READ, and to be looked at first: record K-001" in said.err
    assert rented("recheck", "print", "--out", "t.pdf", may_fault=True).code == 1
    [page] = rented.pages("t.pdf")
    assert "its record cannot be read" in page
    assert "K-002" in page


def unlucky_tag(real: Any, tag: str) -> Any:
    """That function, which breaks where the tag is among its arguments or is that of one."""

    def broken(*args: Any, **named: Any) -> Any:
        if any(tag in (each, getattr(each, "tag", None)) for each in (*args, *named.values())):
            raise KeyError(tag)
        return real(*args, **named)

    return broken


@pytest.mark.parametrize(
    "broken", ["slides = '{}'", "slides = 'no json'", """slides = '{"slides": [{"x": 1}]}'"""]
)
def test_a_mount_that_cannot_be_read_costs_its_pair_the_picture_and_no_other_pair_the_list(
    rented: FrontDoor, broken: str
) -> None:
    for tag in ("K-002", "K-001"):
        rented("back", tag)
    rented.spoil(f"UPDATE mount SET {broken} WHERE tag = 'K-002'")
    said = rented("recheck", "list", may_fault=True)
    assert said.code == 1
    rows = [line.split()[0] for line in said.out.splitlines() if line.startswith("K-")]
    assert rows == ["K-002", "K-001"]
    assert "its record cannot be read" in said.out
    assert "NOT READ, and to be looked at first: record K-002" in said.err
    assert rented("recheck", "print", "--out", "t.pdf", may_fault=True).code == 1
    assert "K-001" in rented.pages("t.pdf")[0]


def test_a_program_that_asks_for_a_pattern_reads_millimetres(rented: FrontDoor) -> None:
    said = rented("pattern", "show", "Tr5", "--json").json
    toe = next(piece for piece in said["pieces"] if piece["name"] == "toe")
    assert (toe["travel_back_mm"], toe["travel_forward_mm"]) == (15.0, 15.0)
    first = T4H4[0]
    assert {"x_mm": first["x_mm"], "y_mm": first["y_mm"]}.items() <= toe["holes"][0].items()


@pytest.mark.parametrize("scans", [0, 1, 2, 9])
def test_a_counter_scans_while_the_sheets_of_an_issue_are_drawn(
    rented: FrontDoor, monkeypatch: pytest.MonkeyPatch, scans: int
) -> None:
    """It waits for the last try at most, and the head that the sheets name is one of the ledger."""
    rented.take_in(Skis=[BARE | {"tag": f"K-01{n}"} for n in range(4)])
    assert rented("plan", "--out", "p").code == 0
    touched = [each for each in rented.plan_json()["sets"] if each["way"] != "as it is"]
    assert len(touched) > 2
    real, left, entered = issued_sheets.issued_pdf, [scans], [0]

    def drawing(*args: Any, **named: Any) -> Any:
        if left[0]:
            left[0] -= 1
            other = FrontDoor(rented.folder, rented.now)
            monkeypatch.setattr("fleet.tables.connection.BUSY_SECONDS", 0.01)
            entered[0] += other("remark", "5", "--why", "seen").code == 0
        return real(*args, **named)

    monkeypatch.setattr(issued_sheets, "issued_pdf", drawing)
    assert rented("order", "issue", "p").code == 0
    assert entered[0] == min(scans, 3), "only on the last try it waits"
    assert len(rented("order", "list", "--json").json["orders"]) == len(touched)
    [head] = set(re.findall(r"\b\d+:[0-9a-f]{8}\b", " ".join(rented.pages("p/work_orders_issued.pdf"))))
    assert rented("audit", "--head", head).code == 0
    assert not list(rented.folder.rglob(".*"))


def test_a_pair_that_comes_back_after_the_plan_keeps_no_order_of_other_pairs_from_being_issued(
    rented: FrontDoor,
) -> None:
    rented.take_in(Skis=[BARE | {"tag": f"K-01{n}"} for n in range(4)])
    assert rented("plan", "--out", "p").code == 0
    planned = {each["pair"] for each in rented.plan_json()["sets"] if each["way"] != "as it is"}
    assert rented("back", "K-001").code == 0
    assert rented("order", "issue", "p").code == 0
    assert {order["pair"] for order in rented("order", "list", "--json").json["orders"]} == planned
    assert rented("hold", "K-010", "--why", "edge cracked").code == 0
    said = rented("order", "issue", "p", "--json")
    assert said.code == 1, "what hands would do is judged today"
    [fault] = said.json["not_issued"]
    assert fault["name"] == "K-010"
    assert "on K-010: the pair is on hold" in fault["reason"]
    assert "plan again: mountbook plan --out FOLDER" in fault["reason"]
    assert "NOT ISSUED: work order K-010: its set no longer holds for today's ledger" in said.err
    assert [name[-1] for name in said.json["collect"]] == ["A"], "the sheet of the held pair, and no other"
    left = {order["pair"] for order in rented("order", "list", "--json").json["orders"]}
    assert left == planned - {"K-010"}


def test_pairs_at_fault_since_the_plan_cost_their_own_orders_only(
    door: FrontDoor,
) -> None:
    """One held, one that turned out too short for what is wanted; the rest goes on until none is left."""
    tags = [f"K-{n:03}" for n in range(1, 7)]
    door.begin(
        Skis=[WITH_BINDING | {"tag": tag} for tag in tags[:2]] + [BARE | {"tag": tag} for tag in tags[2:]],
        Holes=[hole for tag in tags[:2] for hole in holes_of(tag)],
        Bindings=[BINDING | {"quantity": 6}],
        Wanted=[WANTED | {"quantity": 6}],
    )
    assert door("plan", "--out", "p").code == 0
    sets = {each["pair"]: each for each in door.plan_json()["sets"]}
    drilled = [tag for tag, each in sets.items() if each["way"] == "all new"]
    assert len(drilled) == 4
    assert door("hold", drilled[0], "--why", "edge cracked").code == 0
    assert door("correct", drilled[1], "length_cm=140", "--why", "read wrongly").code == 0
    said = door("order", "issue", "p", "--json")
    assert said.code == 1
    assert {fault["name"] for fault in said.json["not_issued"]} == set(drilled[:2])
    assert [order["pair"] for order in said.json["issued"]] == drilled[2:]
    sheets = " ".join(door.pages("p/work_orders_issued.pdf"))
    assert all(tag in sheets for tag in drilled[2:])
    assert not any(tag in sheets for tag in drilled[:2])
    for tag in (*tags[:2], *drilled[2:]):
        assert door("hold", tag, "--why", "edge cracked").code == 0
    assert "the plan no longer holds for today's ledger" in door("order", "issue", "p").err, "none is left"


def short(door: FrontDoor) -> list[str]:
    return [row["remedy"] for row in door.plan_json()["unserved"]]


NEW = SKI | {"inspected": "new", "inspected_on": date(2026, 10, 20)}
NO_ZONE = dict.fromkeys(("zone_back_mm", "zone_front_mm", "zone_half_width_mm"))


def test_measure_this_comes_before_buy_that_with_how_many_how_long_and_how_many_sets(door: FrontDoor) -> None:
    """Eight new skis without a zone: the planner says what they would bring; the rest is bought."""
    door.begin(
        Skis=[BARE | {"tag": "K-1"}, *(NEW | NO_ZONE | {"tag": f"N-{n}"} for n in range(1, 5))],
        Wanted=[WANTED | {"quantity": 7}],
        Boots=[BOOT | {"tag": f"B-{n}", "bsl_mm": 305} for n in range(7)],
    )
    said = door("plan", "--out", "p")
    assert said.code == 0
    assert len(door.plan_json()["sets"]) == 1
    [remedy] = short(door)
    assert remedy.startswith(
        "measure first: the mounting zone and the holes seen bare (or that it is new) of 4"
        " (N-1, N-2, N-3, N-4), about 10 minutes; serves up to 4 more sets; then buy"
    )
    assert "measure first" in said.out
    assert "measure first: the mounting zone" in " ".join(door("argue", "W-03", "p").out.split())
    measured = {"zone_back_mm": 330, "zone_front_mm": 280, "zone_half_width_mm": 38}
    door.take_in(
        Skis=[BARE | {"tag": "K-1"}, *(NEW | measured | {"tag": f"N-{n}"} for n in range(1, 5))],
        Wanted=[WANTED | {"quantity": 7}],
        Boots=[BOOT | {"tag": f"B-{n}", "bsl_mm": 305} for n in range(7)],
    )
    assert door("plan", "--out", "p").code == 0
    assert len(door.plan_json()["sets"]) == 5, "it was no more than it said"
    assert not any("measure first" in remedy for remedy in short(door))


@pytest.mark.parametrize(
    ("unknown", "fact", "minutes"),
    [
        ({"waist_mm": None}, "the waist", "2 minutes"),
        (
            {"inspected": None, "inspected_on": None},
            "the holes seen bare (or that it is new) of N-1",
            "3 minutes",
        ),
        (NO_ZONE, "the mounting zone and the holes seen bare (or that it is new) of N-1", "3 minutes"),
    ],
)
def test_one_pair_of_which_something_is_not_known_is_named_with_it(
    door: FrontDoor, unknown: dict[str, Any], fact: str, minutes: str
) -> None:
    known, wanted = {"tag": "K-1"}, [WANTED | {"quantity": 2}]
    door.begin(Skis=[NEW | known, NEW | unknown | {"tag": "N-1"}], Wanted=wanted)
    assert door("plan", "--out", "p").code == 0
    [remedy] = short(door)
    assert remedy.startswith(f"measure first: {fact}")
    assert f" of N-1, about {minutes}; serves up to 1 more set; then " in remedy


def test_what_would_serve_no_set_more_is_not_to_be_measured(door: FrontDoor) -> None:
    """Six boots, six pairs known: the seventh set wants a boot, and no ski that nobody measured."""
    skis = [NEW | {"tag": f"K-{n}"} for n in range(6)]
    door.begin(Skis=[*skis, NEW | NO_ZONE | {"tag": "N-1"}], Wanted=[WANTED | {"quantity": 7}])
    assert door("plan", "--out", "p").code == 0
    assert len(door.plan_json()["sets"]) == 6
    [remedy] = short(door)
    assert remedy.startswith("buy 1 pair of boots")


@pytest.mark.parametrize("written", ["none", "None", " no brake ", "ohne Bremse"])
def test_none_in_a_brake_column_says_that_there_is_no_brake_and_asks_nothing(
    door: FrontDoor, written: str
) -> None:
    door.begin(
        Bindings=[BINDING | {"quantity": 1, "brake_mm": written}],
        Skis=[MOUNTED | {"tag": "K-1", "brake_mm": written}],
    )
    with sqlite3.connect(door.folder / "mountbook.db") as ledger:
        assert ledger.execute("SELECT DISTINCT brake_um FROM binding").fetchall() == [("none",)]
    for unclear in ("nein?", "yes", "?"):
        said = door.take_in(Bindings=[BINDING | {"quantity": 1, "brake_mm": unclear}])
        assert "brake width" in said.all, "nothing else is taken for it"
