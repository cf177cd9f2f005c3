"""The forms of a page as a browser has them: where each goes, its fields, and what may be typed."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Final

from tests.pages.browser import PIN

_TYPED: Final = ("text", "password", "date")
_CHOSEN: Final = {"ring": "not-moved", "glue": "none"}
"""What is chosen of a list that asks for it; else the first that a required list has."""
VALUES: Final = {
    "until": "2027-03-31",
    "on": "2026-12-01",
    "closed_day": "2026-12-26",
    "day": "2026-12-30",
    "scan": "P-1",
    "bsl": "303.5",
    "own_mm": "305",
    "own_type": "alpine A",
    "boot": "B-305",
    "name": "Vera Lind",
    "minutes": "600",
    "ready_by": "2027-01-15",
    "code": "1234 5678",
    "pin": PIN,
    "pin_by": PIN,
    "again": PIN,
}
"""What is typed into a field of that name where it has nothing yet; into any other `WORDS`."""
WORDS: Final = "seen by me"


@dataclass
class Form:
    """One button of a form: its address, and its fields as they are sent. ``typed``: those people type in;
    ``ticks``: what may be ticked.
    """

    address: str
    fields: dict[str, str]
    typed: tuple[str, ...]
    ticks: tuple[str, ...]


@dataclass
class _Open:
    action: str
    fields: dict[str, str] = field(default_factory=dict)
    typed: list[str] = field(default_factory=list)
    ticks: list[str] = field(default_factory=list)
    buttons: list[dict[str, str]] = field(default_factory=list)


class _Forms(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[_Open] = []
        self._form: _Open | None = None
        self._select: tuple[str, bool] | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form" and said.get("method") == "post":
            self._form = _Open(said["action"])
            self.found.append(self._form)
        if self._form is None:
            return
        if tag == "button" and said.get("type") != "button":
            self._form.buttons.append(said)
        if tag == "select":
            self._select = (said["name"], "required" in said)
            self._form.fields[said["name"]] = _CHOSEN.get(said["name"].partition(" ")[0], "")
        if tag == "option" and self._select:
            self._option(said)
        if tag == "input" and "name" in said:
            self._input(self._form, said)

    def _option(self, said: dict[str, str]) -> None:
        assert self._form
        assert self._select
        name, required = self._select
        if "selected" in said or (required and not self._form.fields[name]):
            self._form.fields[name] = said.get("value", "\0")

    def _input(self, form: _Open, said: dict[str, str]) -> None:
        name, kind = said["name"], said.get("type", "text")
        if kind == "hidden":
            form.fields[name] = said.get("value", "")
        elif kind == "radio":
            form.fields.setdefault(name, said.get("value", "on"))
        elif kind == "checkbox":
            form.ticks.append(name)
            form.fields |= {name: "on"} if name.startswith("tick ") else {}
        elif kind in _TYPED:
            form.fields[name] = said.get("value", "") or (
                VALUES.get(name, WORDS) if "required" in said or name in VALUES else ""
            )
            form.typed.append(name)

    def handle_data(self, data: str) -> None:
        if self._form is not None and self._select and "\0" in self._form.fields.values():
            self._form.fields[self._select[0]] = data.strip()

    def handle_endtag(self, tag: str) -> None:
        self._form = None if tag == "form" else self._form
        self._select = None if tag == "select" else self._select


def forms_of(html: str) -> list[Form]:
    """Return each button of each form that is posted, with the fields that go along."""
    return [
        Form(
            button.get("formaction") or form.action,
            form.fields | ({button["name"]: button.get("value", "")} if "name" in button else {}),
            tuple(form.typed),
            tuple(form.ticks),
        )
        for form in _Forms(html).found
        for button in form.buttons
        if "disabled" not in button
    ]
