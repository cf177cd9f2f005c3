"""The reader of a road: a plain text of what a person does and must see, walked in this process.

README.md beside it says how a road is written. What is not a step is prose, and is not read.
"""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field, fields
from datetime import datetime, timedelta
from functools import partial
from html.parser import HTMLParser
from itertools import chain
from pathlib import Path
from typing import Any, Final, cast

import openpyxl

from planner.pages.desks import Desks, Pins, open_desks
from planner.pages.web import ServedLedger
from tests.odd_data.front_door import FrontDoor
from tests.pages.browser import PagesBrowser, words_of
from tests.roads.shops import lay

ROOT: Final = Path(__file__).parent.parent.parent
ZONE: Final = "Europe/Vienna"
_STEP: Final = re.compile(r"(==|!>|>|<|shop:|take:|write:|edit:|page:|tap:|scan:|paper:|lost:) ?(.*)")
_RANGE: Final = re.compile(r"(\S*?)(\d+)\.\.(?:\S*?)(\d+)")


@dataclass
class Step:
    """One thing that a person does: its sign, the words after it, the lines given to it, and what is seen."""

    line: int
    sign: str
    words: str
    given: list[str] = field(default_factory=list)
    seen: list[str] = field(default_factory=list)


@dataclass
class Counts:
    """What a road costs the person who walks it."""

    answers: int = 0
    typed: int = 0
    scans: int = 0
    taps: int = 0
    pages: int = 0

    @property
    def minutes(self) -> int:
        """At the keyboard, the scanner and the printer, by the rule of README.md; nobody timed it."""
        seconds = 15 * self.answers + 20 * self.typed + 4 * self.scans + 3 * self.taps + 10 * self.pages
        return round(seconds / 60)

    def row(self) -> tuple[int, ...]:
        return (*(getattr(self, each.name) for each in fields(self)), self.minutes)


def read_road(text: str) -> list[Step]:
    """The steps of a road, in order."""
    steps: list[Step] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if found := _STEP.fullmatch(line):
            if found[1] == "<":
                steps[-1].given.append(found[2])
            else:
                steps.append(Step(number, found[1], found[2].strip()))
        elif line.startswith("    ") and steps:
            steps[-1].seen.append(line.strip())
    return steps


def spread(words: str) -> list[str]:
    """`K-001..K-003` as three lines; two such, joined by ` + `, take turns; anything else is one line."""
    parts = [list(_counted(part)) for part in words.split(" + ")]
    return list(chain.from_iterable(zip(*parts, strict=True)))


def _counted(words: str) -> Iterator[str]:
    found = _RANGE.search(words)
    if not found:
        yield words
        return
    for number in range(int(found[2]), int(found[3]) + 1):
        yield f"{words[: found.start()]}{found[1]}{number:0{len(found[2])}}{words[found.end() :]}"


def is_number(text: str) -> bool:
    return re.fullmatch(r"\d+(\.\d+)?", text) is not None


class Stumble(AssertionError):
    """A step at which the person does not see what the road says."""


