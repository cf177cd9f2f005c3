"""A browser without a screen: the pages' application called in this process, with forms as a browser sends
them.
"""

from __future__ import annotations

import asyncio
import re
import secrets
from html import unescape
from typing import Any, Self

import httpx
from argon2 import PasswordHasher

from fleet.ledger.ledger import Ledger
from planner.pages import desks as kept_pins
from planner.pages.app import pages_app
from planner.pages.desks import Desks, Pins, open_desks
from planner.pages.web import LedgerCare, ServedLedger
from tests.counter.shop import ZONE, Shop

HOST = "127.0.0.1:8010"
PIN = "482913"
ORIGIN = f"http://{HOST}"
SHOPS_HASHER = kept_pins._HASHER
"""It takes its time on purpose; the tests sign in hundreds of times, so they keep PINs by a quick one."""
kept_pins._HASHER = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)  # type: ignore[misc]


class PagesBrowser:
    """One desk's browser on a shop's pages. The shop's own connection reads what came of it."""

    comes_from = "127.0.0.1"

    def __init__(self, shop: Shop, served: ServedLedger, desks: Desks, pins: Pins) -> None:
        self.shop, self.served, self.desks, self.pins = shop, served, desks, pins
        self.app = pages_app(served, desks, pins, shop="The Invented Shop", hosts=[HOST], secure=False)
        self.cookies = httpx.Cookies()
        self.status = 0

    @classmethod
    def on(cls, shop: Shop, care: LedgerCare | None = None) -> Self:
        served = ServedLedger(shop.ledger.path, now=lambda: shop.now, care=care)
        store = open_desks(None)
        desks, pins = Desks(store, now=lambda: shop.now), Pins(store, now=lambda: shop.now, zone=ZONE)
        return cls(shop, served, desks, pins)

    def beside(self) -> PagesBrowser:
        """Another desk's browser on the same pages."""
        return PagesBrowser(self.shop, self.served, self.desks, self.pins)

    def ask(self, method: str, address: str, **said: Any) -> httpx.Response:
        """Send one request as it is, and follow where it leads."""

        async def sent() -> httpx.Response:
            way = httpx.ASGITransport(app=self.app, client=(self.comes_from, 50000))
            async with httpx.AsyncClient(
                transport=way, base_url=ORIGIN, cookies=self.cookies, follow_redirects=True
            ) as client:
                answer = await client.request(method, address, **said)
                self.cookies = client.cookies
                return answer

        answer = asyncio.run(sent())
        self.status = answer.status_code
        assert commands_in(answer) == [], address
        return answer

    def get(self, address: str) -> str:
        return self.ask("GET", address).text

    def post(self, address: str, tap: str = "", **fields: str) -> str:
        """Send a form of our own page, a minute later; each time with another id, if none is given."""
        self.shop.tick()
        said = {"tap": tap or secrets.token_urlsafe(12), **fields}
        return self.ask("POST", address, data=said, headers={"origin": ORIGIN}).text

    def sign_in(self, name: str, pin: str = PIN) -> str:
        """Sign a person in at this desk; the PIN is set first where there is none."""
        if not self.pins.has(name):
            self.pins.set_pin(name, pin, pin, by=name)
        self.get("/sign")
        return self.post("/sign/in", name=name, pin=pin)


def commands_in(answer: httpx.Response) -> list[str]:
    """The commands that a page names in its visible words, but those it leaves to the desk's terminal."""
    if not answer.headers.get("content-type", "").startswith(("text/html", "text/plain")):
        return []
    words = unescape(words_of(answer.text))
    found = [each.start() for each in re.finditer(r"\bmountbook [a-z]", words)]
    told = [words[max(at - 160, 0) : at] for at in found]
    return [before for before in told if "at the desk's terminal: " not in before]


def words_of(html: str) -> str:
    """The words of a page as they are read, without its markup."""
    main = re.search(r"<main.*?</main>", html, re.S)
    text = re.sub(r"<(script|style).*?</\1>", " ", main.group(0) if main else html, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def entries_of(ledger: Ledger, after: int = 0) -> list[tuple[Any, ...]]:
    """What stands in a ledger after an entry, but the tap: who, when, what, body, and the text beside."""
    notes = dict(ledger.connection.execute("SELECT seq, text FROM notes"))
    return [
        (
            entry.seq,
            entry.recorded_at_utc,
            entry.stated_at_utc,
            entry.by,
            entry.what,
            {key: said for key, said in entry.body.items() if key != "tap"},
            notes.get(entry.seq),
        )
        for entry in ledger.entries(after=after)
    ]
