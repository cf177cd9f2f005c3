"""Odd but legal data from end to end: a shop in which every row that the importer lets in is a trap.

Every command ends with exit code 0 or 1 and a sentence (`FrontDoor` holds them to it), every healthy pair
comes out, and what does not come out is named.
"""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta
from html import escape
from pathlib import Path
from typing import Any
from unicodedata import normalize
from urllib.parse import urlencode

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from planner.pages.desks import Desks, Pins, open_desks
from planner.pages.web import ServedLedger
from tests.imports.books import BINDING, BOOT, FIT, SKI, T4H4, WANTED
from tests.odd_data.front_door import (
    BARE,
    HEAD,
    MANAGER,
    SECOND,
    TRAVELS,
    WITH_BINDING,
    FrontDoor,
    holes_of,
)
from tests.pages.browser import PagesBrowser

PICTOGRAPH, HEBREW, TURNED = "\U0001f3bf", "\u05d0\u05d1\u05d2", "a\u202eb\u2066c"
ACCENTS = "Cafe\u0301 Z\u0361o\u0300\u0302"
LONGEST_TAG = f"ALPINE-HALL-TWO-{'X' * 44}0417"
"""64 characters, as many as a tag may have."""
ZERO_WIDTH = "G\u200blade \u2060\ufeffninety\u00ad-six"
HEALTHY = [f"K-{n:03}" for n in range(1, 5)]
ODD_TAGS = [
    "FLEET-2026-0417-X",  # longer than the smallest code
    "ALPINE-HALL-TWO-SHELF-17-PAIR-2026-0000417",
    f"K{PICTOGRAPH}9",
    f"{HEBREW}-17",
    "../x",
    "-rf",
    "K 099",
    LONGEST_TAG,
    "=1+1",
    "@SUM(A1)",
    "<b>x</b>",
    "%s{0}",
    "\u017di\u017eka-\u010d",
    "\u65e5\u672c\u8a9e-17",  # no glyph of the type: the codes are printed
    "\u00e1\u0302\u0303b-1",
]
SLID = {"binding_model": "Travel 5", "brake_mm": 105, "bsl_mm": 310, "mark_offset_mm": 0, "earlier_mounts": 0}
BLANK: dict[str, Any] = {"tag": "K-BLANK", "kind": "telemark", "length_cm": 178}
UNKNOWN = dict.fromkeys(("waist_mm", "zone_back_mm", "zone_front_mm", "zone_half_width_mm"))
SKIS: list[dict[str, Any]] = [
    *(BARE | {"tag": tag} for tag in HEALTHY),
    *(BARE | {"tag": normalize("NFD", tag)} for tag in ODD_TAGS),  # accents apart, as some machines type
    BARE | {"tag": "K-MODEL", "model": f"Glade {PICTOGRAPH} {ACCENTS}", "rack": HEBREW},
    BARE | {"tag": "K-LONG", "model": "long name " * 40, "rack": "far wall " * 20},
    BARE | {"tag": "K-WAIST", "waist_mm": None},
    BARE | {"tag": "K-HUGE", "waist_mm": 140, "length_cm": 178},
    BARE | {"tag": "K-LINES", "model": "two\nlines", "rack": "a\r\nb\tc"},
    BARE | {"tag": "K-NOTE", "notes": f"{HEBREW} {PICTOGRAPH} " + "edge " * 98},
    BARE | {"tag": "K-ZERO-WIDTH", "model": ZERO_WIDTH, "rack": "\u200b"},
    BLANK,
    SKI | SLID | UNKNOWN | {"tag": "K-SLID"},
    SKI | SLID | {"tag": "K-BETTER-B", "ski": "A", "mark_from_tail_mm": None},
    SKI | SLID | {"tag": "K-BETTER-B", "ski": "B"},
    WITH_BINDING | {"tag": "K-MIXED"},
    # what follows is asked about, and left out
    WITH_BINDING | {"tag": "K-TWO", "ski": "A"},
    WITH_BINDING | {"tag": "K-TWO", "ski": "B", "binding_model": "Travel 5"},
    BARE | {"tag": "x" * 80},
]
BOOTS: list[dict[str, Any]] = [
    *(BOOT | {"tag": f"B-{n}", "bsl_mm": 305 + n % 3 * 5} for n in range(30)),
    BOOT | {"tag": "B-NO-SOLE", "bsl_mm": None},
    BOOT | {"tag": "B-NO-SIZE", "mondopoint": None, "bsl_mm": 305},
    BOOT | {"tag": f"BOOT-OF-THE-HALL-2026-0000417-{HEBREW}", "model": PICTOGRAPH * 30, "bsl_mm": 305},
    BOOT | {"tag": "B-ZERO", "bsl_mm": 0},
    BOOT | {"tag": "B-GIANT", "bsl_mm": 9999},
]
SHEETS: dict[str, list[dict[str, Any]]] = {
    "Skis": SKIS,
    "Boots": BOOTS,
    "Bindings": [
        BINDING | {"quantity": 30},
        BINDING | {"model": "Travel 5", "quantity": 0},
        BINDING | {"model": "Travel 5", "quantity": 1, "brake_mm": "none"},
        BINDING | {"quantity": 1, "serial": "1150²", "brake_mm": 110},
        BINDING | {"quantity": 1, "serial": "1150²", "brake_mm": 115},
    ],
    "Patterns": [*T4H4, *TRAVELS],
    "Holes": [*holes_of("K-BETTER-B", 310, "B"), *holes_of("K-MIXED")],
    "Fits": [FIT, FIT | {"pattern": "Tr5"}],
    "Wanted": [
        WANTED | {"quantity": 30},
        WANTED | {"wish": "W-NONE", "quantity": 0},
        WANTED | {"wish": f"W-{PICTOGRAPH}", "priority": 2},
        WANTED | {"wish": "W-TURNED", "length_min_cm": 180, "length_max_cm": 165},
    ],
}
REMARKS = [
    f"{PICTOGRAPH} fell\nthen\tstood",
    TURNED,
    "=1+1",
    "x" * 5000,
    f"{HEBREW} \x1b[31mred\x07",
    "'; DROP TABLE entries; --",
    "\ufffe\uffff\u2028",
    "\u200b\u2060",
    "x y\n" * 15_000,
    "{0} %s <script>alert(1)</script> [red]",
]


