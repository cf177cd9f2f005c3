"""The sheet of each branch, followed by somebody who reads only its words and types only its lines.

What stands in the ledger after it, and what the next plan makes of it, is asked of the ledger.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from fleet.facts.holes import HoleState, Side, short_id
from fleet.facts.standing import Place
from planner.bench.orders.branches import branch_rows
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY
from tests.orders.bench_shop import BenchShop
from tests.paper.follower import Word, read

ORDER = "WO-2612-0001 A"
ABOUT_A_HOLE = ("plug", "insert", "move")
ABOUT_A_SKI = ("slipped", "wet-core", "crack", "delamination")


def spinning(shop: BenchShop, side: Side = Side.B) -> str:
    """The id of the first old hole of that ski that the open order reuses."""
    [planned] = shop.plan().sets
    return str(next(h.hole_id for h in planned.way.skis[side].holes if h.do == "reuse"))


def lines_to_type(pages: list[list[Word]]) -> list[str]:
    """The commands on the sheet, each joined again where it was broken: its next line stands below it, at the
    same place, in the same type.
    """
    words = [word for page in pages for word in page]
    found = []
    for at, word in enumerate(words):
        if word.text.startswith("mountbook "):
            line, below = word.text, word.y
            for more in words[at + 1 :]:
                if more.text.startswith("mountbook ") or abs(more.size - word.size) > 0.01:
                    break
                if 0 < more.y - below < 14:
                    line, below = f"{line} {more.text}", more.y
            found.append(line)
    return found


def put(text: str, folder: Path, by: str) -> str:
    """The words in capitals, as somebody at this bench puts them."""
    for word, value in {
        "HEAD-TECHNICIAN": IDA,
        "NAME": by,
        "WHAT": "nothing",
        "GLUE": "none",
        "DIAMETER": "9.0",
        "X,Y": "40.0,5.0",
        "REASON": "looked at it, it can be worked on",
        "FOLDER": str(folder),
    }.items():
        text = text.replace(word, value)
    assert not re.search(r"\b[A-Z]{4,}\b", text.replace("WO-", "")), text
    return text


def follow(shop: BenchShop, command: Command, folder: Path, *asked: str) -> str:
    """Print the sheet, type its lines; the words of the sheet."""
    out = folder / "branch.pdf"
    assert command("order", "branch", ORDER, *asked, "--out", str(out)).returncode == 0
    pages = read(out.read_bytes())
    for line in lines_to_type(pages):
        program, *words = shlex.split(line)
        assert program == "mountbook"
        command.wait(minutes=60)
        by = IDA if words[:2] == ["order", "issue"] else JORY
        typed = [put(word, folder / "plan", by) for word in words]
        answer = command(*typed)
        assert answer.returncode == 0, (typed, answer.stdout)
    return " ".join(word.text for page in pages for word in page)


def hole_of(shop: BenchShop, hole_id: str) -> tuple[HoleState, int | None]:
    holes = {h.hole_id: h for ski in shop.fleet().pairs["K-1"].skis.values() for h in ski.holes}
    return holes[hole_id].state, holes[hole_id].diameter_um


def ready_for_screws(shop: BenchShop) -> str:
    """The order's own plugs are in and cured, and now a screw spins."""
    spun = spinning(shop)
    shop.issue()
    shop.first_visit()
    return spun


@pytest.mark.parametrize("side", list(Side))
def test_plug_and_drill_again_are_two_visits_of_the_same_order(
    shop: BenchShop, command: Command, tmp_path: Path, side: Side
) -> None:
    spun = spinning(shop, side)
    shop.issue()
    shop.first_visit()
    said = follow(shop, command, tmp_path, "plug", "--hole", short_id(spun))
    assert "Epoxy, cure 0.5 hours" in said
    assert f"Drill hole {short_id(spun)} again in the same place: Ø 3.6" in said
    assert hole_of(shop, spun) == (HoleState.SCREWED, 3_600)
    assert shop.place("K-1") is Place.SECOND_CHECK


def test_a_filled_hole_is_not_drilled_again_before_it_has_cured(shop: BenchShop, command: Command) -> None:
    spun = ready_for_screws(shop)
    shop.tick(minutes=600)
    plugged = command("order", "plugged", ORDER, "--spins", short_id(spun), "--by", JORY, "--json").json
    assert (plugged["plugged"], plugged["filler"]) == ([spun], "epoxy")
    assert hole_of(shop, spun)[0] is HoleState.PLUGGED
    done = ("order", "done", ORDER, "--glue", "none", "--by", JORY, "--json")
    assert "its epoxy cures until" in command(*done).json["refused"]
    command.wait(minutes=30)
    assert command(*done).json["place"] == "second check"


@pytest.mark.parametrize("side", list(Side))
def test_an_insert_takes_its_own_screw_from_then_on_and_never_glue(
    shop: BenchShop, command: Command, tmp_path: Path, side: Side
) -> None:
    spun = spinning(shop, side)
    shop.issue()
    shop.first_visit()
    said = follow(shop, command, tmp_path, "insert", "--hole", short_id(spun))
    assert "Its own machine screw, by hand, no glue" in said
    assert "Epoxy, cure 0.5 hours. No screw before it has cured" in said
    assert hole_of(shop, spun) == (HoleState.INSERT, 9_000)
    assert shop.standing("K-1").glued_with == ("epoxy",), "that of the insert; the screws took none"
    others = [h for ski in shop.fleet().pairs["K-1"].skis.values() for h in ski.holes if h.hole_id != spun]
    assert HoleState.INSERT not in {hole.state for hole in others}
    for planned in shop.plan().sets:
        for ski in planned.way.skis.values():
            taken = {hole.hole_id for hole in ski.holes if planned.way.rung.rank > 1}
            assert spun not in taken | set(ski.plug)


