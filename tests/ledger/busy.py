"""A small shop on a busy day: about sixty entries of most kinds, with free text in some."""

from __future__ import annotations

from pathlib import Path

from fleet.rules.holds import hold, quarantine
from tests.counter.shop import IDA, NELL, WIM, Shop

SAID = "renter Alva says it felt odd after a fall, knee hurts"
"""Free text as people write it: a name and an injury, to be blanked in some tests."""


def busy_shop(path: Path) -> Shop:
    """P-1 out, P-2 back and passed, P-3 held, P-4 in quarantine, T-1 back; P-1 with holes and areas."""
    shop = Shop.new(path)
    shop.furnish()
    holes = [
        {
            "hole_id": f"P-1/{side}{number}",
            "side": side,
            "x_um": x,
            "y_um": y,
            "diameter_um": 3600,
            "depth_um": 9000,
            "state": "screwed",
            "knowledge": "measured here",
        }
        for side in "AB"
        for number, (x, y) in enumerate(((142_500, 18_000), (142_500, -18_000), (107_500, 20_000)), start=1)
    ]
    shop.enter("holes recorded", {"tag": "P-1", "holes": holes}, by=IDA)
    for side in "AB":
        shop.enter(
            "area inspected",
            {
                "tag": "P-1",
                "side": side,
                "from_um": -300_000,
                "to_um": 300_000,
                "how": "bare",
                "on": "2026-12-01",
            },
            by=IDA,
        )
    shop.enter(
        "policy set",
        {
            "name": "spacing_mm",
            "value": "10",
            "unit": "mm",
            "origin": "head technician, a trial",
            "since": "2026-12-27",
        },
    )
    shop.ready("P-1", "P-2", "P-3", "P-4", "T-1")
    shop.out("P-1", boot="B-305", set_now=True)
    shop.out("P-2")
    shop.back("P-2", said=SAID)
    shop.look("P-2")
    shop.out("P-3", "T-1")
    shop.back("P-3", "T-1")
    with shop.desk(NELL) as desk:
        hold(desk, "P-3", why="toe wobbles")
    with shop.desk(WIM) as desk:
        quarantine(desk, "P-4", why="accident reported on the east run")
    return shop