def begun(folder: Path, **sheets: list[dict[str, Any]]) -> FrontDoor:
    """The shop in that folder: what the importer asks about is left out, as it offers to."""
    door = FrontDoor(folder)
    said = door.take_in(**sheets)
    offered = re.search(r"--leave-out (?:'([^']*)'|(\S+)) --sha256 (\S+) --apply", said.out)
    if offered and not (folder / "mountbook.db").exists():
        left, digest = offered[1] or offered[2], offered[3]
        door("import", "own.xlsx", "--apply", "--zone", "Europe/Vienna", "--shop", "The shop",
             "--leave-out", left, "--sha256", digest)  # fmt: skip
    return door


def column(door: FrontDoor, query: str) -> list[str]:
    with sqlite3.connect(door.folder / "mountbook.db") as ledger:
        return [row[0] for row in ledger.execute(query)]


@pytest.mark.parametrize("each", [False, pytest.param(True, marks=pytest.mark.long)])
def test_hostile_but_legal_data_from_the_first_import_to_the_seasons_end(tmp_path: Path, each: bool) -> None:
    """``each``: all papers and pages of every pair, else they take turns, and each meets many odd tags."""
    (tmp_path / "shop").mkdir()
    door = begun(tmp_path / "shop", **SHEETS)
    tags = column(door, "SELECT tag FROM pair")
    assert set(tags) == {normalize("NFC", row["tag"]) for row in SKIS} - {"K-TWO", "x" * 80}
    [one] = column(door, "SELECT min(binding_id) FROM binding WHERE on_pair = 'K-MIXED'")
    assert door("correct", one, "pattern=Tr5", "brake_mm=", "--why", "a mixed pair").code == 0
    assert (
        door("policy", "set", "cure_wood_glue_hours", "1", "--origin", "x", "--yes", by="Wim Tarrow").code
        == 0
    )

    # planned, judged, issued
    assert door("plan", "--out", "p", "--html").code == 0
    plan = door.plan_json()
    planned = [each["pair"] for each in plan["sets"]]
    assert set(HEALTHY) | set(ODD_TAGS) | {"K-MODEL", "K-LONG", "K-SLID", "K-BETTER-B"} <= set(planned)
    assert {row["pair"] for row in plan["unplanned_pairs"]} == set(tags) - set(planned)
    assert all(row["reason"] for row in plan["unplanned_pairs"])
    assert plan["not_drawn"] == []
    assert door("order", "issue", "p").code == 0
    assert door("plan", "--out", "q", "--after", "p").code == 0
    assert door("plan", "--out", "p").code == 0, "into the folder that is there"
    sheets = "".join(door.pages("p/work_orders_issued.pdf")).replace(" ", "")
    assert all(tag in sheets for tag in HEALTHY)

    # done at the bench, passed, out and back
    for order in door("order", "list", "--json").json["orders"]:
        glue = "none" if order["way"] == "adjust" else "wood_glue"
        name = f"{order['order']} {order['revision']}"
        assert door("order", "done", name, "--glue", glue, by=SECOND).code == 0
    mounted = [tag for tag in tags if tag != "K-BLANK"]
    passed = ("prep", "sign", "--all", "not-moved", "--by", HEAD, "--")
    signed = [tag for tag in mounted if door(*passed, tag).code == 0]
    assert set(HEALTHY) | set(ODD_TAGS) <= set(signed)
    door.now += timedelta(hours=2)
    bare = ("policy", "set", "out_without_boot", "yes", "--origin", "tags that no boot has", "--yes")
    assert door(*bare, by=MANAGER).code == 0
    out = [tag for tag in signed if door("out", "--", tag).code == 0]
    assert set(HEALTHY) | set(ODD_TAGS) <= set(out)
    for number, tag in enumerate(out):
        said = REMARKS[number % len(REMARKS)]
        assert door("back", "--said", said, "--", tag).code == 0
    listed = door("recheck", "list", "--json").json
    assert {row["tag"] for row in listed["rows"]} == set(out)
    assert door("recheck", "print", "--out", "tonight.pdf").code == 0
    evening = "".join(door.pages("tonight.pdf"))
    assert all(tag in evening for tag in HEALTHY)
    assert "[U+1F3BF] fell" in evening
    scanned = "\n".join(out)
    assert door("recheck", "record", "--file", "-", "--all", "not-moved", given=scanned, by=HEAD).code == 0
    assert door("recheck", "close").code == 0

    # paper of every pair
    assert door("labels", "--", *tags).code == 0
    assert door("prep", "print", "--", *tags).code == 0
    assert door("hole-map", "--", *tags).code == 0
    papers = (["case"], ["ski", "--picture", "s.svg"], ["life"], ["survey", "--sheet", "s.pdf"])
    for turn, tag in enumerate(tags):
        assert door("hold", "--why", REMARKS[0], "--", tag).code == 0
        for typed in papers if each else (papers[turn % 4],):
            assert door(*typed, "--", tag).code == 0, (typed, tag)
        if each or turn % 2:
            door("why", "--", tag, "B-1")
        if each or not turn % 2:
            door("name-holes", "--", tag)
    assert door("hold-tag").code == 0

    # the served pages of every pair
    served = ServedLedger(door.folder / "mountbook.db", now=lambda: door.now)
    store = open_desks(None)
    desks = Desks(store, now=lambda: door.now)
    pins = Pins(store, now=lambda: door.now, zone="Europe/Vienna")
    browser = PagesBrowser(None, served, desks, pins)  # type: ignore[arg-type]
    for place in ("/today", "/find", "/counter", "/evening", "/bench", "/plan"):
        browser.get(place)
        assert browser.status == 200, place
    for tag in tags:
        page = browser.get(f"/find/pair?{urlencode({'tag': tag})}")
        assert browser.status == 200, tag
        assert escape(tag, quote=False) in page or escape(tag) in page, tag
        for place in ("/find/thing", "/find/picture.svg", "/evening/pair"):
            said = browser.get(f"{place}?{urlencode({'tag': tag})}")
            assert browser.status < 500, (place, tag)
            assert "<b>x</b>" not in said, (place, tag)

    # every list as another program asks for it: one object, millimetres, exit code 0 or 1
    for typed in (["recheck", "list"], ["order", "list", "--all"], ["season-end"], ["batch"], ["loosens"],
                  ["pattern", "list"], ["pattern", "show", "Tr5"], ["policy", "list"], ["staff", "list"],
                  ["recall", "list"], ["sample", "status"], ["life", HEALTHY[0]], ["ski", HEALTHY[0]],
                  ["where", HEALTHY[0], "T4/H4", "305"], ["why", HEALTHY[0], "B-1"], ["audit"],
                  ["plan", "--out", "r", "--seconds", "0"], ["argue", "W-03", "r"],
                  ["plan-compare", "p", "r"], ["case", HEALTHY[0]]):  # fmt: skip
        assert isinstance(door(*typed, "--json").json, dict), typed

    # the year's end, and all of it out and in again
    for typed in (["season-end"], ["loosens"], ["sample", "status"], ["batch"], ["pattern", "list"],
                  ["whatif", "--spacing", "12"], ["prep", "shop"], ["order", "list", "--all"],
                  ["bench", "plan", "--from", "2026-12-01", "--to", "2026-12-24", "--out", "b"],
                  ["recall", "open", "R", "--pattern", "T4/H4", "--from", "1100", "--to", "1999",
                   "--source", REMARKS[0]]):  # fmt: skip
        assert door(*typed).code in (0, 1), typed
    for typed, back in ((["export", "csv"], "csv"), (["export", "--xlsx", "all.xlsx"], "all.xlsx")):
        assert door(*typed).code == 0
        said_json = door("import", back, "--json").json
        assert (said_json["changes"]["new"], said_json["changes"]["changed"]) == (0, 0), back
    assert "sound" in door("audit").out
    copy = door("backup", "--json").json["backup"]
    assert door("restore", copy, by=MANAGER).code == 0
    assert [path.name for path in tmp_path.iterdir()] == ["shop"], "nothing outside the folder"


