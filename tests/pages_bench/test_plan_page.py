"""A plan on a page: made, its sets shown, why one is as it is, and its orders issued as the command does."""

from __future__ import annotations

import re
import sys
import time
from html import unescape
from pathlib import Path

import pytest
from starlette.requests import Request

from planner.bench.orders.book import read_orders
from planner.pages.plan import RunningCommand
from planner.plan.plan_file import read_plan
from tests.counter.shop import IDA
from tests.orders.bench_shop import BenchShop, write_plan_json
from tests.pages.browser import PagesBrowser, words_of


@pytest.fixture
def planning(shop: BenchShop, monkeypatch: pytest.MonkeyPatch) -> PagesBrowser:
    """A browser on a shop without an order. The plan's own process is asked for here, in this one."""
    monkeypatch.setenv("MOUNTBOOK_NOW", shop.now.isoformat())
    found = PagesBrowser.on(shop)
    found.get("/plan")
    return found


def made(browser: PagesBrowser) -> str:
    """Make a plan, wait for it, and return its name."""
    words = words_of(browser.post("/plan/run", minutes="", last_sets="yes"))
    assert "PLANNING" in words
    folder = browser.served.path.parent / "plans"
    until = time.monotonic() + 120
    while "PLANNING" in browser.get("/plan") and time.monotonic() < until:
        time.sleep(0.2)
    assert list(folder.glob("*/plan.json"))
    [name] = re.findall(r'href="/plan/board\?plan=([^"]+)"', browser.get("/plan"))
    return unescape(name)


def test_from_a_plan_to_its_issued_orders(planning: PagesBrowser) -> None:
    name = made(planning)
    plan = read_plan(planning.served.path.parent / "plans" / name)
    board = planning.get(f"/plan/board?plan={name}")
    [picture] = re.findall(r'<img src="([^"]+)" alt="What the last sets cost', board)
    drawn = planning.ask("GET", unescape(picture))
    assert (drawn.headers["content-type"], drawn.text[:4]) == ("image/svg+xml", "<svg")
    assert "proved best" in drawn.text
    words = words_of(board)
    assert f"{plan.totals.served} of {plan.totals.wanted} sets" in words
    for each in plan.sets:
        assert f"{each.pair} {each.boot}" in words
    assert "no set is like that" in words_of(planning.get(f"/plan/board?plan={name}&text=K-99"))
    assert "not issued" not in words
    planning.post("/plan/issue", name=name)
    assert planning.status == 409, "the desk itself may not issue"
    planning.sign_in(IDA)
    said = words_of(planning.post("/plan/issue", name=name, tap="0123456789abcdef"))
    assert "1 work orders issued" in said
    [order] = read_orders(planning.shop.ledger.connection)
    [entry] = [e for e in planning.shop.ledger.entries() if e.what == "order issued"]
    assert (order.tag, entry.by, entry.body["tap"]["signed"]) == ("K-1", IDA, "PIN")
    again = words_of(planning.post("/plan/issue", name=name, tap="0123456789abcdef"))
    assert "entered before" in again
    assert len(read_orders(planning.shop.ledger.connection, everything=True)) == 1
    sheets = planning.ask("GET", "/plan/file", params={"plan": name, "file": "work_orders_issued.pdf"})
    assert sheets.content.startswith(b"%PDF")


@pytest.mark.parametrize("name", ["../../etc", "plans/..", "", "plan-1"])
def test_no_name_leads_out_of_the_plans(planning: PagesBrowser, name: str) -> None:
    for address in ("/plan/board", "/plan/why", "/plan/file"):
        answer = planning.ask("GET", address, params={"plan": name, "file": "../bench.db", "pair": "K-1"})
        assert answer.status_code == 400


def test_what_is_typed_for_a_plan_is_checked_first(planning: PagesBrowser) -> None:
    assert "no number of minutes" in words_of(planning.post("/plan/run", minutes="--json"))
    assert "is not a day" in words_of(planning.post("/plan/run", ready_by="soon"))
    assert not (planning.served.path.parent / "plans").exists()


def answered(browser: PagesBrowser, address: str) -> str:
    """The page of a question when its command has ended."""
    words, until = words_of(browser.get(address)), time.monotonic() + 120
    while "Planned again without this set" in words and time.monotonic() < until:
        time.sleep(0.2)
        words = words_of(browser.get(address))
    return words


def test_why_answers_without_the_lines_of_its_work_unless_it_fails(planning: PagesBrowser) -> None:
    """The shop's only pair: without it nothing is served, and that is no fault of the program."""
    name = made(planning)
    words = answered(planning, f"/plan/why?plan={name}&pair=K-1").split("Why K-1 ")[1]
    assert words.startswith("W-1: B-317 on K-1, part reused")
    assert "fault" not in words
    planning.shop.enter("pair quarantined", {"tag": "K-1"})
    failed = answered(planning, f"/plan/why?plan={name}&pair=K-1&again=1")
    assert "the plan was made at entry" in failed


def test_why_answers_however_much_it_says_of_its_work(
    planning: PagesBrowser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pipe holds 64 kB: a command whose words nobody reads waits for ever when it is full."""
    name = made(planning)
    command = tmp_path / "command"
    work = "import sys; sys.stderr.write('working\\n' * 50_000); print('the answer')"
    command.write_text(f"#!{sys.executable}\n{work}\n", encoding="utf-8")
    command.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(command))
    words = answered(planning, f"/plan/why?plan={name}&pair=K-1")
    assert "the answer" in words
    assert "working" not in words


def test_a_kept_why_says_that_the_ledger_has_more_and_is_asked_again(
    planning: PagesBrowser, shop: BenchShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_plan_json(planning.served.path.parent / "plans" / "plan-1", shop.plan())
    begun: list[str] = []

    def start(request: Request, name: str, _: list[str], *, answer_only: bool) -> RunningCommand:
        begun.append(name)
        run = request.app.state.running[name] = RunningCommand(lines=[f"answer {len(begun)}"], ended=0)
        return run

    monkeypatch.setattr("planner.pages.plan._start", start)
    address = "/plan/why?plan=plan-1&pair=K-1"
    for _ in range(2):
        words = words_of(planning.get(address))
        assert "answer 1" in words
        assert "since this was answered" not in words
    shop.boot("B-320", 320, "alpine A")
    words = words_of(planning.get(address))
    assert "1 entry in the ledger since this was answered. Ask again" in words
    assert "answer 1" in words
    for _ in range(2):
        words = words_of(planning.get(f"{address}&again=1"))
        assert "answer 2" in words
        assert "since this was answered" not in words
    assert len(begun) == 2
