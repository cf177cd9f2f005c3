"""Every form of every page, as the routes name them: hostile requests change nothing, a tap counts once.

Nothing here is a list of forms: they are read from the pages of a busy shop, and each route that takes a
form must be shown there. What is listed is what enters nothing, and what needs no signature.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any, Final

import pytest

from fleet.ledger.ledger import Ledger
from fleet.ledger.people import list_person
from fleet.rules.holds import hold
from fleet.rules.looks import LookKind
from fleet.rules.notes import make_note
from planner.pages.table import page_routes
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM
from tests.orders.bench_shop import BenchShop, write_plan_json
from tests.orders.conftest import benched
from tests.pages.browser import ORIGIN, PIN, PagesBrowser, words_of
from tests.pages.forms import Form, forms_of

__all__ = ["benched"]
ROUTES: Final = sorted(route.path for route in page_routes() if "POST" in (route.methods or ()))
ENTER_NOTHING: Final = {
    *("/let-in", "/desk/rename", "/desk/throw-out", "/sign/in", "/sign/out", "/sign/badge"),
    *("/pin/set", "/pin/badge", "/bench/check", "/plan/run"),
    *("/inventory/bring", "/inventory/answer", "/inventory/open"),
}
UNSIGNED: Final = {
    *("pair out", "pair back", "scan undone", "due changed", "pair held", "boot held", "pair quarantined"),
    *("ski fault found", "note made", "pair moved", "boot moved", "sample drawn"),
    "day not counted",
}
"""Kinds of entries that a desk makes in its own name, by the ledger's rules."""
COUNTER: Final = {"binding set", "note answered", "note ended", "entry remarked"}
"""Kinds that counter staff sign beside those."""
MARKUP: Final = '"><script>alert(1)</script><img src=x onerror=alert(1)>\u202e'
SKIS: Final = "tag,model,kind,length_cm,waist_mm,construction\nN-1,Invented one,alpine,170,80,wood/ti\n"
PAGES: Final = (
    *("/counter", "/evening", "/evening/sample", "/evening/pair?scan=P-3", "/today/passes?by=Ida+Fennweg"),
    *("/find/pair?tag=P-1", "/find/pair?tag=P-2", "/find/pair?tag=P-5", "/find/boot?tag=B-305", "/bench"),
    "/bench/testers",
    *("/plan", "/plan/board?plan=p2", "/inventory", "/staff", "/desk", "/sign", "/pin"),
)


@dataclass
class Busy:
    """A shop with work at every desk, the browser there, and one that was not let in."""

    shop: BenchShop
    browser: PagesBrowser

    @property
    def head(self) -> int:
        return self.shop.ledger.head.seq

    def forms(self) -> Iterator[Form]:
        """Yield every form that somebody who may sign is shown."""
        orders = self.shop.ledger.connection.execute("SELECT number FROM work_order WHERE state = 'open'")
        addresses = [f"/bench/order?name={number}" for (number,) in orders]
        waiting = [f"/inventory/file?id={token}" for token in self.browser.app.state.waiting]
        for address in (*PAGES, *addresses, *waiting):
            yield from forms_of(self.browser.get(address))
        yield from forms_of(self.tablet().get("/let-in"))

    def tablet(self) -> PagesBrowser:
        found = self.browser.beside()
        found.comes_from = "192.0.2.7"
        return found

    def send(self, form: Form, **fields: str) -> str:
        if form.address == "/inventory/bring":
            content = fields.get("file", SKIS).encode()
            said: dict[str, Any] = {"files": {"file": (fields.get("file", "x.csv"), content)}}
        else:
            self.shop.tick(minutes=int(form.address not in ENTER_NOTHING))
            said = {"data": form.fields | fields}
        return self.browser.ask("POST", form.address, headers={"origin": ORIGIN}, **said).text

    def kinds(self, after: int) -> set[str]:
        return {entry.what for entry in self.shop.ledger.entries(after=after)}