class Road:
    """A road being walked in a folder: its clock, the person, words kept in angle brackets, the counts."""

    def __init__(self, folder: Path) -> None:
        self.door = FrontDoor(folder)
        self.counts = Counts()
        self.kept: dict[str, str] = {}
        self._who = ""
        self._where = ""
        self._browsers: dict[str, PagesBrowser] = {}
        self._page = ""
        self._close: list[Callable[[], object]] = []

    def walk(self, text: str) -> Counts:
        """Do every step, and see what it says. Raises Stumble at the first that is otherwise."""
        try:
            for step in read_road(text):
                self._do(step)
        finally:
            for close in reversed(self._close):
                close()
        return self.counts

    def _do(self, step: Step) -> None:
        step.words = self._filled(step.words)
        step.given = [self._filled(line) for line in step.given]
        do = {
            "==": self._begin,
            ">": self._type,
            "!>": partial(self._type, refused=True),
            "shop:": self._shop,
            "take:": self._take,
            "write:": self._write,
            "edit:": self._edit,
            "page:": self._open,
            "tap:": self._tap,
            "scan:": self._scan,
            "paper:": self._paper,
            "lost:": self._lose,
        }[step.sign]
        shown = do(step)
        if step.sign != "write:":
            self._see(step, shown or "")

    def _filled(self, words: str) -> str:
        for name, value in self.kept.items():
            words = words.replace(f"<{name}>", value)
        return words

    def _see(self, step: Step, shown: str) -> None:
        rest = " ".join(shown.split())
        for line in step.seen:
            if line.startswith("not: "):
                if (no := " ".join(self._filled(line[5:]).split())) in " ".join(shown.split()):
                    raise Stumble(f"line {step.line}: {step.words!r} shows {no!r}:\n{shown}")
                continue
            pattern = re.escape(" ".join(self._filled(line).split()))
            pattern = pattern.replace(re.escape("..."), ".*?")
            names = re.findall(r"<(\w+)>", pattern)
            pattern = re.sub(r"<(\w+)>", r"(?P<\1>\\S+?)(?=[,;:)]*(?:\\s|$))", pattern)
            found = re.search(pattern, rest)
            if not found:
                raise Stumble(f"line {step.line}: after {step.words!r} nobody sees {line!r} in:\n{shown}")
            self.kept |= {name: found[name] for name in names}
            rest = rest[found.end() :]

    def _begin(self, step: Step) -> None:
        when, self._who, *where = (part.strip() for part in step.words.split("·"))
        self._where = where[0] if where else ""
        day, hour = re.search(r"(\d{4}-\d\d-\d\d) (\d\d:\d\d)", when).groups()  # type: ignore[union-attr]
        summer = "03-29" <= day[5:] < "10-25"
        self.door.now = datetime.fromisoformat(f"{day}T{hour}:00+0{2 if summer else 1}:00")

    def _type(self, step: Step, *, refused: bool = False) -> str:
        typed = [word for each in shlex.split(step.words) for word in spread(each)]
        if typed.pop(0) != "mountbook":
            raise Stumble(f"line {step.line}: only mountbook is typed here")
        given = list(chain.from_iterable(spread(line) for line in step.given))
        scanned = not {"counter", "stocktake"}.isdisjoint(typed)
        self.counts.typed += 1
        self.counts.scans += len(given) * scanned
        self.counts.answers += len(given) * (not scanned)
        said = self.door(*typed, given="".join(f"{line}\n" for line in given), by=self._who)
        if bool(said.code) is not refused:
            raise Stumble(f"line {step.line}: {step.words!r} ends with {said.code}:\n{said.all}")
        return said.out + "\n" + said.err

    def _shop(self, step: Step) -> None:
        """The road begins in this shop."""
        lay(step.words, self.door.folder)

    def _take(self, step: Step) -> None:
        """A file of the project lies on the person's desk."""
        source, _, name = step.words.partition(" as ")
        shutil.copy(ROOT / source, self.door.folder / (name or Path(source).name))

    def _write(self, step: Step) -> None:
        """The person writes a file; each line of an answers file is an answer, of another a typed line."""
        (self.door.folder / step.words).write_text("".join(f"{line}\n" for line in step.seen), "utf-8")
        if "answers" in step.words:
            self.counts.answers += len(step.seen)
        else:
            self.counts.typed += len(step.seen)

    def _edit(self, step: Step) -> None:
        """Cells of one row of a workbook are typed over; a tag that is not there is a new row at the end."""
        name, title, tag, *cells = step.words.split(" | ")
        book = openpyxl.load_workbook(self.door.folder / name)
        sheet = book[title]
        headers = [cell.value for cell in sheet[1]]
        row = next((r for r in sheet.iter_rows(min_row=2) if r[0].value == tag), None)
        number = row[0].row if row else sheet.max_row + 1
        sheet.cell(number, 1, tag)
        for each in cells:
            self.counts.typed += 1
            key, _, value = each.partition(" = ")
            sheet.cell(number, headers.index(key) + 1, float(value) if is_number(value) else value)
        book.save(self.door.folder / name)

    def _paper(self, step: Step) -> str:
        name, _, many = step.words.partition(": ")
        pages = self.door.pages(name)
        self.counts.pages += len(pages)
        if many and many.split()[0] != str(len(pages)):
            raise Stumble(f"line {step.line}: {name} has {len(pages)} pages")
        return " ".join(pages)

    def _lose(self, step: Step) -> None:
        """A file is gone: a sheet under the bench, a dead disk."""
        (self.door.folder / step.words).unlink()

    def _browser(self) -> PagesBrowser:
        if not self._browsers:
            ledger = self.door.folder / "mountbook.db"
            served = ServedLedger(ledger, now=lambda: self.door.now)
            store = open_desks(None)
            desks = Desks(store, now=lambda: self.door.now)
            pins = Pins(store, now=lambda: self.door.now, zone=ZONE)
            self._close += [served.close, store.close]
            self._browsers[self._where] = PagesBrowser(cast("Any", self), served, desks, pins)
        if self._where not in self._browsers:
            self._browsers[self._where] = next(iter(self._browsers.values())).beside()
        return self._browsers[self._where]

    def tick(self) -> None:
        """A form was sent: five seconds."""
        self.door.now += timedelta(seconds=5)

    def _open(self, step: Step) -> str:
        self.counts.taps += 1
        return self._show(self._browser().get(step.words))

    def _show(self, html: str) -> str:
        self._page = html
        return words_of(html)

    def _scan(self, step: Step) -> str:
        """Scan into the field of the page that is open; after each scan tap what stands after ` > `."""
        scan, _, tap = step.words.partition(" > ")
        words, *said = scan.split(" | ")
        shown = ""
        for each in spread(words):
            self.counts.scans += 1
            shown = self._send(step, lambda form: "scan" in form.fields, [f"scan = {each}", *said])
            if tap:
                shown = self._tap(Step(step.line, "tap:", tap))
        return shown

    def _tap(self, step: Step) -> str:
        button, *said = step.words.split(" | ")
        self.counts.taps += 1
        return self._send(step, lambda form: form.press(button), said)

    def _send(self, step: Step, ours: Callable[[Form], bool], said: list[str]) -> str:
        form = next((form for form in forms_of(self._page) if ours(form)), None)
        if form is None:
            raise Stumble(
                f"line {step.line}: nothing to press for {step.words!r} in:\n{words_of(self._page)}"
            )
        for each in said:
            name, _, value = each.partition(" = ")
            if name == "all rings":
                self.counts.taps += 2  # "rest of A", "rest of B"
                form.fields |= {f: form.option(f, value) for f in form.fields if f.startswith("ring ")}
                continue
            if name not in form.fields:
                raise Stumble(f"line {step.line}: no field {name!r} but {', '.join(form.fields)}")
            self.counts.taps += name in form.options
            self.counts.typed += name not in form.options and name != "scan"
            form.fields[name] = form.option(name, value)
        browser = self._browser()
        if form.post:
            fields = {name: value for name, value in form.fields.items() if value is not None}
            return self._show(browser.post(form.action, **cast("dict[str, str]", fields)))
        asked = {name: value for name, value in form.fields.items() if value}
        return self._show(browser.ask("GET", form.action, params=asked).text)


