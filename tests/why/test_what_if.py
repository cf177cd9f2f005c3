"""Another spacing, window or convention: what the worked table says about it, pair by pair."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.base.errors import BadInput
from fleet.facts.boots import Boot
from fleet.facts.kinds import Kind
from fleet.facts.patterns import Follows, PieceName
from fleet.rules.find import kind_named
from planner.geometry.why.answer import what_if_lines
from planner.geometry.why.what_if import Convention, convention_named, what_if
from tests.placement import conftest as make
from tests.why.test_why import drilled_pair, shop

TABLE_SOLES = (285, 290, 295, 300, 305, 310, 315, 317, 320, 325, 335)


def shop_of(soles_mm, pin_mm=None):
    fleet = shop(drilled_pair())
    boot = fleet.boots["B-1"]
    return replace(
        fleet,
        boots={
            f"B-{bsl}": Boot(
                tag=f"B-{bsl}",
                model=boot.model,
                mondopoint_mm=270,
                bsl_um=make.um(bsl),
                bsl_measured="printed",
                sole_type=boot.sole_type,
                pin_um=None if pin_mm is None else make.um(pin_mm),
            )
            for bsl in soles_mm
        },
    )


def soles(changes):
    return [position.bsl_um // 1000 for position in changes]


def test_spacing_12_loses_295_and_315_and_keeps_320():
    """From the worked table; also the points at 10.000 mm and what hung on them go."""
    found = what_if(shop_of((295, 315, 320)), values={"spacing_mm": "12"})
    assert (found.asked, found.before, found.after) == (3, 3, 1)
    assert soles(found.lost) == [295, 315]
    assert next(iter(found.lost.values())) == ((-5_500, -5_000), (5_000, 5_500))
    assert found.gained == {}


def test_a_window_of_12_5_mm_gains_310():
    found = what_if(shop_of(TABLE_SOLES), values={"offset_limit_mm": "12.5"})
    assert soles(found.gained) == [300, 310]
    assert list(found.gained.values())[1] == ((-12_500, -12_500), (12_500, 12_500))
    assert found.lost == {}
    lines = list(what_if_lines(found))
    assert lines[0] == "with offset_limit_mm 12.5: 11 of 11 positions possible, now 9"
    assert lines[-2] == "Nothing is changed: a manager decides on the shop's rules."
    assert lines[3] == "    T4/H4 for 310 mm: boot centre 12.5 mm toward TAIL; 12.5 mm toward TIP"


def test_pin_line_on_the_mark_moves_the_boot_back_and_so_the_positions():
    """With the pin line 150 mm behind the toe end a 310 sole stands 5 mm behind mid-sole on the mark."""
    found = what_if(shop_of((310,), pin_mm=150), values={}, convention=Convention.PIN_LINE)
    assert soles(found.gained) == [310]
    assert list(found.gained.values()) == [((-15_000, -12_500),)]


def test_a_pin_line_can_be_supposed_for_boots_that_have_none_on_record():
    """The same 150 mm, typed instead of recorded; without either there is nothing to put on the mark."""
    plain = shop_of((310,))
    found = what_if(plain, values={}, convention=Convention.PIN_LINE, pin_um=make.um(150))
    assert list(found.gained.values()) == [((-15_000, -12_500),)]
    with pytest.raises(BadInput, match="no boot of these has a pin line on record"):
        what_if(plain, values={}, convention=Convention.PIN_LINE)


def test_one_kind_of_ski_is_asked_alone():
    fleet = shop_of((310, 320))
    (pair,) = fleet.pairs.values()
    (other, *_) = set(Kind) - {pair.kind}
    assert what_if(fleet, values={"spacing_mm": "12"}, kind=pair.kind).asked == 2
    assert what_if(fleet, values={"spacing_mm": "12"}, kind=other).asked == 0
    assert kind_named("Telemark", fleet.policy) is Kind.TELEMARK
    with pytest.raises(BadInput, match="'snow' is no kind of ski"):
        kind_named("snow", fleet.policy)


def test_a_pattern_at_the_mark_is_asked_pair_by_pair():
    plate = make.piece(PieceName.PLATE, Follows.MARK, [(0, 18), (0, -18)])
    toe = make.piece(PieceName.TOE, Follows.TOE, make.TOE_HOLES)
    pattern = make.Pattern(name="T4/H4", binding_model="plate", pieces=(plate, toe))
    fleet = replace(shop_of((315,)), patterns={"T4/H4": pattern})
    found = what_if(fleet, values={"spacing_mm": "40"})
    assert (found.before, found.after) == (1, 0)


def test_nothing_to_compare_is_said_plainly():
    with pytest.raises(BadInput, match="nothing to compare"):
        what_if(shop_of((310,)), values={})
    with pytest.raises(BadInput, match="no mount convention"):
        convention_named("heel")
