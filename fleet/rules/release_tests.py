"""Release tests as a person recorded them: ski, piece, device, result in their own words. Never judged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from fleet.base.errors import BadInput
from fleet.events.event import LEFT_OUT
from fleet.events.looks import ReleaseTestRecorded
from fleet.facts.holes import Side
from fleet.facts.standing import read_standing
from fleet.ledger.desk import Desk
from fleet.ledger.signing import signer

_OUTCOMES: Final[Mapping[str, Literal["passed", "failed"]]] = {"passed": "passed", "failed": "failed"}


def record_release_test(
    desk: Desk,
    tag: str,
    *,
    side: Side,
    piece: str,
    device: str,
    result: str,
    outcome: str = "",
    remark: str = "",
) -> int:
    """Enter one test. The result is the tester's own words; the program neither sets nor reads a value."""
    read_standing(desk.connection, tag)
    if piece not in ("toe", "heel", "plate"):
        raise BadInput(f"{piece!r} is not a piece", cure="toe, heel or plate")
    if not device.strip() or not result.strip():
        raise BadInput("a test names its device and its result", cure='add --device "bench 1" --result "..."')
    if outcome not in ("", "passed", "failed"):
        raise BadInput(f"{outcome!r} is no outcome", cure="passed or failed, as the tester says")
    signer(desk.connection, desk.by, days=desk.signing_days, what="record a release test")
    test = ReleaseTestRecorded(
        tag=tag,
        side=side,
        piece=piece,
        device=device,
        result=result,
        outcome=_OUTCOMES.get(outcome, LEFT_OUT),
    )
    return desk.enter(test, note=remark)
