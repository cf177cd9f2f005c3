"""Values of the shop's rules as a careless person types them: what no rule can be read from is refused."""

from __future__ import annotations

import pytest

from fleet.base.errors import BadInput
from fleet.facts.kinds import KindRule
from fleet.facts.policy import default_policy
from fleet.ledger.people import set_policy
from fleet.tables.snapshot import read_policy
from tests.counter.command import Command
from tests.counter.shop import WIM, Shop


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("mounts_max", "2.5"),
        ("pass_days", "1.5"),
        ("sample_min", "16.5"),
        ("batch_least", "3.9"),
        ("recheck_first_returns", "0.9"),
        ("pin_tries", "3.5"),
    ],
)
def test_what_is_counted_is_a_whole_number(shop: Shop, name: str, value: str) -> None:
    """The rule cut it off: three pairs did where at least 3.9 was said."""
    before = shop.dump()
    with pytest.raises(BadInput, match="these are counted"), shop.desk(WIM) as desk:
        set_policy(desk, name, value, origin="x")
    assert shop.dump() == before
    with shop.desk(WIM) as desk:
        set_policy(desk, name, "5", origin="x")
    assert read_policy(shop.ledger.connection).count(name) == 5


@pytest.mark.parametrize(
    ("name", "value"),
    [("minutes_measure", "1.5"), ("spacing_mm", "10.5"), ("sample_percent", "7.5"), ("late_weight_1", "0.5")],
)
def test_what_is_measured_has_fractions(shop: Shop, name: str, value: str) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, name, value, origin="x")
    assert str(read_policy(shop.ledger.connection).number(name)) == value


def test_a_number_that_rules_need_is_not_blanked(shop: Shop) -> None:
    """Without one of them neither tonight's list nor a plan came about, until it was set again."""
    before = shop.dump()
    for setting in default_policy():
        if not setting.value or setting.unit in ("text", "adhesive", "day"):
            continue
        with (
            pytest.raises(BadInput, match=f"{setting.name} needs a number") as refused,
            shop.desk(WIM) as desk,
        ):
            set_policy(desk, setting.name, "", origin="x")
        assert refused.value.cure == f"the program's own is {setting.said}"
    assert shop.dump() == before
    for name in ("pass_days", "wall_min_mm", "cure_epoxy_hours", "price_plug", "pass_from_day"):
        with shop.desk(WIM) as desk:
            set_policy(desk, name, "", origin="x")


@pytest.mark.parametrize("name", ["mount_adhesive", "plug_adhesive", "insert_adhesive"])
@pytest.mark.parametrize("typed", ["wood glue", "Wood-Glue", " wood_glue "])
def test_a_glue_is_one_whose_cure_the_shop_has_a_rule_for(command: Command, name: str, typed: str) -> None:
    """As the sheets write it, it was another glue, whose cure nobody could set."""
    set_to = ("policy", "set", name)
    why = ("--origin", "its data sheet", "--yes", "--by", WIM, "--json")
    assert command(*set_to, typed, *why).json["new"] == "wood_glue"
    no = command(*set_to, "5 mm", *why)
    assert (no.returncode, no.json["refused"]) == (1, "'5 mm' is no glue of this shop")
    assert no.json["cure"].startswith("one of: wood_glue, epoxy; a new one needs its cure first")
    assert command(*set_to, "", *why).json["new"] == ""
    assert command("policy", "set", "cure_pitch_hours", "24", *why).returncode == 0
    assert command(*set_to, "pitch", *why).returncode == 0


@pytest.mark.parametrize(
    "value", ["alpine", "alpine+tuoring", "alpine+touring+telemark", "alpine=touring", "alpine+touring;", "5"]
)
def test_kinds_that_meet_are_pairs_of_the_shop_s_kinds(shop: Shop, value: str) -> None:
    """What was no pair let nothing meet, and nobody said so."""
    with pytest.raises(BadInput, match="is no pair of kinds") as refused, shop.desk(WIM) as desk:
        set_policy(desk, "kinds_may_meet", value, origin="x")
    assert "write it like alpine+touring" in refused.value.cure
    for good in ("", "no", "alpine + Touring, telemark+touring", "alpine+touring+alpine"):
        with shop.desk(WIM) as desk:
            set_policy(desk, "kinds_may_meet", good, origin="x")
    rule = KindRule(read_policy(shop.ledger.connection))
    assert rule.meet({"alpine"}, {"touring"})
    assert not rule.meet({"alpine"}, {"telemark"})
