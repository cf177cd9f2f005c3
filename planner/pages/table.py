"""The pages in the order of the navigation: a page more is one line here, a module and a template."""

from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import Final

from starlette.routing import Route

PAGE_WORDS: Final = (
    ("today", "Today"),
    ("counter", "Counter"),
    ("evening", "Evening"),
    ("bench", "Bench"),
    ("find", "Find"),
    ("plan", "Plan"),
    ("inventory", "Import"),
)
"""Module of `planner/pages/` and the page's word in the navigation; its first address is ``/module``."""

_BESIDE: Final = ("people",)
"""Modules with pages that stand in no navigation: of who signs, staff and testers, and of each desk."""


@dataclass(frozen=True, slots=True)
class PageWord:
    """One word of the navigation and where it leads."""

    word: str
    address: str


NAVIGATION: Final = tuple(PageWord(word, f"/{module}") for module, word in PAGE_WORDS)


def page_routes() -> Iterator[Route]:
    """Yield the routes of every page: each module has them as ``ROUTES``."""
    for module in (*(module for module, _ in PAGE_WORDS), *_BESIDE):
        yield from import_module(f"planner.pages.{module}").ROUTES