@pytest.mark.parametrize("said", ["=3.6", "=0", "=", "=wide"])
def test_an_insert_in_a_hole_that_is_not_wider_is_a_slip_of_the_pen(
    shop: BenchShop, command: Command, said: str
) -> None:
    spun = ready_for_screws(shop)
    command.wait(minutes=600)
    before = shop.dump()
    insert = ("--insert", f"{short_id(spun)}{said}")
    answer = command("order", "done", ORDER, *insert, "--glue", "none", "--by", JORY, "--json")
    assert answer.returncode == 1
    assert "insert" in answer.json["refused"]
    assert shop.dump() == before


def test_a_new_hole_may_hold_an_insert_too(shop: BenchShop, command: Command) -> None:
    """Its thread was stripped at once: the hole that the order drilled is an insert's."""
    [order] = shop.issue().orders
    shop.first_visit()
    command.wait(minutes=600)
    new = next(
        str((order.holes or {})[Side.A, hole.piece, hole.number])
        for hole in order.planned.way.skis[Side.A].holes
        if hole.do == "drill"
    )
    insert = ("--insert", f"{short_id(new)}=9.0")
    assert command("order", "done", ORDER, *insert, "--glue", "none", "--by", JORY).returncode == 0
    assert hole_of(shop, new) == (HoleState.INSERT, 9_000)


def test_the_move_goes_to_another_place_and_plugs_the_hole(
    shop: BenchShop, command: Command, tmp_path: Path
) -> None:
    spun = spinning(shop)
    shop.issue()
    follow(shop, command, tmp_path, "move", "--hole", short_id(spun))
    assert hole_of(shop, spun)[0] is HoleState.STRIPPED
    [planned] = shop.plan().sets
    used = {hole.hole_id for ski in planned.way.skis.values() for hole in ski.holes}
    assert spun not in used
    assert spun in planned.way.skis[Side.B].plug
    listed = command("order", "list", "--json").json["orders"]
    assert [(row["pair"], row["order"]) for row in listed] == [("K-1", "WO-2612-0002")]


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("branch", ABOUT_A_SKI)
def test_what_is_wrong_with_a_ski_is_entered_of_that_ski_and_the_head_technician_ends_it(
    shop: BenchShop, command: Command, tmp_path: Path, branch: str, side: Side
) -> None:
    shop.issue()
    said = follow(shop, command, tmp_path, branch, "--ski", side.value)
    assert f"SKI {side}" in said or f"ski {side}" in said
    whys = [row[0] for row in shop.ledger.connection.execute("SELECT body FROM entries")]
    word = "new_holes" if branch == "slipped" else branch.replace("-", " ")
    assert any(word in body for body in whys)
    assert shop.place("K-1") is not Place.HOLD
    if branch == "slipped":
        skis = shop.fleet().pairs["K-1"].skis
        [wrong] = [h for h in skis[side].holes if (h.x_um, h.y_um) == (40_000, 5_000)]
        for planned in shop.plan().sets:
            assert wrong.hole_id in planned.way.skis[side].plug


def test_an_order_broken_off_leaves_the_pair_to_the_head_technician(
    shop: BenchShop, command: Command, tmp_path: Path
) -> None:
    shop.issue()
    follow(shop, command, tmp_path, "broken-off")
    assert len(command("order", "list", "--json").json["orders"]) == 1


@pytest.mark.parametrize("branch", branch_rows())
def test_every_branch_says_its_cautions_fits_one_page_and_names_what_it_is_about(
    shop: BenchShop, command: Command, tmp_path: Path, branch: str
) -> None:
    spun = spinning(shop)
    shop.issue()
    about = (
        ("--hole", short_id(spun))
        if branch in ABOUT_A_HOLE
        else ("--ski", "B")
        if branch in ABOUT_A_SKI
        else ()
    )
    for paper in ("A4", "Letter"):
        out = tmp_path / f"{branch}.pdf"
        assert (
            command("order", "branch", ORDER, branch, *about, "--out", str(out), "--paper", paper).returncode
            == 0
        )
        [page] = read(out.read_bytes())
        said = " ".join(word.text for word in page)
        assert "Makers' instructions, local rules and a qualified technician's judgement come before" in said
        assert "No release setting is given" in said
        assert "common practice, no source" in said
        assert "{" not in said
        assert "K-1" in said
        assert branch_rows()[branch][0].happened.upper() in said
        foot = next(word.y for word in page if word.text.startswith("Makers'"))
        sign = next(word.y for word in page if word.text.startswith("did the work"))
        typed = [word.y for word in page if word.text.startswith("mountbook ")]
        assert max(typed) < sign - 4 < foot
    shown = command("order", "branch", ORDER, branch, *about)
    assert (shown.returncode, "mountbook order" in shown.stdout) == (0, True)
    if about:
        refused = command("order", "branch", ORDER, branch, "--json").json["refused"]
        assert refused.startswith(f"the branch {branch} needs its ")


def test_a_branch_that_there_is_not_is_refused_with_the_nearest(shop: BenchShop, command: Command) -> None:
    shop.issue()
    answer = command("order", "branch", ORDER, "wet", "--json").json
    assert (answer["refused"], "wet-core" in answer["cure"]) == ("there is no branch 'wet'", True)
    assert set(branch_rows()) == {*ABOUT_A_HOLE, *ABOUT_A_SKI, "broken-off"}
