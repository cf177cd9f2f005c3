"""The door's answers: what it offers instead, how a boot is checked, what the command line says."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from fleet.base.errors import Refused
from fleet.facts.boots import Boot
from fleet.facts.holes import Mount
from fleet.facts.patterns import Fit
from fleet.facts.policy import default_policy
from fleet.facts.standing import BindingSetting
from fleet.rules.fitting import boot_fits, centre_window
from fleet.rules.holds import hold
from tests.counter.command import NOW, Command
from tests.counter.shop import IDA, JORY, WIM, Shop, lark


def mount(*, bsl_mm: int = 305, offset_um: int = 0) -> Mount:
    return Mount(pattern="Lark 4", bsl_um=bsl_mm * 1000, offset_um=offset_um, mounted_on="2026-10-01")


def boot(bsl_mm: int, sole: str = "alpine A") -> Boot:
    return Boot(
        tag="B", model="", mondopoint_mm=265, bsl_um=bsl_mm * 1000, bsl_measured="printed", sole_type=sole
    )


FITS = (Fit(sole_type="alpine A", pattern="Lark 4", binding_sheet="L-1", boot_sheet="S-1"),)


@pytest.mark.parametrize(
    ("bsl_mm", "centre_um"),
    # Only the heel travels, 10 mm each way: a sole d longer stands d/2 further back [derived].
    [(295, 5_000), (300, 2_500), (305, 0), (310, -2_500), (315, -5_000), (294, None), (316, None)],
)
def test_only_the_heel_travels_so_the_centre_moves_by_half(bsl_mm: int, centre_um: int | None) -> None:
    window = centre_window(mount(), lark(), bsl_mm * 1000)
    assert window == (None if centre_um is None else (centre_um, centre_um))


def test_a_centre_beyond_the_shops_limit_does_not_fit_though_the_travel_reaches() -> None:
    answer = boot_fits(
        boot=boot(315),
        mount=mount(offset_um=-6_000),
        pattern=lark(),
        setting=BindingSetting(bsl_um=315_000),
        fits=FITS,
        policy=default_policy(),
    )
    assert answer.reasons == (
        "boot B has a sole of 315 mm; it would stand 11.0 mm from the mark, the shop's limit is 10.0 mm",
    )


def test_ready_pairs_of_the_kind_within_five_centimetres_are_offered_nearest_first(shop: Shop) -> None:
    """P-1 is 170 cm: P-2 172 and P-3 175 are offered, P-4 176 is 6 cm away, T-1 is telemark."""
    shop.back("P-1")
    with pytest.raises(Refused) as caught:
        shop.out("P-1")
    assert caught.value.instead == ("P-2", "P-3")


def test_what_is_offered_fits_the_boot_and_may_itself_go_out(shop: Shop) -> None:
    with shop.desk() as desk:
        hold(desk, "P-2", why="edge")
    shop.enter(
        "binding changed",
        {"binding_id": "P-3/A", "changes": {"on_pair": ["P-3", None], "on_ski": ["A", None]}},
    )
    shop.back("P-1")
    with pytest.raises(Refused) as caught:
        shop.out("P-1", boot="B-305")
    assert caught.value.instead == ()
    with pytest.raises(Refused) as caught:
        shop.out("P-4", boot="B-335")  # no pair of the shop takes that sole
    assert caught.value.instead == ()


def test_a_boot_is_out_with_one_pair_only(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    with pytest.raises(Refused, match="boot B-305 is out with P-1"):
        shop.out("P-2", boot="B-305")


def test_an_unknown_tag_names_the_nearest(shop: Shop) -> None:
    with pytest.raises(Refused, match="there is no pair P-11") as caught:
        shop.out("P-11")
    assert caught.value.cure == "did you mean P-1?"


def test_clearing_a_mere_hold_leaves_the_pass_as_it_was(shop: Shop) -> None:
    with shop.desk() as desk:
        hold(desk, "P-1", why="tag fell off")
    from fleet.rules.holds import clear

    with shop.desk(JORY) as desk:
        clear(desk, "P-1", why="new tag")
    shop.out("P-1")


def test_a_refusal_in_json_says_why_and_what_instead_and_exits_1(command: Command) -> None:
    command("back", "P-1")
    result = command("out", "P-1", "--json")
    answer = json.loads(result.stdout)
    assert result.returncode == 1
    assert answer["refused"].startswith("P-1 cannot go out: it came back")
    assert answer["instead"] == ["P-2", "P-3"]


def test_an_out_without_a_boot_says_that_the_fit_was_not_checked(command: Command) -> None:
    result = command("out", "P-1")
    assert (result.returncode, result.stdout) == (0, "P-1  out           fit not checked\n")


def test_the_whole_evening_on_the_command_line(command: Command) -> None:
    assert command("back", "P-1", "--said", "felt loose", "--at", "2026-12-27T16:00").returncode == 0
    listed = json.loads(command("recheck", "list", "--json").stdout)
    assert [(row["tag"], row["group"]) for row in listed["rows"]] == [("P-1", "check first")]
    assert command("recheck", "record", "P-1", "--by", IDA).returncode == 1  # nothing said about either ski
    assert command("recheck", "record", "P-1", "--all", "not-moved", "--by", IDA).returncode == 0
    assert json.loads(command("recheck", "list", "--json").stdout)["rows"] == []
    assert command("out", "P-1").returncode == 0


HEAVY = ("ortools", "openpyxl", "reportlab", "sqlite_utils", "xlsxwriter", "numpy", "rich", "highspy")


@pytest.mark.parametrize("args", [["recheck", "list"], ["out", "P-1"]])
def test_the_counter_opens_without_the_heavy_libraries(command: Command, args: list[str]) -> None:
    code = (
        "import sys\n"
        f"sys.argv = ['mountbook', '--ledger', {str(command.ledger)!r}, *{args!r}]\n"
        "from planner.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"sys.exit(', '.join(name for name in {HEAVY!r} if name in sys.modules) or 0)\n"
    )
    result = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env={"MOUNTBOOK_NOW": NOW, "MOUNTBOOK_BY": WIM},
        cwd=Path(__file__).parents[2],
    )
    assert result.returncode == 0, result.stderr


@pytest.mark.parametrize(
    ("happened", "step"),
    [
        (("back",), "recheck record P-1 --all not-moved --by NAME"),
        (("hold", "--why", "tag fell off"), "mountbook clear P-1 --by NAME"),
        (("quarantine", "--why", "fall", "--by", IDA), "only a manager ends a quarantine"),
        (
            ("recheck", "record", "P-1", "--found", "B heel=spins", "--by", IDA),
            "repair it, then enter it (mountbook repair done P-1 --did TEXT --by NAME); if no screw moved,"
            " somebody else than Ida Fennweg ends the stop: mountbook clear P-1 --why TEXT --by NAME",
        ),
        (("out",), "scan it back first: mountbook back P-1"),
        (("move", "--to", "missing"), "if it turned up: mountbook move P-1 --to shop"),
    ],
)
def test_a_refusal_ends_with_the_step_that_leads_back_to_the_rack(
    command: Command, happened: tuple[str, ...], step: str
) -> None:
    named = happened if "P-1" in happened else (happened[0], "P-1", *happened[1:])
    assert command(*named).returncode == 0
    refused = command("out", "P-1", "--json")
    assert refused.returncode == 1
    assert step in refused.json["cure"]


def test_a_pair_that_nobody_ever_passed_is_sent_to_the_season_prep(shop: Shop) -> None:
    shop.pair("P-9")
    with pytest.raises(Refused, match="no pass is on record") as caught:
        shop.out("P-9")
    assert (
        caught.value.cure
        == "a second person looks at it, then: mountbook prep sign P-9 --all not-moved --by NAME"
    )
