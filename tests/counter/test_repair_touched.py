"""A repair takes away what is known of the piece that it touched, and of no other."""

from __future__ import annotations

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import BadInput, MountbookError
from fleet.facts.holes import Side
from fleet.facts.standing import read_standing
from fleet.rules.holds import end_repair, hold
from tests.counter.command import Command
from tests.counter.shop import JORY, NELL, SANNE, Shop

EVERY = {(side, piece): 310_000 for side in Side for piece in ("toe", "heel")}


def _repaired(shop: Shop, *touched: str) -> str:
    """P-1 is set for sole 310 mm; it is held and repaired, and the words of the repair come back."""
    shop.enter("binding set", {"tag": "P-1", "bsl_um": 310_000, "boot": "B-310", "pieces": ["toe", "heel"]})
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="seen on the rack")
    with shop.desk(JORY) as desk:
        return end_repair(desk, "P-1", did="screw set anew", touched=touched).words


def _known(shop: Shop) -> dict[tuple[Side, str], int]:
    return {(each.side, each.piece): each.sole_um for each in shop.standing("P-1").setting.pieces}


@pytest.mark.parametrize(
    ("touched", "gone", "words"),
    [
        (("A heel",), [(Side.A, "heel")], "ski A toe 310 mm and heel not known, ski B 310 mm"),
        (("b  Toe",), [(Side.B, "toe")], "ski A 310 mm, ski B heel 310 mm and toe not known"),
        (("B toe", "B heel"), [(Side.B, "toe"), (Side.B, "heel")], "ski A 310 mm, ski B not known"),
        (("A toe", "B toe"), [(Side.A, "toe"), (Side.B, "toe")], "ski A heel 310 mm and toe not known, "),
        (("none",), [], "310 mm"),
        ((), list(EVERY), "not known"),
    ],
)
def test_only_the_touched_piece_is_not_known(
    shop: Shop, touched: tuple[str, ...], gone: list[tuple[Side, str]], words: str
) -> None:
    said = _repaired(shop, *touched)
    assert f"; its binding is set for sole{'' if words == '310 mm' else ':'} {words}" in said
    assert _known(shop) == {at: sole for at, sole in EVERY.items() if at not in gone}
    assert shop.standing("P-1").setting.bsl_um == (None if gone else 310_000)
    shop.look("P-1", by=SANNE)  # the second person looks all the same
    if gone:
        with pytest.raises(MountbookError, match=r"its binding is set for|its binding is set for is not"):
            shop.out("P-1", boot="B-310")
        shop.out("P-1", boot="B-310", set_now=True)
    else:
        shop.out("P-1", boot="B-310")
    assert audit_file(shop.ledger.path, now=shop.now).clean


def test_a_body_that_does_not_say_what_was_touched_means_every_piece(shop: Shop) -> None:
    shop.enter("binding set", {"tag": "P-1", "bsl_um": 310_000, "boot": "B-310", "pieces": ["toe", "heel"]})
    shop.enter("repair done", {"tag": "P-1", "glued_with": []}, by=JORY)
    assert _known(shop) == {}


def test_where_a_setting_names_no_piece_the_whole_ski_is_not_known(shop: Shop) -> None:
    shop.enter("binding set", {"tag": "P-1", "bsl_um": 310_000, "boot": "B-310"})
    shop.enter("repair done", {"tag": "P-1", "glued_with": [], "touched": [["A", "heel"]]}, by=JORY)
    assert _known(shop) == {(Side.B, ""): 310_000}


@pytest.mark.parametrize("touched", ["A", "C heel", "A wing", "heel"])
def test_what_is_no_piece_of_the_pair_is_refused(shop: Shop, touched: str) -> None:
    with pytest.raises(BadInput, match=r"is not a piece of a ski|has no wing piece"):
        _repaired(shop, touched)
    assert read_standing(shop.ledger.connection, "P-1").hold_entry


def test_none_beside_a_piece_is_refused(shop: Shop) -> None:
    with pytest.raises(BadInput, match="'none' is not a piece of a ski"):
        _repaired(shop, "none", "A heel")


def test_as_it_is_typed_the_ski_says_which_piece_is_not_known(command: Command) -> None:
    command("set-binding", "P-1", "--boot", "B-310", "--by", NELL)
    command("hold", "P-1", "--why", "seen on the rack", "--by", NELL)
    did = ("--did", "screw set anew", "--touched", "A heel", "--touched", "B toe", "--by", JORY)
    known = "ski A toe 310 mm and heel not known, ski B heel 310 mm and toe not known"
    assert known in " ".join(command("repair", "done", "P-1", *did).stdout.split())
    shown = command("ski", "P-1").stdout
    assert f"set for sole: {known}" in shown
    assert "repair done: touched A heel, B toe" in shown