@dataclass
class Form:
    """A form of a page: what it sends where, and its buttons."""

    action: str
    post: bool
    fields: dict[str, str | None] = field(default_factory=dict)
    options: dict[str, dict[str, str]] = field(default_factory=dict)
    buttons: list[tuple[str, Mapping[str, str | None]]] = field(default_factory=list)

    def press(self, words: str) -> bool:
        """Press its button of these words; False where it has none."""
        for said, attributes in self.buttons:
            if words in " ".join(said.split()):
                if name := attributes.get("name"):
                    self.fields[name] = attributes.get("value") or ""
                return True
        return False

    def option(self, name: str, words: str) -> str:
        return self.options.get(name, {}).get(words, words)


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._name = self._text = ""
        self._within: tuple[str, dict[str, str | None]] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        if tag == "form":
            self.forms.append(Form(said.get("action") or "", said.get("method") == "post"))
        if not self.forms:
            return
        form, name = self.forms[-1], said.get("name") or ""
        if tag == "select":
            self._name = name
            form.fields[name], form.options[name] = "", {}
        elif tag == "input" and name:
            chosen = said.get("type") not in ("checkbox", "radio") or "checked" in said
            if chosen or name not in form.fields:
                form.fields[name] = (said.get("value") or "") if chosen else None
            if said.get("type") in ("checkbox", "radio"):
                form.options.setdefault(name, {})[said.get("value") or ""] = said.get("value") or ""
        elif tag == "textarea":
            form.fields[name] = ""
        elif tag in ("button", "option"):
            self._within, self._text = (tag, said), ""

    def handle_data(self, data: str) -> None:
        self._text += data

    def handle_endtag(self, tag: str) -> None:
        if self._within is None or tag != self._within[0]:
            return
        words, said = " ".join(self._text.split()), self._within[1]
        self._within = None
        if tag == "button":
            self.forms[-1].buttons.append((words, said))
        else:
            value = said.get("value")
            self.forms[-1].options[self._name][words] = words if value is None else value
            if "selected" in said:
                self.forms[-1].fields[self._name] = words if value is None else value


def forms_of(html: str) -> list[Form]:
    """The forms of a page."""
    with closing(_Forms()) as found:
        found.feed(html)
    return found.forms
