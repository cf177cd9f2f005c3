"""Release tests, worn soles, and mounts that a changed policy leaves below the rule."""

from __future__ import annotations

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import Side
from fleet.ledger.history import noted_entry
from fleet.ledger.people import set_policy
from fleet.rules.below_rule import mounts_below_rule
from fleet.rules.boots import measure_again
from fleet.rules.gate_desk import record_release_test
from fleet.tables.snapshot import read_fleet
from tests.counter.shop import IDA, NELL, WIM, Shop


def test_a_release_test_is_recorded_by_piece_device_and_person(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        entry = record_release_test(
            desk, "P-1", side=Side.A, piece="toe", device="bench device 1", result="as the sheet asks"
        )
    noted = noted_entry(shop.ledger.connection, entry)
    assert noted.entry.by == IDA
    assert noted.body["device"] == "bench device 1"
    assert shop.standing("P-1").passes  # it is a record, not a pass and not a fault


@pytest.mark.parametrize(
    ("by", "piece", "device", "result"),
    [(NELL, "toe", "d", "r"), (IDA, "tail", "d", "r"), (IDA, "toe", " ", "r"), (IDA, "toe", "d", "")],
)
def test_a_release_test_without_person_piece_device_or_result_is_refused(
    shop: Shop, by: str, piece: str, device: str, result: str
) -> None:
    with pytest.raises(MountbookError), shop.desk(by) as desk:
        record_release_test(desk, "P-1", side=Side.A, piece=piece, device=device, result=result)


def test_a_worn_sole_is_measured_again_and_its_cell_is_named(shop: Shop) -> None:
    """B-305 wore down to 302.5 mm: same model, season and shell are B-310, B-335, B-NONE and B-TOUR."""
    with shop.desk(IDA) as desk:
        done = measure_again(desk, "B-305", bsl_um=302_500, how="caliper")
    assert (done.before.bsl_um, done.after.bsl_um) == (305_000, 302_500)
    assert done.after.bsl_measured == "measured again: caliper"
    assert done.cell == ("B-310", "B-335", "B-NONE", "B-TOUR")


def test_the_measured_sole_is_what_the_door_checks(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    with shop.desk(IDA) as desk:
        measure_again(desk, "B-305", bsl_um=294_000, how="caliper")
    with pytest.raises(MountbookError, match="B-305 has a sole of 294 mm; mounted for 305 mm its travel"):
        shop.out("P-2", boot="B-305")


@pytest.mark.parametrize("bsl_um", [30_000, 700_000])
def test_a_length_that_is_no_sole_is_refused(shop: Shop, bsl_um: int) -> None:
    with pytest.raises(MountbookError, match="no boot sole length"), shop.desk(IDA) as desk:
        measure_again(desk, "B-305", bsl_um=bsl_um, how="caliper")


def test_a_changed_policy_flags_old_mounts_and_fails_none(shop: Shop) -> None:
    """Brakes of 95 mm on 90 mm waists: within 15 mm, beyond 4 mm. The pair keeps its pass."""
    connection = shop.ledger.connection
    assert mounts_below_rule(read_fleet(connection)) == ()
    with shop.desk(WIM) as desk:
        set_policy(desk, "brake_over_waist_max_mm", "4", origin="invented: narrow racks")
    flags = mounts_below_rule(read_fleet(connection))
    assert len(flags) == 10
    assert flags[0].message == "ski A: brake 95 mm on a waist of 90 mm"
    shop.out("P-1")


def test_a_screw_near_an_old_hole_is_flagged_from_the_spacing_on(shop: Shop) -> None:
    """9.999 mm is nearer than 10; 10.000 mm is not."""
    for number, x_um in ((1, 100_000), (2, 110_000), (3, 90_001)):
        hole = {
            "hole_id": f"P-1/A{number}",
            "side": "A",
            "x_um": x_um,
            "y_um": 0,
            "diameter_um": 3600,
            "depth_um": 9000,
            "state": "screwed" if number == 1 else "plugged",
            "knowledge": "measured here",
        }
        shop.enter("holes recorded", {"tag": "P-1", "holes": [hole]})
    flags = mounts_below_rule(read_fleet(shop.ledger.connection))
    assert [(flag.tag, flag.policy) for flag in flags] == [("P-1", "spacing_mm")]
    assert "P-1/A1 is just under 10.0 mm from P-1/A3" in flags[0].message
