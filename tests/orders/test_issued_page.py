"""The tablet page of issued orders: numbers instead of PROPOSAL, on the screen and on every printed page."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest

from planner.bench.orders.book import WorkOrder, read_orders
from planner.paper.cautions import CLAIM, DEFER_ON_A_PAGE, NO_SETTING
from planner.paper.issued_sheets import print_again, tablet_page
from tests.chromium import chromium
from tests.counter.command import Command
from tests.orders.bench_shop import BenchShop
from tests.tablet.test_page import Opener, hidden_at, plain, printed, sheet, tags

__all__ = ["chromium", "sheet"]


def two_orders(shop: BenchShop) -> tuple[WorkOrder, ...]:
    shop.want("W-2")
    shop.boot("B-320", 320, "alpine A")
    shop.drilled_pair("K-2", bsl_mm=290)
    shop.issue()
    return read_orders(shop.ledger.connection)


def page_of(shop: BenchShop) -> str:
    connection = shop.ledger.connection
    again = print_again(connection, paper="A4", now=shop.now)
    return tablet_page(connection, again, now=shop.now)[0].decode()


def test_the_page_of_issued_orders_says_their_numbers_and_never_proposal(shop: BenchShop) -> None:
    orders = two_orders(shop)
    html = page_of(shop)
    assert "PROPOSAL" not in html
    assert f"<strong>ISSUED</strong> 2 work orders, {orders[0].name} to {orders[1].name}" in html
    assert [a["data-tag"] for a in tags("article", html)] == [order.tag for order in orders]
    text = plain(unescape(re.sub(r"<[^>]+>", " ", html)))
    for order in orders:
        assert f"{order.name}" in text
        assert text.index(order.tag) < text.index("Orders Choose")
    assert "something new is entered about the pair or its binding: then it is refused" in text


def test_the_page_names_the_holes_as_the_sheets_of_the_orders_do(shop: BenchShop) -> None:
    orders = two_orders(shop)
    articles = page_of(shop).split("<article")[1:]
    for order, article in zip(orders, articles, strict=True):
        names = set(re.findall(r'<th scope="row">([^<]+)</th>', article))
        assert set(order.labels.values()) <= names


def test_an_order_that_the_ledger_moved_past_is_named_and_not_shown(shop: BenchShop) -> None:
    orders = two_orders(shop)
    hole = {"hole_id": f"{orders[0].tag}/A90", "side": "A", "x_um": 200_000, "y_um": 0, "diameter_um": 3600}
    hole |= {"depth_um": 9000, "state": "plugged", "knowledge": "measured bare"}
    shop.enter("holes recorded", {"tag": orders[0].tag, "holes": [hole]})
    html = page_of(shop)
    assert [a["data-tag"] for a in tags("article", html)] == [orders[1].tag]
    text = plain(unescape(re.sub(r"<[^>]+>", " ", html)))
    assert "Not valid any more" in text
    assert f"{orders[0].name} {orders[0].tag} the pair or its binding changed since: do not work by" in text


@pytest.mark.parametrize("width", [768, 1024])
def test_no_column_of_the_issued_page_is_hidden(shop: BenchShop, sheet: Opener, width: int) -> None:
    two_orders(shop)
    assert hidden_at(sheet, page_of(shop), width) == []


def test_every_printed_page_says_its_orders_the_cautions_the_ledger_and_its_number(
    shop: BenchShop, sheet: Opener
) -> None:
    orders = two_orders(shop)
    pages = [plain(one.get_text()) for one in printed(sheet, page_of(shop))]
    assert len(pages) > 2
    for number, text in enumerate(pages, start=1):
        assert "PROPOSAL" not in text
        heads = [f"{order.name} · {order.tag}" for order in orders]
        heads.append(f"Issued: 2 work orders, {orders[0].name} to {orders[1].name}")
        assert any(head in text for head in heads), number
        for caution in (DEFER_ON_A_PAGE, NO_SETTING, CLAIM):
            assert caution in text, number
        assert f"ledger {shop.ledger.head}" in text
        assert f"page {number} of {len(pages)}" in text


def test_an_empty_bench_has_a_page_that_says_so(shop: BenchShop) -> None:
    assert "<strong>ISSUED</strong> no work order" in page_of(shop)


def test_the_command_writes_the_page_beside_the_sheets(
    shop: BenchShop, command: Command, tmp_path: Path
) -> None:
    orders = two_orders(shop)
    out, page = tmp_path / "again.pdf", tmp_path / "orders.html"
    said = command("order", "print", "--out", str(out), "--html", str(page), "--json").json
    assert (said["file"], said["page"]) == (str(out), str(page))
    assert all(order.name in page.read_text(encoding="utf-8") for order in orders)
