"""A browser without a screen: the pages' application called in this process, with forms as a browser sends
them.
"""

from __future__ import annotations

import asyncio
import re
import secrets
from typing import Any, Self

import httpx

from planner.pages.app import pages_app
from planner.pages.desks import Desks
from planner.pages.served import ServedLedger
from tests.counter.shop import Shop

HOST = "127.0.0.1:8010"
ORIGIN = f"http://{HOST}"


class PagesBrowser:
    """One desk's browser on a shop's pages. The shop's own connection reads what came of it."""

    comes_from = "127.0.0.1"

    def __init__(self, shop: Shop, served: ServedLedger, desks: Desks) -> None:
        self.shop, self.served, self.desks = shop, served, desks
        self.app = pages_app(served, desks, shop="The Invented Shop", hosts=[HOST], secure=False)
        self.cookies = httpx.Cookies()
        self.status = 0

    @classmethod
    def on(cls, shop: Shop) -> Self:
        served = ServedLedger(shop.ledger.path, now=lambda: shop.tick())
        return cls(shop, served, Desks(None, now=lambda: shop.now))

    def beside(self) -> PagesBrowser:
        """Another desk's browser on the same pages."""
        return PagesBrowser(self.shop, self.served, self.desks)

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
        return answer

    def get(self, address: str) -> str:
        return self.ask("GET", address).text

    def post(self, address: str, tap: str = "", **fields: str) -> str:
        """Send a form of our own page; each time with another id, if none is given."""
        said = {"tap": tap or secrets.token_urlsafe(12), **fields}
        return self.ask("POST", address, data=said, headers={"origin": ORIGIN}).text

    def entries(self, after: int = 0) -> list[tuple[str, str, dict[str, Any]]]:
        """What stands in the ledger after an entry: kind, name and body without the tap."""
        return [
            (entry.what, entry.by, {key: said for key, said in entry.body.items() if key != "tap"})
            for entry in self.shop.ledger.entries(after=after)
        ]


def words_of(html: str) -> str:
    """The words of a page as they are read, without its markup."""
    main = re.search(r"<main.*?</main>", html, re.S)
    text = re.sub(r"<(script|style).*?</\1>", " ", main.group(0) if main else html, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())
