"""What an order met at the bench (an insert, a drill that slipped, no skis at fault): the same as typed."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest

from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.rules.holds import hold
from tests.counter.command import Command
from tests.counter.shop import JORY
from tests.orders.bench_shop import BenchShop
from tests.orders.conftest import benched, shop
from tests.pages.browser import PagesBrowser, entries_of, words_of
from tests.pages.forms import forms_of

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


def test_a_figure_beside_a_field_says_of_which_ski_it_is_that_it_should_be_so_and_in_what(twin: Twin) -> None:
    """*A 796.0* over an empty field was read as a hole's name, or as what somebody had entered."""
    words = words_of(twin.browser.get(f"/bench/order?name={twin.order.name.replace(' ', '+')}"))
    for ski in "AB":
        assert re.search(rf"ski {ski}, should be: \d+\.\d", words)
    assert "Lengths are millimetres" in words


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


def test_holes_already_plugged_when_an_order_is_stopped_are_entered_as_typed(
    shop: BenchShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two of the old holes that the order closes, one of each ski; one that it does not know is no tick."""
    twin = Twin(shop, tmp_path, monkeypatch, capsys, plugs=False)
    html = twin.browser.get(f"/bench/order?name={twin.order.name.replace(' ', '+')}")
    [form] = [form for form in forms_of(html) if form.address == "/bench/stop"]
    offered = [name for name in form.ticks if name.startswith("plugged ")]
    plugs = [hole for side in Side for hole in twin.order.planned.way.skis[side].plug]
    assert [name.partition(" ")[2] for name in offered] == sorted(plugs), "by number, ski A first"
    first, last = offered[0], offered[-1]
    said = {"why": "the filler ran out", "drilledA": "nothing", "drilledB": "nothing"}
    assert "K-1 has no hole K-9/A1" in twin.post("stop", **said, **{"plugged K-9/A1": "on"})
    words = twin.post("stop", **said, **{first: "on", last: "on"})
    assert "ENTERED" in words, words
    typed = [each for name in (first, last) for each in ("--plugged", name.partition(" ")[2])]
    twin.typed("stop", "--ski-a", "nothing", "--ski-b", "nothing", *typed, "--why", "the filler ran out")


def test_a_hole_that_nobody_planned_is_entered_with_an_order_that_is_done(twin: Twin) -> None:
    """Half a place is refused, and stays on the page."""
    place = {"xA unplanned 2": "-60,5", "yA unplanned 2": "12"}
    half = {"xA unplanned 2": "-60,5"}
    html = twin.browser.post("/bench/done", name=twin.order.name, glue="wood_glue", **half)
    assert "of hole A one length was typed" in words_of(html)
    assert 'name="xA unplanned 2" value="-60,5"' in html.partition("/bench/stop")[0]
    words = twin.post("done", glue="wood_glue", **place)
    assert "was not planned" in words
    assert twin.shop.place("K-1") is Place.HOLD
    twin.typed("done", "--extra", "A=-60.5,12", "--glue", "wood_glue")


def test_the_bindings_that_were_used_are_named_ski_a_first(
    shop: BenchShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Only loose ones of the order's pattern are offered; one alone, and the same twice, are refused."""
    with shop.desk(JORY) as desk:
        hold(desk, "K-1", why="edge pulled out")
    shop.drilled_pair("K-2", on=False)
    shop.stock("S-8")
    shop.stock("S-9", pattern="Other 4")
    twin = Twin(shop, tmp_path, monkeypatch, capsys)
    html = twin.browser.get(f"/bench/order?name={twin.order.name.replace(' ', '+')}")
    offered = set(re.findall(r"<option[^>]*>(S-\d+/\d)</option>", html))
    assert offered == {"S-8/1", "S-8/2"}
    assert "two ids" in twin.post("done", glue="wood_glue", bindingA="S-8/2")
    assert "two ids" in twin.post("done", glue="wood_glue", bindingA="S-8/2", bindingB="S-8/2")
    words = twin.post("done", glue="wood_glue", bindingA="S-8/2", bindingB="S-8/1")
    assert "ENTERED" in words, words
    twin.typed("done", "--binding", "S-8/2", "--binding", "S-8/1", "--glue", "wood_glue")