@pytest.fixture(scope="module")
def made(benched: tuple[Path, BenchShop], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, BenchShop]:
    """The bench's shop with pairs at the counter, in the evening, on hold, at the bench and in a plan."""
    folder = tmp_path_factory.mktemp("busy")
    shutil.copyfile(benched[0], folder / "shop.db")
    with Ledger.open(folder / "shop.db") as ledger:
        shop = BenchShop(ledger, now=benched[1].now)
        for name, value in (
            ("out_without_boot", "yes"),
            ("bulk_passes", "2"),
            ("sample_min", "2"),
            ("sample_max", "2"),
        ):
            shop.policy(name, value)
        shop.drilled_pair("K-2")
        shop.pair("P-6")
        for tag, bsl_mm in (("B-319", 319), ("B-310", 310)):
            shop.boot(tag, bsl_mm, "alpine A")
        shop.want("W-2", quantity=2)
        shop.issue()  # of K-1 and K-2 old holes are plugged first; the binding of P-6 is only set
        shop.first_visit("WO-2612-0002")
        for tag in ("P-1", "P-2", "P-3", "P-4", "P-5"):
            shop.pair(tag)
            shop.set_binding(tag, 305)
        for tag, bsl_mm in (("B-305", 305), ("B-321", 321)):
            shop.boot(tag, bsl_mm, "alpine A")
        shop.drilled_pair("K-3")
        shop.want("W-4", quantity=2)
        at = shop.now
        for tag in ("P-1", "P-2", "P-3", "P-4", "P-5"):
            shop.look(tag, by=IDA, kind=LookKind.SEASON_PREP, at=at)
        shop.out("P-3", "P-4")
        shop.out("P-5", due=shop.today + timedelta(days=2))
        shop.back("P-3", "P-4")
        with shop.desk(JORY) as desk:
            hold(desk, "P-2", why="heel of ski B turned")
            make_note(desk, "P-1", "heel loose, hold it")
        write_plan_json(folder / "plans" / "p2", shop.plan())
        shop.ledger.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return folder, shop


@pytest.fixture
def busy(made: tuple[Path, BenchShop], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Busy]:
    shutil.copytree(made[0], tmp_path / "shop")
    monkeypatch.setattr("tempfile.tempdir", os.fspath(tmp_path))
    monkeypatch.setattr("planner.pages.plan._start", lambda *_: None)  # no plan is made meanwhile
    with Ledger.open(tmp_path / "shop" / "shop.db") as ledger:
        shop = BenchShop(ledger, now=made[1].now)
        browser = PagesBrowser.on(shop)
        found = Busy(shop, browser)
        browser.get("/counter")
        browser.desks.let_in()
        for name in (IDA, WIM, NELL):
            browser.pins.set_pin(name, PIN, PIN, by=WIM)
        browser.pins.make_badge(SANNE, by=WIM)
        browser.sign_in(IDA)
        for name in ("taken.csv", "waiting.csv"):
            files = {"file": (name, SKIS.replace("N-1", name).encode())}
            browser.ask("POST", "/inventory/bring", files=files, headers={"origin": ORIGIN})
        browser.post("/inventory/apply", id=next(iter(browser.app.state.waiting)))
        yield found


_TURN: Final = {"/evening/sample/do": 0, "/evening/close": 0, "/bench/stop": 2}
"""The forms that would be refused after the others, and those after which others would be."""


def kinds_of(forms: Iterator[Form]) -> list[Form]:
    """One form of each kind: the same address, button and fields."""
    return [*{(form.address, form.fields.get("do"), *form.fields): form for form in forms}.values()]


def test_every_route_that_takes_a_form_is_shown_with_it_and_no_form_leads_elsewhere(busy: Busy) -> None:
    assert {form.address for form in busy.forms()} == set(ROUTES)


def test_no_route_takes_a_form_from_another_site_or_from_a_tablet_that_was_not_let_in(busy: Busy) -> None:
    tablet, forged = busy.tablet(), busy.tablet()
    forged.cookies.set("mountbook_desk", "A" * 43, domain="127.0.0.1")
    head, desks = busy.head, busy.browser.desks.all()
    forms = kinds_of(busy.forms())
    for sender, origin in ((busy.browser, "http://shop.invalid"), (tablet, ORIGIN), (forged, ORIGIN)):
        for form in forms:
            if form.address != "/let-in" or sender is busy.browser:
                answer = sender.ask("POST", form.address, data=form.fields, headers={"origin": origin})
                assert answer.status_code == 403, form
    assert (busy.head, busy.browser.desks.all()) == (head, desks)
    assert busy.browser.desks.signed_in(desks[0]) == IDA


