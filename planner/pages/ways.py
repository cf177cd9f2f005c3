"""The place on the pages of each step: a refusal carries its step as a command, and a page says the way.

The rules live once and name each step by its command (``mountbook repair done K-031 --did TEXT``). A page
shows the place on the pages where the same step is done, with its link; what no page does it leaves to the
desk's terminal and says so.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote

from markupsafe import Markup, escape

from planner.paper.tablet_page.templates import printable


@dataclass(frozen=True, slots=True, kw_only=True)
class PageWay:
    """The place on the pages where one command's step is done.

    ``words``: without a named thing; ``of``: with it. ``to``: its address, the thing's name follows;
    ``room``: the address where none is named.
    """

    words: str
    of: str
    to: str
    room: str


def _of_thing(does: str) -> PageWay:
    return PageWay(
        words=f"on its page: {does}",
        of=f"page of {{}}: {does}",
        to="/find/thing?tag=",
        room="/find",
    )


def _of_room(word: str, does: str = "") -> PageWay:
    words = f"page {word}{f': {does}' if does else ''}"
    return PageWay(words=words, of=words, to="", room=f"/{_ADDRESS.get(word, word.lower())}")


def _of_order(does: str) -> PageWay:
    return PageWay(
        words=f"page Bench: {does}",
        of=f"page Bench, order {{}}: {does}",
        to="/bench/order?name=",
        room="/bench",
    )


_ADDRESS: Final = {
    "Import": "inventory",
    "Staff list": "staff",
    "Sample": "evening/sample",
    "Testers": "bench/testers",
}
_LOOK: Final = PageWay(
    words="page Evening", of="page Evening, {}: both skis", to="/evening/pair?scan=", room="/evening"
)
WAYS: Final[Mapping[str, PageWay]] = {
    "today": _of_room("Today"),
    "find": _of_room("Find"),
    "counter": _of_room("Counter"),
    "out": _of_room("Counter", "OUT"),
    "back": _of_room("Counter", "BACK"),
    "undo": _of_room("Counter", "undo"),
    "recheck": _of_room("Evening"),
    "recheck record": _LOOK,
    "prep sign": _LOOK,
    "order list": _of_room("Bench"),
    "order print": _of_order("its sheet"),
    "order plugged": _of_order("plugged and filled"),
    "order done": _of_order("done"),
    "order stop": _of_order("stop this order"),
    "order branch": _of_order("it cannot go on"),
    "order issue": _of_room("Plan", "issue it"),
    "plan": _of_room("Plan"),
    "import": _of_room("Import"),
    "ski": _of_thing("its record"),
    "boot": _of_thing("its record"),
    "hold": _of_thing("hold"),
    "ski-fault": _of_thing("a fault of one ski"),
    "quarantine": _of_thing("quarantine"),
    "hold-tag": _of_thing("print the hold tag"),
    "clear": _of_thing("end of the stop"),
    "repair begin": _of_thing("to the bench"),
    "repair done": _of_thing("repaired"),
    "note": _of_thing("notes"),
    "note --took-it": _of_thing("notes, do it now"),
    "note --not-so": _of_thing("notes, it is not so"),
    "later": _of_thing("kept longer"),
    "move": _of_thing("where it is"),
    "set-binding": _of_thing("binding set"),
    "release-test": _of_thing("a release test"),
    "sole": _of_thing("its sole, measured again"),
    "sample status": _of_room("Sample"),
    "sample draw": _of_room("Sample", "draw one"),
    "sample result": _of_room("Sample", "a result"),
    "sample close": _of_room("Sample", "close it"),
    "sample closed-day": _of_room("Sample", "a day was no operating day"),
    "calibration": _of_room("Testers", "a tester was calibrated"),
    "staff": _of_room("Staff list"),
    "staff add": _of_room("Staff list", "list a person"),
    "staff qualify": _of_room("Staff list", "who is qualified"),
}
"""Command -> its place on the pages, where it differs by an option with that option. A first word stands for
all of its commands that have no row.
"""
_NO_PAGE: Final = (
    "serve blank policy pattern kind fit demo why where whatif life survey name-holes batch template"
    " wanted plan-compare chain confirm-hour bench labels printer sample loosens"
    " case case-check recall season-end mounts-worth stocktake stock singles hole-map export audit backup"
    " restore rebuild correct rename withdraw remark mend-clock redact order prep repair"
)
AT_TERMINAL: Final = frozenset(_NO_PAGE.split())
"""First words of commands that no page does, or not all of them."""
TERMINAL: Final = "at the desk's terminal: "

_QUOTED: Final = r"\"[^\"]*\"|'[^']*'"
_VALUE: Final = rf"(?:{_QUOTED}|(?!--)[^\s,;()`]+)"
_NAMED: Final = rf"(?:{_QUOTED}|[A-Z][^\s,;()`:]*|[^\s,;()`:]*\d[^\s,;()`:]*|[a-z]+(?:_[a-z]+)+)"
_FIRST: Final = "|".join(sorted({*AT_TERMINAL, *(each.split()[0] for each in WAYS)}, key=len, reverse=True))
_SECOND: Final = (
    "list|record|print|enter|close|begin|done|sign|shop|issue|plugged|stop|branch|open|profile|add|qualify|set"
    "|check|closed-day|show|in|out|measured|sheet|result|draw|status|lost|match|join|kinds|model|take-back|progress|plan"
    "|send|receive"
)
_COMMAND: Final = re.compile(
    rf"`?mountbook (?P<name>(?:{_FIRST})(?![\w-])(?: (?:{_SECOND})(?![\w-]))?)"
    rf"(?P<rest>(?: --[a-z][a-z0-9-]*(?: {_VALUE})?| {_NAMED})*)`?"
)
_OPTION: Final = re.compile(r"(?<![\w-])--([a-z][a-z-]+)(?=[ ,;).]|$)")
_PLACEHOLDERS: Final = frozenset({"TAG", "PAIR", "ORDER", "NAME", "FOLDER", "BOOT", "TEXT", "FILE"})
_FIELDS: Final = {"why": "the reason", "did": "the words", "glue": "the glue", "boot": "the boot"}
"""Option -> the field of a page that asks for the same; another option stands in quotation marks."""


_ON_PAGE: Final = (
    ("sign with --by NAME, one of:", "one of these signs:"),
    ("with --by NAME", "by signing in"),
    ("--by NAME", "sign in"),
    (" given with --at", " of this look"),
    ("--glue NAME", "choose the glue"),
    ("--glue none", "none"),
    ("--filler NAME", "choose the filler"),
    ('add --drilled "A17" for each', "tick each"),
    ('add --drilled "A17"', "tick each"),
    ("add --binding-off", "tick it"),
    ("or type own MM TYPE", "or give the customer's own below"),
)
"""Words that a rule has for who types a command, and those for who has the page before her."""


def _pieces(text: str) -> Iterator[tuple[str, str]]:
    """Yield the stretches of a text: as it is, or the way of a step, with an address where a page does it."""
    text, at, said_terminal = printable(text), 0, False
    for found in _COMMAND.finditer(text):
        yield field_words(text[at : found.start()]), ""
        at = found.end()
        way = _way(found["name"], found["rest"])
        if way is not None:
            named = _thing(found["rest"])
            words = way.of.format(named) if named else way.words
            yield words, f"{way.to}{quote(named, safe='')}" if named and way.to else way.room
        else:
            typed = found[0].strip("`")
            yield typed if said_terminal else f"{TERMINAL}{typed}", ""
            said_terminal = True
    yield field_words(text[at:]), ""


def _way(name: str, rest: str) -> PageWay | None:
    first, options = name.split()[0], {part for part in rest.split() if part.startswith("--")}
    by_option = (WAYS[f"{name} {option}"] for option in options if f"{name} {option}" in WAYS)
    return next(by_option, None) or WAYS.get(name) or (None if first in AT_TERMINAL else WAYS.get(first))


def _thing(rest: str) -> str:
    """Return the pair, boot or order that the command names first; "" for a placeholder or none."""
    found = re.match(rf" ({_NAMED})", rest)
    named = found[1].strip("\"'") if found else ""
    return "" if named in _PLACEHOLDERS else named


def field_words(text: str) -> str:
    """Return a text with the fields of a page in the place of a command's options."""
    for typed, on_page in _ON_PAGE:
        text = text.replace(typed, on_page)
    return _OPTION.sub(lambda found: _FIELDS.get(found[1]) or f"“{found[1].replace('-', ' ')}”", text)


def way_links(text: str, here: str = "") -> Markup:
    """Return a text with the way on the pages in the place of each command, and a link to each place.

    ``here``: the address of the page that shows it, to which no link leads.
    """
    return Markup("").join(
        Markup('<a href="{}">{}</a>').format(address, words)
        if address and address != here
        else escape(f"{words.partition(': ')[2]}, here" if address else words)
        for words, address in _pieces(text)
    )
