"""Six more shops, taken in as they are with no answer at all: nothing wrong, nothing that is gone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.import_habits.judging import _plain, in_ledger
from tests.import_shops.shops import ANY, KEYS, SHOPS, WANT, WANT_BOOTS, write
from tests.odd_data.front_door import FrontDoor

SHEETS_READ = {
    "valdonosa": {"ESQUIS", "BOTAS", "Taladros"},
    "lesnice": {"sklad"},
    "braeloch": {"STOCK 26"},
    "combenoire": {"SKIS", "CHAUSSURES", "Besoins"},
    "storfjell": {"Ski", "Støvler", "Trenger"},
    "sarnistok": {"Sprzęt", "Wiercenie", "Potrzeby"},
}
NOT_PLANNABLE = {"R15", "107"}
"""Taken, with a note that keeps them out of every plan: a toe, a heel is loose."""


def taken(shop: str, folder: Path) -> tuple[dict[str, Any], Any]:
    write(shop, folder / "own.xlsx")
    door = FrontDoor(folder)
    said = door("import", "own.xlsx", "--json").json
    door("import", "own.xlsx", "--apply", "--zone", "Europe/Vienna")
    if not (folder / "mountbook.db").exists():
        return {"ski": {}, "boot": {}, "hole": {}}, said
    door("export", "back")
    return in_ledger(folder / "back"), said


@pytest.mark.parametrize("shop", SHOPS)
def test_nothing_is_taken_that_the_shop_does_not_say(shop: str, tmp_path: Path) -> None:
    ledger, said = taken(shop, tmp_path)
    assert SHEETS_READ[shop] <= {row["sheet"] for row in said["rows"]}
    wrong = []
    for tag, got in ledger["ski"].items():
        want = WANT[shop].get(tag, "no such pair")
        if isinstance(want, str):
            if tag not in NOT_PLANNABLE:
                wrong.append((tag, want))
            continue
        for key, value in zip(KEYS, want, strict=True):
            if value != ANY and (have := _plain(got.get(key))) is not None and have != _plain(value):
                wrong.append((tag, f"{key}: {got.get(key)}"))
    for tag, got in ledger["boot"].items():
        want = WANT_BOOTS[shop].get(tag, "no such boot")
        if isinstance(want, str):
            if got["bsl_mm"]:
                wrong.append((tag, want))
            continue
        for key, value in zip(("mondopoint", "bsl_mm"), want[1:], strict=True):
            if value != ANY and (have := _plain(got.get(key))) is not None and have != _plain(value):
                wrong.append((tag, f"{key}: {got.get(key)}"))
    assert not wrong


ANSWERS = """\
all/ski/kind/ski/858ade45 alpine
all/hole/state/ski/858ade45 screwed
all/wanted/priority/trenger/e5216ced 1
check/ski/says_gone/solgt/ski leave out
word/ski/binding_model/kloa%209%20(ny!) Kloa 9
check/ski/kind_differs/tele/ski telemark
"""


def patterns(*models: str) -> str:
    """The same invented holes for each model: the distances of the workbook follow from them."""
    lines = ["pattern,binding_model,piece,follows,x_mm,y_mm,diameter_mm,travel_back_mm,travel_forward_mm"]
    for model in models:
        for piece, places, travel in (("toe", (-12.5, -58), "0,0"), ("heel", (30, 94), "30,30")):
            lines += [
                f"{model},{model},{piece},{piece},{x},{y},3.6,{travel}" for x in places for y in (14, -14)
            ]
    return "\n".join(lines)


@pytest.mark.long
def test_six_answers_and_two_patterns_carry_a_workbook_to_a_plan(tmp_path: Path) -> None:
    """Both skis in one row, from the tail, of marks that differ; one number is a slip (974 for 947): its pair
    has no mount, and those of which the holes make the pattern have theirs.
    """
    write("storfjell", tmp_path / "own.xlsx")
    (tmp_path / "a.txt").write_text(ANSWERS)
    (tmp_path / "patterns.csv").write_text(patterns("Kloa 11", "Kloa 9"))
    fits = [
        f"{sole},{model},p. 1,p. 2" for sole in ("alpin", "alpin (5355)") for model in ("Kloa 11", "Kloa 9")
    ]
    (tmp_path / "fits.csv").write_text("\n".join(["sole_type,pattern,binding_sheet,boot_sheet", *fits]))
    door = FrontDoor(tmp_path)
    known = "Ski:knowledge=measured here"
    door("import", "own.xlsx", "--answers", "a.txt", "--all-rows", known, "--apply", "--zone", "Europe/Oslo")
    door("staff", "add", "Eirin Sollid", "--role", "manager", "--until", "2028-05-31")
    said = door("import", "patterns.csv", "fits.csv", "--apply", "--by", "Eirin Sollid").all
    assert "the mount of 6 pairs is complete now: 101, 102, 104, 106, 107, 110" in said
    plan = door("plan", "--out", "plan_1", "--ready-by", "2026-12-15").all
    assert "of 8 sets served, proved best" in plan
    assert not plan.startswith("0 of 8")