def plain(busy: Busy, html: str, about: object) -> None:
    """No markup of what was sent, no fault of the program; refused in a sentence, or taken as text."""
    assert busy.browser.status in (200, 400, 409), (about, words_of(html))
    assert "<script>alert" not in html, about
    assert "<img src=x" not in html, about
    assert "\u202e" not in html, about
    assert "a fault of the program" not in html, about


def test_markup_in_the_fields_of_every_form_stays_text(busy: Busy) -> None:
    for form in kinds_of(busy.forms()):
        plain(busy, busy.send(form, **dict.fromkeys(form.typed, MARKUP)), form)
        hidden = [name for name in form.fields if name not in ("tap", "do", "line", *form.typed)]
        plain(busy, busy.send(form, tap="", **dict.fromkeys(hidden, MARKUP)), form)
    for address in PAGES:
        plain(busy, busy.browser.get(address), address)


def test_markup_in_the_form_by_which_two_list_a_manager_stays_text(busy: Busy) -> None:
    """That form has a second signer, and stands on the page only where no manager is in date."""
    for name, role in ((IDA, "head technician"), (WIM, "manager")):
        with busy.shop.desk(WIM) as desk:
            list_person(desk, name, role=role, until=busy.shop.today - timedelta(days=1))
    head = busy.head
    [form] = [form for form in forms_of(busy.browser.get("/staff")) if "second" in form.fields]
    for name in form.fields:
        plain(busy, busy.send(form, **{"tap": "", name: MARKUP}), name)
    assert busy.head == head


@pytest.mark.long
@pytest.mark.parametrize(
    "text", [MARKUP, "", "\x00", "x" * 5000, "-1", "\u05d0\u200b", "{{ 7777 * 7777 }}", "'; --"]
)
def test_odd_text_in_each_field_of_every_form_is_refused_or_stays_text(busy: Busy, text: str) -> None:
    for form in kinds_of(busy.forms()):
        for name in form.fields:
            html = busy.send(form, **({name: text} if name == "tap" else {name: text, "tap": ""}))
            plain(busy, html, (form, name))
            assert "60481729" not in html, (form, name)


ISSUE: Final = {"/plan/issue"}  # it gives every order another sheet
STAFF: Final = {"/staff/do"}
REST: Final = set(ROUTES) - ISSUE - STAFF - ENTER_NOTHING


@pytest.mark.parametrize(
    ("person", "routes"), [(IDA, ISSUE), (WIM, STAFF), (IDA, REST)], ids=["the plan", "the staff", "the rest"]
)
def test_a_form_that_is_sent_twice_is_one_entry_and_every_form_that_enters_is_tried(
    busy: Busy, person: str, routes: set[str]
) -> None:
    if routes == ISSUE:  # of the shop as it is now, with the rows that were taken in
        write_plan_json(busy.shop.ledger.path.parent / "plans" / "p2", busy.shop.plan())
    busy.browser.sign_in(person)
    entered = set[str]()
    forms = [form for form in kinds_of(busy.forms()) if form.address in routes]
    for form in sorted(forms, key=lambda form: _TURN.get(form.address, 1)):
        head = busy.head
        busy.send(form)
        once = busy.head
        again = busy.send(form)
        assert busy.head == once, form
        if once > head:
            entered.add(form.address)
            assert "before" in words_of(again).lower(), form
    assert entered == routes


def test_what_enters_nothing_enters_nothing(busy: Busy) -> None:
    head = busy.head
    for form in kinds_of(busy.forms()):
        if form.address in ENTER_NOTHING and form.address != "/sign/out":
            busy.send(form)
    assert busy.head == head


@pytest.mark.parametrize(("person", "may"), [("", UNSIGNED), (NELL, UNSIGNED | COUNTER)])
def test_no_form_enters_what_needs_another_s_signature(busy: Busy, person: str, may: set[str]) -> None:
    """The forms of a page on which somebody else was signed in, sent by nobody and by counter staff."""
    forms, head = kinds_of(busy.forms()), busy.head
    busy.browser.post("/sign/out")
    if person:
        busy.browser.sign_in(person)
    for form in forms:
        if not form.address.startswith("/sign/"):
            busy.send(form, person=person)
    assert busy.browser.desks.signed_in(busy.browser.desks.all()[0]) == person
    assert busy.kinds(head) - may == set()
    assert busy.kinds(head)
