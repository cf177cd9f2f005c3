"""Cells of the exported tables: each of its own ski, and only what still counts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from fleet.facts.holes import Mount, PieceSlide, Side
from fleet.facts.pairs import InspectedArea, Ski
from fleet.rules.notes import end_notes, make_note
from planner.exchange.export.tables import TABLE, mount_row, notes_by_thing, stops_by_pair, widest_inspected
from tests.counter.shop import IDA, NELL, lark
from tests.orders.bench_shop import BenchShop


@pytest.mark.parametrize(
    ("areas", "widest"),
    [
        ([], None),
        ([(-10, 0), (0, 10)], (-10, 10)),
        ([(-10, 0), (1, 10)], (-10, 0)),  # a micrometre that nobody saw
        ([(0, 10), (20, 31)], (20, 31)),
        ([(0, 10), (20, 30)], (0, 10)),  # alike: the one toward the tail
        ([(0, 30), (5, 10), (29, 40)], (0, 40)),
        ([(0, 30), (5, 10)], (0, 30)),
    ],
)
def test_the_widest_inspected_stretch_has_no_gap(
    areas: list[tuple[int, int]], widest: tuple[int, int] | None
) -> None:
    seen = tuple(
        InspectedArea(from_um=low, to_um=high, how="bare", on=date(2026, 10, 1)) for low, high in areas
    )
    assert widest_inspected(Ski(side=Side.A, inspected=seen)) == widest


@pytest.mark.parametrize("side", list(Side))
def test_a_closed_ski_stops_its_pair_by_its_own_side(shop: BenchShop, side: Side) -> None:
    shop.enter("ski closed", {"tag": "K-1", "side": side.value, "why": "its holes cannot be told"})
    assert stops_by_pair(shop.fleet())["K-1"] == f"ski {side} closed"


@pytest.mark.parametrize(
    ("serials", "stops"), [(("1000", "1000"), True), (("", ""), True), (("9", "9"), False)]
)
def test_a_recall_goes_along_where_it_reaches_a_binding_or_nobody_can_tell(
    shop: BenchShop, serials: tuple[str, str], stops: bool
) -> None:
    for key, new in zip(("serial_toe", "serial_heel"), serials, strict=True):
        for side in Side:
            if new != "1000":
                shop.enter("binding changed", {"binding_id": f"K-1/{side}", "changes": {key: ("1000", new)}})
    recall = {"recall": "R-7", "pattern": "Lark 4", "piece": "", "serial_from": "500", "serial_to": "1500"}
    shop.enter("recall opened", recall | {"season": "", "source": "invented letter"})
    assert ("recall R-7" in stops_by_pair(shop.fleet())["K-1"]) is stops


def test_each_note_stands_beside_its_own_thing_and_an_ended_one_nowhere(shop: BenchShop) -> None:
    for name, text in (
        ("K-1", "long pair"),
        ("K-1/B", "edge dull"),
        ("K-1/A", "top sheet cut"),
        ("K-1", "rack swapped"),
    ):
        with shop.desk(NELL) as desk:
            noted = make_note(desk, name, text)
    with shop.desk(IDA) as desk:
        end_notes(desk, "K-1", entry=noted.entry)
    assert list(notes_by_thing(shop.fleet())) == ["K-1", "K-1/B", "K-1/A"]
    cells = {row["ski"]: row["notes"] for row in TABLE["skis"].rows(shop.fleet())}
    assert [("top sheet cut" in str(cells["A"])), ("edge dull" in str(cells["B"]))] == [True, True]
    [pair] = TABLE["pairs"].rows(shop.fleet())
    assert str(pair["notes"]).endswith("long pair")


_TOE = PieceSlide(piece="toe", reference_um=152_500, slide_um=0)
_HEEL = PieceSlide(piece="heel", reference_um=-152_500, slide_um=-5_000)


@pytest.mark.parametrize(
    ("slides", "removed_on", "toe_too", "stands"),
    [
        ((_TOE, _HEEL), None, False, ("152.5", "-157.5")),
        ((_TOE, _HEEL), "2026-12-27", False, (None, None)),
        ((_HEEL,), None, False, (None, "-157.5")),
        ((_TOE,), None, False, (None, None)),
        ((_HEEL,), None, True, (None, None)),  # of two that travel one tells nothing
    ],
)
def test_a_binding_stands_somewhere_while_it_is_on_and_its_travel_is_known(
    shop: BenchShop,
    slides: tuple[PieceSlide, ...],
    removed_on: str | None,
    toe_too: bool,
    stands: tuple[str | None, str | None],
) -> None:
    fleet, pattern = shop.fleet(), lark()
    if toe_too:
        toe, heel = pattern.pieces
        pattern = replace(pattern, pieces=(replace(toe, travel_back_um=1_000), heel))
    mount = Mount(
        pattern="Lark 4",
        bsl_um=305_000,
        offset_um=0,
        mounted_on="2026-10-01",
        removed_on=removed_on,
        slides=slides,
    )
    row = mount_row(replace(fleet, patterns={"Lark 4": pattern}), fleet.pair("K-1"), mount)
    assert (row["toe_stands_mm"], row["heel_stands_mm"]) == stands
