"""A closed ski opens by a survey bare since it was closed, and by nothing seen before; a pair with a history stays.

Ski B of P-1 is closed on 28 December at nine in Vienna (08:00 UTC); ski A is not.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet.base.errors import BadInput, Refused
from fleet.facts.holes import Side
from tests.counter.shop import IDA, Shop, binding_body
from tests.events.effect import THIS, effect

CLOSED = datetime(2026, 12, 28, 8, 0, tzinfo=UTC)
SECOND = timedelta(seconds=1)


@pytest.fixture
def closed(shop: Shop) -> Shop:
    shop.now = CLOSED + timedelta(days=2)
    with shop.desk(IDA, at=CLOSED) as desk:
        desk.enter("ski closed", {"tag": "P-1", "side": "B", "why": "what was drilled is not known"})
    return shop


def seen(**facts: Any) -> dict[str, Any]:
    return {
        "tag": "P-1",
        "side": "B",
        "from_um": -200_000,
        "to_um": 250_000,
        "how": "bare",
        "on": "2026-12-29",
    } | facts


# what was seen, when it was entered as seen; whether it opens
SURVEYS: dict[str, tuple[dict[str, Any], datetime, bool]] = {
    "the day after": (seen(), CLOSED + timedelta(days=1), True),
    "the same day, a second after": (seen(on="2026-12-28"), CLOSED + SECOND, True),
    "the same day, at that very time": (seen(on="2026-12-28"), CLOSED, False),
    "the same day, a second before": (seen(on="2026-12-28"), CLOSED - SECOND, False),
    "the day before, entered after": (seen(on="2026-12-27"), CLOSED + timedelta(days=1), False),
    "on no known day": (seen(on=""), CLOSED + timedelta(days=1), False),
    "the day after, as new": (seen(how="new"), CLOSED + timedelta(days=1), False),
    "the day after, entered with a time before": (seen(), CLOSED - SECOND, True),
    "ski A was never closed": (seen(side="A", on="2026-12-01", how="new"), CLOSED - timedelta(days=1), True),
}


@pytest.mark.parametrize("name", SURVEYS)
def test_what_opens_a_closed_ski(closed: Shop, name: str) -> None:
    survey, at, opens = SURVEYS[name]
    if opens:
        standing, added, gone = effect(closed, "area inspected", survey, at=at)
        row = {k: v for k, v in survey.items() if k != "on"}
        assert added == {"area": [row | {"entry": THIS, "on_day": survey["on"], "by": IDA}]}
        assert gone == {}
        # a survey bare of ski B says nothing of ski A, which still stands as it was set
        stands = json.loads(standing.get("P-1", {}).get("stands", "{}"))
        assert set(standing.get("P-1", {})) <= {"stands"}
        assert set(stands) <= {"A"}
        return
    before = closed.dump()
    with pytest.raises(Refused) as refused, closed.desk(IDA, at=at) as desk:
        desk.enter("area inspected", survey)
    assert refused.value.sentence == (
        "ski B of P-1 was closed Mon 28 Dec 2026 09:00 (what was drilled is not known):"
        f" seen {survey['how']} on {survey['on'] or 'an unknown day'}, it does not open"
    )
    assert refused.value.cure == "take the binding off, survey it bare, and enter the survey with its day"
    assert closed.dump() == before


def test_a_survey_bare_had_the_binding_off_and_a_look_at_new_skis_had_not(shop: Shop) -> None:
    for how, stands in (("new", 305_000), ("bare", None)):
        shop.enter("area inspected", seen(how=how, on="2026-12-27"))
        assert shop.standing("P-1").setting.bsl_um == stands
        assert shop.standing("P-2").setting.bsl_um == 305_000
        assert shop.place("P-1").value == "ready"


SKI = {
    "mark_from_tail_um": 800_000,
    "zone_back_um": 300_000,
    "zone_front_um": 300_000,
    "zone_half_width_um": 40_000,
}
PAIR: dict[str, Any] = {
    "tag": "N-1", "model": "M", "kind": "touring", "length_mm": 1710, "waist_um": 91_000, "construction": "metal",
    "rack": "R-2", "earlier_mounts": None, "earlier_at_least": 2,
    "skis": {"A": SKI, "B": SKI | {"mark_from_tail_um": 800_500, "zone_back_um": None}},
}  # fmt: skip


def test_a_pair_recorded_and_withdrawn(shop: Shop) -> None:
    standing, added, gone = effect(shop, "pair recorded", PAIR)
    assert gone == {}
    assert standing["N-1"]["place"] == "flat"
    assert added["pair"] == [
        {k: v for k, v in PAIR.items() if k != "skis"} | {"reference_from_tail_um": None, "entry": THIS}
    ]
    assert [(row["side"], row["mark_from_tail_um"], row["zone_back_um"]) for row in added["ski"]] == [
        ("A", 800_000, 300_000),
        ("B", 800_500, None),
    ]
    with pytest.raises(Refused) as refused:
        shop.enter("pair recorded", PAIR)
    assert refused.value.sentence == "pair N-1 stands in the ledger already"
    (seq,) = shop.ledger.connection.execute("SELECT entry FROM pair WHERE tag = 'N-1'").fetchone()
    withdrawal = {"entry": seq, "what": "pair recorded", "body": PAIR}
    _, added, gone = effect(shop, "entry withdrawn", withdrawal)
    assert (added, [row["tag"] for row in gone["pair"]], len(gone["ski"])) == ({}, ["N-1"], 2)
    assert not shop.ledger.connection.execute("SELECT 1 FROM standing WHERE tag = 'N-1'").fetchone()
    with pytest.raises(Refused, match="pair N-1 is not in force any more"):
        shop.enter("entry withdrawn", withdrawal)


@pytest.mark.parametrize("side", ["A", "B"])
def test_a_pair_with_a_ski_that_cannot_be_is_not_taken(shop: Shop, side: str) -> None:
    wrong = PAIR | {"skis": PAIR["skis"] | {side: SKI | {"zone_half_width_um": -1}}}
    with pytest.raises(BadInput, match="pair recorded cannot be entered"):
        shop.enter("pair recorded", wrong)


def test_a_pair_with_a_history_is_not_withdrawn(shop: Shop) -> None:
    seq = shop.enter("pair recorded", PAIR)
    shop.enter("binding recorded", binding_body("X-1", on_pair="N-1", on_ski=Side.A))
    with pytest.raises(Refused) as refused:
        shop.enter("entry withdrawn", {"entry": seq, "what": "pair recorded", "body": PAIR})
    assert refused.value.sentence == "pair N-1 has a history in the ledger (binding)"
    cure = "withdraw that first, or `mountbook move` it to retired if it existed and is gone"
    assert refused.value.cure == cure


def test_an_area_is_shut_again_once(shop: Shop) -> None:
    seq = shop.enter("area inspected", seen(how="new"))
    withdrawal = {"entry": seq, "what": "area inspected", "body": seen(how="new")}
    standing, added, gone = effect(shop, "entry withdrawn", withdrawal)
    assert (standing["P-1"]["place"], added, list(gone)) == ("back", {}, ["area"])
    with pytest.raises(Refused) as refused:
        shop.enter("entry withdrawn", withdrawal)
    assert refused.value.sentence == f"the area of entry {seq} is not in force any more"


def test_a_pair_that_a_ski_of_is_closed_is_not_withdrawn(shop: Shop) -> None:
    seq = shop.enter("pair recorded", PAIR)
    shop.enter("ski closed", {"tag": "N-1", "side": "B", "why": "a wet core"})
    with pytest.raises(Refused) as refused:
        shop.enter("entry withdrawn", {"entry": seq, "what": "pair recorded", "body": PAIR})
    assert refused.value.sentence == "ski B of N-1 is closed (a wet core): that stays with the ski"


@pytest.mark.parametrize("piece", ["", "toe", "heel"])
def test_a_recall_of_a_piece_or_of_both(shop: Shop, piece: str) -> None:
    body = {
        "recall": "R-1",
        "pattern": "Lark 4",
        "piece": piece,
        "serial_from": "",
        "serial_to": "",
        "season": "",
        "source": "s",
    }
    _, added, _ = effect(shop, "recall opened", body)
    assert [row["piece"] for row in added["recall"]] == [piece]


@pytest.mark.parametrize(
    ("unit", "value", "taken"),
    [
        ("mm", "12", True),
        ("mm", "twelve", False),
        ("adhesive", "epoxy", True),
        ("mm", "-1", False),
        ("count", "", True),
    ],
)
def test_a_policy_s_value_fits_its_unit(shop: Shop, unit: str, value: str, taken: bool) -> None:
    body = {"name": "x", "value": value, "unit": unit, "origin": "ours", "since": "2026-12-27"}
    if taken:
        shop.enter("policy set", body)
        return
    with pytest.raises(BadInput, match=f"is not a number of {unit}"):
        shop.enter("policy set", body)