WORDS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30).filter(
    lambda words: not words.startswith("--")  # as an option's value it is taken for the next option
)
ROWS = st.lists(
    st.fixed_dictionaries({"tag": WORDS, "model": WORDS, "rack": WORDS, "serial": WORDS, "said": WORDS}),
    min_size=4,
    max_size=8,
)


def any_words(tmp_path_factory: pytest.TempPathFactory, rows: list[dict[str, str]]) -> None:
    """Whatever stands in those rows: what the importer lets in is planned, printed, listed or named."""
    door = begun(
        tmp_path_factory.mktemp("any"),
        Skis=[
            BARE | {"tag": "K-1"},
            *(BARE | {key: row[key] for key in ("tag", "model", "rack")} for row in rows),
        ],
        Bindings=[BINDING, *(BINDING | {"quantity": 1, "serial": row["serial"]} for row in rows)],
        Wanted=[WANTED | {"quantity": 20}],
    )
    if not (door.folder / "mountbook.db").exists():
        return
    tags = column(door, "SELECT tag FROM pair")
    plan = door("plan", "--out", "p")
    made = door.plan_json()
    assert {s["pair"] for s in made["sets"]} | {u["pair"] for u in made["unplanned_pairs"]} == set(tags)
    assert (plan.code == 1) == bool(made["not_drawn"])
    door("order", "issue", "p")
    for tag, row in zip(tags, rows, strict=False):
        assert door("back", "--said", row["said"], "--", tag).code in (0, 1)
    door("recheck", "list")
    assert door("recheck", "print", "--out", "tonight.pdf").code in (0, 1)
    labels = door("labels", "--", *tags)
    assert labels.code == 0 or "NOT PRINTED" in labels.err or "nothing to check" in labels.err
    door("recall", "open", "R", "--from", rows[0]["serial"], "--to", rows[-1]["serial"], "--source", "x")
    door("recall", "open", "R-1", "--pattern", "T4/H4", "--from", "1", "--to", "9", "--source", "x")
    assert door("season-end").code == 0
    assert door("export", "csv").code == 0
    back = door("import", "csv", "--json").json
    assert (back["changes"]["new"], back["changes"]["changed"]) == (0, 0)
    assert "sound" in door("audit").out


SLOW = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]


@settings(max_examples=3, deadline=None, suppress_health_check=SLOW)
@given(rows=ROWS)
def test_any_words_in_tags_models_racks_serials_and_remarks(
    tmp_path_factory: pytest.TempPathFactory, rows: list[dict[str, str]]
) -> None:
    any_words(tmp_path_factory, rows)


@pytest.mark.long
@settings(max_examples=150, deadline=None, suppress_health_check=SLOW)
@given(rows=ROWS)
def test_very_many_words_in_tags_models_racks_serials_and_remarks(
    tmp_path_factory: pytest.TempPathFactory, rows: list[dict[str, str]]
) -> None:
    any_words(tmp_path_factory, rows)
