"""Where nobody stated how many mounts came before, every sheet and answer about a pair says so."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from tests.counter.command import Command
from tests.counter.shop import IDA, WIM
from tests.orders.bench_shop import BenchShop

TOLD = "earlier mounts not known"


@pytest.fixture
def unknown(shop: BenchShop) -> BenchShop:
    """K-1, of which nobody knows how many mounts came before the present one."""
    shop.enter("pair changed", {"tag": "K-1", "changes": {"earlier_mounts": [0, None]}}, by=IDA)
    return shop


def _text(pdf: bytes) -> str:
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def test_the_plan_counts_what_is_on_record_and_says_that_it_is_not_all(
    unknown: BenchShop, command: Command, tmp_path: Path
) -> None:
    """The present mount counts: one more of two is planned, and the plan, its workbook and paper say it."""
    out = tmp_path / "plan"
    answer = command("plan", "--out", str(out))
    assert answer.returncode == 0
    assert f"{TOLD}: K-1" in answer.stdout
    book = load_workbook(out / "plan.xlsx")
    overview = {row[0]: row[1] for row in book["Plan"].values}
    assert overview[TOLD] == "K-1"
    rows = [list(row) for row in book["Work orders"].values]
    heads = next(row for row in rows if "mounts so far" in row)
    cell = next(row for row in rows if row[0] == "K-1")[heads.index("mounts so far")]
    assert cell == f"1 mount drilled, {TOLD}"
    sheet = _text((out / "work_orders.pdf").read_bytes())
    assert "Earlier mounts not known: look for more holes" in " ".join(sheet.split())


def test_where_they_are_stated_nothing_is_said(shop: BenchShop, command: Command, tmp_path: Path) -> None:
    out = tmp_path / "plan"
    assert TOLD not in command("plan", "--out", str(out)).stdout
    assert TOLD not in {row[0] for row in load_workbook(out / "plan.xlsx")["Plan"].values}
    assert "Earlier mounts" not in _text((out / "work_orders.pdf").read_bytes())


def test_ski_life_and_season_end_say_it(unknown: BenchShop, command: Command) -> None:
    assert TOLD in command("ski", "K-1").stdout
    assert command("ski", "K-1", "--json").json["earlier_mounts"] is None
    assert TOLD in command("life", "K-1").stdout
    assert command("life", "K-1", "--json").json["pairs"][0]["earlier_mounts_known"] is False
    assert re.search(rf" at most 1 .*{TOLD}", command("season-end").stdout)
    [row] = command("season-end", "--json").json["pairs"]
    assert (row["mounts_left"], row["earlier_mounts_known"]) == (1, False)


def test_the_hole_map_of_a_sold_ski_says_it(unknown: BenchShop, command: Command, tmp_path: Path) -> None:
    out = tmp_path / "map.pdf"
    assert command("hole-map", "K-1", "--out", str(out)).returncode == 0
    assert TOLD in " ".join(_text(out.read_bytes()).split())


def test_a_refused_mount_says_that_there_may_be_more(unknown: BenchShop, command: Command) -> None:
    """With a rule of one mount the present one alone is too many; why, and policy check, say at least."""
    command("policy", "set", "mounts_max", "1", "--origin", "our rule", "--by", WIM, "--yes")
    assert f"has had 1 mount, {TOLD}; the shop's rule allows 1" in command("why", "K-1", "B-317").stdout


def test_a_stated_mount_is_shown_with_the_pair(shop: BenchShop, command: Command) -> None:
    body = {"tag": "K-1", "binding_model": "Old Plate 3", "bsl_um": 305_000, "offset_um": -5_500}
    shop.enter("mount stated", body | {"mounted_on": "2024-11-30", "removed_on": None})
    shown = command("ski", "K-1").stdout
    assert (
        "as said: Old Plate 3, for a sole of 305.0 mm, boot centre 5.5 mm toward TAIL, from Sat 30 Nov 2024,"
        " still on; its holes are not known from it" in shown
    )
    [row] = command("ski", "K-1", "--json").json["stated_mounts"]
    assert (row["binding_model"], row["bsl_mm"], row["offset_mm"]) == ("Old Plate 3", 305, -5.5)
    body = {"tag": "K-1", "binding_model": "Old Plate 3", "bsl_um": None, "offset_um": None}
    shop.enter("mount stated", body | {"mounted_on": "", "removed_on": None})
    shown = command("ski", "K-1").stdout
    assert "as said: Old Plate 3, sole not stated, boot centre not stated, from an unknown day" in shown
