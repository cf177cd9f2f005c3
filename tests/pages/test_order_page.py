"""What an order met at the bench (an insert, a drill that slipped, no skis at fault): the same as typed."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from fleet.facts.places import Place
from fleet.ledger.ledger import Ledger
from tests.counter.command import Command
from tests.counter.shop import JORY
from tests.orders.bench_shop import BenchShop
from tests.orders.conftest import benched, shop
from tests.pages.browser import PagesBrowser, entries_of, words_of

__all__ = ["benched", "shop"]


class Twin:
    """An order on the pages, and on a copy of the ledger the same typed at the same minute."""

    def __init__(
        self,
        shop: BenchShop,
        folder: Path,
        patch: pytest.MonkeyPatch,
        capture: pytest.CaptureFixture[str],
        *,
        plugs: bool = True,
    ) -> None:
        self.shop = shop
        [self.order] = shop.issue().orders
        if plugs:
            shop.first_visit()
        self.browser = PagesBrowser.on(shop)
        self.browser.sign_in(JORY)
        self.head = shop.ledger.head.seq
        copy = folder / "typed.db"
        shop.ledger.connection.execute("VACUUM INTO ?", (str(copy),))
        self.command = Command(copy, patch, capture)

    def post(self, address: str, **fields: str) -> str:
        return words_of(self.browser.post(f"/bench/{address}", name=self.order.name, **fields))

    def typed(self, *words: str) -> None:
        self.command._now = self.shop.now - timedelta(minutes=1)
        answer = self.command("order", words[0], self.order.name, *words[1:], "--by", JORY)
        assert answer.returncode == 0, answer.stdout
        with Ledger.open(self.command.ledger) as other:
            assert entries_of(self.shop.ledger, self.head) == entries_of(other, self.head) != []


@pytest.fixture
def twin(
    shop: BenchShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Twin:
    return Twin(shop, tmp_path, monkeypatch, capsys)


def test_a_hole_that_holds_an_insert_is_entered_with_its_diameter_and_glue(twin: Twin) -> None:
    """Of the screws, one in an old hole; a diameter that is not wider than the hole is a slip of the pen."""
    html = twin.browser.get(f"/bench/order?name={twin.order.name.replace(' ', '+')}")
    screw = next(f"{screw[0]}{label}" for screw, label in twin.order.labels.items())
    assert f'name="insert{screw}"' in html
    words = twin.post("done", glue="epoxy", **{f"insert{screw}": "2,0"})
    assert "no insert goes in" in words
    typed = {"name": twin.order.name, f"insert{screw}": "2,0"}
    assert f'name="insert{screw}" value="2,0"' in twin.browser.post("/bench/check", **typed)
    words = twin.post("done", glue="epoxy", **{f"insert{screw}": "9,0"})
    assert "ENTERED" in words, words
    twin.typed("done", "--insert", f"{screw}=9.0", "--glue", "epoxy")


def test_a_drill_that_slipped_is_entered_where_it_is(twin: Twin) -> None:
    begun = twin.browser.get(f"/bench/branch?name={twin.order.name.replace(' ', '+')}&branch=slipped&ski=B")
    assert ">Stop this order<" in begun
    said = {"why": "the drill slipped", "drilledA": "nothing", "drilledB": "nothing"}
    assert "of hole B one length was typed" in twin.post("stop", **said, **{"xB unplanned 1": "40"})
    place = {"xB unplanned 1": "40,0", "yB unplanned 1": "-5.5"}
    words = twin.post("stop", **said, **place)
    assert "was not planned" in words
    assert twin.shop.place("K-1") is Place.HOLD
    typed = ("--ski-a", "nothing", "--ski-b", "nothing", "--extra", "B=40.0,-5.5")
    twin.typed("stop", *typed, "--why", "the drill slipped")


def test_an_order_whose_boot_never_comes_is_stopped_and_the_pair_is_as_it_was(
    shop: BenchShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    twin = Twin(shop, tmp_path, monkeypatch, capsys, plugs=False)
    said = {"why": "the boot is sold", "drilledA": "nothing", "drilledB": "nothing", "not_the_skis": "on"}
    assert "ENTERED" in twin.post("stop", **said)
    assert twin.shop.place("K-1") is not Place.HOLD
    typed = ("--ski-a", "nothing", "--ski-b", "nothing", "--not-the-skis")
    twin.typed("stop", *typed, "--why", "the boot is sold")
