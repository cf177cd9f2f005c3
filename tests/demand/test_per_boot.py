"""One want per boot: the window of its row, alike boots together, nothing guessed for the others."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fleet.base.errors import BadInput
from fleet.facts.boots import Boot
from fleet.facts.standing import Place
from planner.cli.main import app
from planner.planning.seasons.per_boot import default_windows, lines_of, read_windows, wants_per_boot
from sample_fleet import generate

HEADER = "sole_type,kind,mondopoint_min,mondopoint_max,length_min_cm,length_max_cm,origin\n"


def boot(tag: str, size_mm: int | None, sole: str = "75 mm") -> Boot:
    return Boot(
        tag=tag, model="Fern", mondopoint_mm=size_mm, bsl_um=305_000, bsl_measured="ruler", sole_type=sole
    )


def test_boots_of_one_row_stand_in_one_want_and_the_others_say_why() -> None:
    """Two of 27.0 and 27.9 want the same; another sole and an unknown shell want nothing."""
    windows = read_windows(HEADER + "75 mm,telemark,27,27.9,165,180,the shop\n", name="ours.csv")
    boots = [boot("B-4", None), boot("B-1", 270), boot("B-2", 279), boot("B-3", 275, "ISO 9523")]
    found = wants_per_boot(boots, windows)
    ((wish, origin),) = found.wants
    assert (wish.wish, wish.quantity, wish.length_min_mm, wish.length_max_mm) == ("BOOT-01", 2, 1650, 1800)
    assert (wish.mondopoint_min_mm, wish.mondopoint_max_mm, origin) == (270, 279, "the shop")
    assert found.without == (
        ("B-3", "the table has no row for sole 'ISO 9523' and shell 27.5"),
        ("B-4", "its shell size is not known"),
    )
    assert "B-4: no want, its shell size is not known" in list(lines_of(found))


def test_boots_that_are_sold_or_retired_want_nothing_and_a_missing_one_is_named() -> None:
    windows = read_windows(HEADER + "75 mm,telemark,27,27.9,165,180,the shop\n", name="ours.csv")
    places = (Place.SOLD, Place.RETIRED, Place.MISSING, Place.OUT, Place.READY)
    boots = [replace(boot(f"B-{place}", 270), place=place) for place in places]
    found = wants_per_boot(boots, windows)
    assert [wish.quantity for wish, _ in found.wants] == [2]
    assert found.without == (("B-missing", "it is missing"),)


def test_the_default_table_says_where_its_windows_come_from_and_covers_the_sample_fleet() -> None:
    """Every row is our default without a source, and every boot of the sample fleet has exactly one row."""
    windows = default_windows()
    assert {w.origin for w in windows} == {"our default, no source"}
    for row in generate.tables()["Boots"]:
        size = round(float(row["mondopoint"]) * 10)
        made = boot(str(row["tag"]), size, str(row["sole_type"]))
        assert sum(w.fits(made) for w in windows) == 1, row


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("sole_type,kind\n", "no column mondopoint_min"),
        (HEADER, "no row"),
        (HEADER + "75 mm,skate,27,28,165,180,\n", "row 2: kind 'skate'"),
        (HEADER + ",alpine,27,28,165,180,\n", "row 2: the sole type is missing"),
        (HEADER + "75 mm,alpine,28,27,165,180,\n", "the shell window 28 to 27 cannot be"),
        (HEADER + "75 mm,alpine,27,28,x,180,\n75 mm,alpine,27,28,1650,1800,\n", "row 2: length_min_cm 'x'"),
        (HEADER + "75 mm,alpine,27,28,1,180,\n75 mm,alpine,27,28,165,nan,\n", "row 3: length_max_cm 'nan'"),
    ],
)
def test_a_table_with_a_fault_is_not_taken_at_all(text: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        read_windows(text, name="ours.csv")


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> CliRunner:
    """Forty pairs of the sample fleet, all its boots, and no sheet of sets wanted."""
    tables = generate.tables() | {"Wanted": []}
    tables["Skis"] = tables["Skis"][:40]
    tags = {row["tag"] for row in tables["Skis"]}
    tables["Holes"] = [row for row in tables["Holes"] if row["pair_tag"] in tags]
    workbook = tmp_path / "fleet.xlsx"
    generate.write_workbook(workbook, tables)
    monkeypatch.setenv("MOUNTBOOK_LEDGER", str(tmp_path / "shop.mountbook"))
    monkeypatch.setenv("MOUNTBOOK_BY", "Ada")
    monkeypatch.setenv("MOUNTBOOK_NOW", "2026-11-02T08:00:00+01:00")
    runner = CliRunner()
    done = runner.invoke(app, ["import", str(workbook), "--apply", "--zone", "UTC"])
    assert done.exit_code in (0, 1), done.output
    return runner


def test_a_fleet_without_wants_is_told_the_cure_and_the_cure_gives_a_plan(
    shop: CliRunner, tmp_path: Path
) -> None:
    """`plan` names the command; the command's wants can be planned; entering them again changes nothing."""
    empty = shop.invoke(app, ["plan", "--out", str(tmp_path / "none")])
    assert "mountbook wanted --per-boot --enter" in empty.output
    told = json.loads(shop.invoke(app, ["wanted", "--per-boot", "--enter", "--json"]).stdout)
    assert (told["entered"], told["without"]) == (True, [])
    assert sum(w["quantity"] for w in told["wanted"]) == len(generate.tables()["Boots"])
    again = json.loads(shop.invoke(app, ["wanted", "--per-boot", "--enter", "--json"]).stdout)
    assert again["wanted"] == told["wanted"]
    plan = json.loads(shop.invoke(app, ["plan", "--out", str(tmp_path / "plan"), "--json"]).stdout)
    assert plan["totals"]["served"] > 0
    assert set(Counter(s["wish"] for s in plan["sets"])) <= {w["wish"] for w in told["wanted"]}


def test_one_want_per_boot_is_refused_beside_other_wants(shop: CliRunner, tmp_path: Path) -> None:
    """A shop with wants of its own would ask for its sets twice; nothing is entered."""
    rentals = tmp_path / "rentals.csv"
    rentals.write_text("out,back,kind,length_cm,mondopoint\n2025-12-27,2025-12-29,alpine,170,27.5\n")
    shop.invoke(app, ["wanted", "--from", str(rentals), "--enter"])
    refused = shop.invoke(app, ["wanted", "--per-boot", "--enter"])
    assert refused.exit_code != 0
    assert shop.invoke(app, ["wanted", "--per-boot"]).exit_code == 0
