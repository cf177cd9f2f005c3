"""A person with a pencil who knows nothing but the printed sheet and the skis on the bench.

Reads the words of a work order off the PDF, where they stand, and does what they say. Imports nothing of the
project. Lengths in millimetres from each ski's own mark, + to the tip and + to the right (seen to the tip).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pymupdf

SKIS = ("A", "B")
_WAY = re.compile(r"toward (TIP|TAIL)|on the mark")
_ONE = re.compile(r"([\d.]+) mm toward (TIP|TAIL)|on the mark|stays")
_SAME_WAY = re.compile(r"A ([\d.]+), B ([\d.]+) mm toward (TIP|TAIL)")
_PIECE = re.compile(r"(toe|heel|plate): (.+)")


class CannotFollow(Exception):
    """The sheet leaves a question open: a person would have to guess."""


@dataclass
class Word:
    """One run of text of a page: what it says, where its middle is, and how large it is printed."""

    text: str
    x: float
    y: float
    size: float


@dataclass
class SkiDone:
    """One ski when every word was obeyed. Holes by name; ``kept``: old ones that a screw is in, or goes into.

    The place of a piece is where the sole's end stands.
    """

    drilled: dict[str, tuple[float, float]] = field(default_factory=dict)
    kept: dict[str, tuple[float, float]] = field(default_factory=dict)
    plugged: set[str] = field(default_factory=set)
    bit: str = ""
    pieces: dict[str, float] = field(default_factory=dict)
    centre: float | None = None
    turns: list[str] = field(default_factory=list)
    mark_to_tail: float | None = None


@dataclass
class Done:
    """An order that was followed to its end."""

    order: str
    pair: str
    boot: str
    brake: str
    takes_binding_off: str
    skis: dict[str, SkiDone]
    glue: bool
    wait: str
    jig: tuple[float, float] | str
    said: dict[str, str] = field(default_factory=dict)

    def once(self, about: str, words: str) -> None:
        """Two pages of one order say the same of one thing, or nobody can obey them."""
        if self.said.setdefault(about, words) != words:
            raise CannotFollow(f"the pages disagree: {self.said[about]} / {words}")


def read(pdf: bytes) -> list[list[Word]]:
    """The words of each page. Steps on a page of their own go on from the holes on the page before."""
    pages: list[list[Word]] = []
    for page in pymupdf.open(stream=pdf):
        words = list(_words(page))
        if any(w.text.startswith("Steps: read, do") for w in words) and not any(
            w.text == "along the ski, from the mark, mm" for w in words
        ):
            pages[-1] += [replace(w, y=w.y + page.rect.height) for w in words]
        else:
            pages.append(words)
    return pages


def _words(page: Any) -> Iterator[Word]:
    for block in page.get_text("dict")["blocks"]:
        for line in block.get("lines", ()):
            for span in line["spans"]:
                text = span["text"].strip()
                x0, y0, x1, y1 = span["bbox"]
                if text and span["size"] > 0:
                    yield Word(text, (x0 + x1) / 2, (y0 + y1) / 2, span["size"])


def follow(pages: list[list[Word]], stands: Mapping[tuple[str, str], float]) -> Done:
    """Do what the sheet says. ``stands``: where the pieces of each ski stand before, by ski and piece."""
    done = Done("", "", "", "", "", {ski: SkiDone() for ski in SKIS}, glue=False, wait="", jig="")
    told: set[str] = set()
    for page in pages:
        title = _only(page, r"WORK ORDER(?:, SKI ([AB]))?", "what the sheet is")
        sides = (title[1],) if title[1] else SKIS
        told |= set(sides)
        done.order = _only(page, r"(WO-\d{4}-\d+)  rev ([A-Z]+)", "number and revision")[0]
        done.brake = _only(page, r".*(?:brake (\d+) mm|no brake)", "the brake")[0].rpartition("·")[2].strip()
        _skis(page, sides, done)
        _steps(page, sides, done, stands)
    if told != set(SKIS):
        raise CannotFollow(f"nothing is said of ski {set(SKIS) - told}")
    return done


def _only(page: list[Word], pattern: str, what: str) -> re.Match[str]:
    found = [match for word in page if (match := re.fullmatch(pattern, word.text))]
    if not found:
        raise CannotFollow(f"the sheet does not say {what}")
    return found[0]


# -- the table beside the picture: what is done to each hole ------------------------------------------------


def _skis(page: list[Word], sides: tuple[str, ...], done: Done) -> None:
    head = next((word for word in page if word.text == "along the ski, from the mark, mm"), None)
    steps = next((word for word in page if word.text.startswith("Steps: read, do")), None)
    if head is None or steps is None:
        raise CannotFollow("there is no table of holes, or no steps")
    rows = [word for word in page if head.y < word.y < steps.y and word.x > head.x - 60]
    bit = next((word.text for word in page if word.text.startswith("Ø ") and word.size > 15), "")
    for do in [word for word in rows if re.match(r"(drill|reuse|stays|plug .+)$", word.text)]:
        beside = [word for word in rows if abs(word.y - do.y) < 5.5]
        if do.text.startswith("plug"):
            for ski in sides:
                done.skis[ski].plugged |= set(do.text.split()[1:])
            continue
        name = _nearest_left(beside, do, r"\S{1,12}")
        across = next((_across(word.text) for word in beside if _across(word.text) is not None), None)
        if name is None or across is None:
            raise CannotFollow(f"a hole to {do.text} has no name or no place across")
        for ski in sides:
            if do.text == "drill":
                done.skis[ski].drilled[name] = (_along(rows, do, head, steps), across)
                done.skis[ski].bit = bit
            else:
                done.skis[ski].kept[name] = (_along(rows, do, head, steps), across)
    lacks = any(done.skis[ski].drilled and not done.skis[ski].bit for ski in sides)
    if lacks and not any(word.text == "READ THE SKI" for word in page):
        raise CannotFollow("the drill's size is not said")


def _nearest_left(beside: list[Word], do: Word, pattern: str) -> str | None:
    found = [
        w for w in beside if 4 < do.x - w.x < 60 and re.fullmatch(pattern, w.text) and abs(w.y - do.y) < 5
    ]
    return max(found, key=lambda w: w.x).text if found else None


def _across(text: str) -> float | None:
    if text == "centre line":
        return 0.0
    match = re.fullmatch(r"([\d.]+) (left|right)", text)
    return None if match is None else float(match[1]) * (1 if match[2] == "right" else -1)


def _along(rows: list[Word], do: Word, head: Word, steps: Word) -> float:
    """The large number whose lines this row is among, with the way beside it."""
    numbers = [w for w in rows if re.fullmatch(r"\d+\.\d", w.text) and w.x < do.x - 40]
    ways = [w for w in rows if _WAY.fullmatch(w.text) and w.x < do.x]
    lines = sorted(w.y for w in rows if re.match(r"(drill|reuse|stays|plug .+)$", w.text))
    start = 0
    for number in sorted(numbers, key=lambda w: w.y):
        group: list[float] = []
        while start < len(lines):
            group.append(lines[start])
            start += 1
            if abs(sum(group) / len(group) - number.y) < 4.0:
                break
        if any(abs(y - do.y) < 0.1 for y in group):
            beside = [w for w in ways if abs(w.y - number.y) < 9]
            if not beside:
                raise CannotFollow(f"{number.text} mm from the mark, but which way?")
            way = min(beside, key=lambda w: abs(w.y - number.y)).text
            return 0.0 if way == "on the mark" else float(number.text) * (1 if way.endswith("TIP") else -1)
    raise CannotFollow("a hole has no place along the ski")


# -- the steps ---------------------------------------------------------------------------------------------


def _steps(
    page: list[Word], sides: tuple[str, ...], done: Done, stands: Mapping[tuple[str, str], float]
) -> None:
    text = " ".join(word.text for word in page)
    head = next(word for word in page if word.text.startswith("Steps: read, do"))
    steps = " ".join(word.text for word in page if word.y > head.y)
    if len(sides) == 1 and (both := re.search(r"\bA \d[^A-Z]*(mm toward T\w+)?, B .{9}", steps)):
        raise CannotFollow(f"the page of ski {sides[0]} says the values of both: {both[0]}")
    if any(done.skis[ski].plugged for ski in sides):
        ends = re.search(r"FIRST VISIT ENDS; write the time", text)
        wait = re.search(r"NOT BEFORE (time filled \+ \d+ h|it has cured)", text)
        if not ends or not wait:
            raise CannotFollow("holes are plugged, and nothing says when the next one may be drilled")
        cure = re.search(r"cure (\d+) hours", text)
        if cure and f"+ {cure[1]} h" not in wait[1]:
            raise CannotFollow(f"which is it? {cure[0]}, {wait[0]}")
        done.once("wait", wait[1])
        done.wait = wait[1]
    _mark(page, sides, done)
    done.glue |= "Glue, then ALL screws" in text
    if off := re.search(r"TAKE THE BINDING OFF (\S+?),? ", text):
        done.takes_binding_off = off[1]
    if any(done.skis[ski].drilled for ski in sides):
        jig = re.search(r"JIG set to ([\d.]+) mm, its centre (.+?)(?: \d+ new|  |$)", text)
        if jig:
            done.once("jig", jig[0])
            done.jig = (float(jig[1]), said(jig[2])["A"])
        elif "NO JIG" in text:
            done.jig = "NO JIG"
        else:
            raise CannotFollow("nothing says how the holes are found")
    turn = re.search(r"In turn, diagonally: (.+?); last turns", text)
    if any(done.skis[ski].drilled or done.skis[ski].kept for ski in sides) and "screws in before" in text:
        if turn is None:
            raise CannotFollow("nothing says in which turn the screws are tightened")
        for ski in sides:
            own = re.search(rf"{ski} ([\d ,\w-]+?)(?:, B |$)", turn[1]) if turn[1].startswith("A ") else None
            done.skis[ski].turns = re.split(r"[ ,]+", own[1] if own else turn[1])
    boot = re.search(r"boot (\S+)\. Off: set again", text)
    if boot is None:
        raise CannotFollow("nothing says which boot")
    done.boot = boot[1]
    centre_said = False
    for word in page:
        if piece := _PIECE.fullmatch(word.text):
            _set_piece(piece, sides, done, stands)
        elif word.text.startswith("Boot in: boot centre "):
            centre_said = True
            done.once(f"boot centre of ski {' and '.join(sides)}", word.text)
            for ski in sides:
                done.skis[ski].centre = said(word.text)[ski]
    if not centre_said:
        raise CannotFollow("nobody is told where the boot's centre must be")


def _mark(page: list[Word], sides: tuple[str, ...], done: Done) -> None:
    """What the rule must read from mark to tail, where the sheet asks for it."""
    lead = next((w for w in page if re.match("Mark to tail, both|FIRST: measure mark to tail", w.text)), None)
    if lead is None:
        return
    beside = [w for w in page if abs(w.y - lead.y) < 3 and w.x > lead.x + 60]
    value = next((w.text for w in beside if re.fullmatch(r"[\d.]+|\?|A .+ / B .+", w.text)), None)
    if value is None:
        raise CannotFollow("the rule's value from mark to tail is not said")
    each = re.fullmatch(r"A (.+) / B (.+)", value)
    for number, ski in enumerate(SKIS, start=1):
        if ski in sides:
            text = each[number] if each else value
            done.skis[ski].mark_to_tail = None if text == "?" else float(text)


def _set_piece(
    piece: re.Match[str], sides: tuple[str, ...], done: Done, stands: Mapping[tuple[str, str], float]
) -> None:
    name, words = piece.groups()
    done.once(f"{name} of ski {' and '.join(sides)}", words)
    values = said(words)
    for ski in sides:
        if words.endswith("from where it stands") or words == "stays where it stands":
            done.skis[ski].pieces[name] = stands[ski, name] + values[ski]
        elif words.startswith("must stand "):
            done.skis[ski].pieces[name] = values[ski]
        else:
            raise CannotFollow(f"what is done with the {name} piece? {words}")


def said(words: str) -> dict[str, float]:
    """What the words say of ski A and of ski B."""
    if two := _SAME_WAY.search(words):
        return {ski: _signed(two[n], two[3]) for n, ski in enumerate(SKIS, start=1)}
    each = [0.0 if one[1] is None else _signed(one[1], one[2]) for one in _ONE.finditer(words)]
    named = "A " in words and ", B " in words
    if not named and re.search(r"\b[AB] ", words):
        raise CannotFollow(f"which ski is meant? {words}")
    if len(each) != (2 if named else 1):
        raise CannotFollow(f"which way, and how far? {words}")
    return {"A": each[0], "B": each[-1]}


def _signed(number: str, way: str) -> float:
    return float(number) * (1 if way == "TIP" else -1)
