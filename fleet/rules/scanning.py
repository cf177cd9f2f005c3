"""The scan loop: one line in, one action, one line out. A keyboard-wedge scanner or a hand types the line.

Pure but for the ledger it is given: the clock, the screen and the bell belong to the caller.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from fleet.base.days import day_text, shop_day, short_day_text, short_time_text, typed_day
from fleet.base.entries import utc_text
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.facts.tags import known_tag
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.rules.counter import Done, newest_scan, take_back, take_out, undo
from fleet.rules.holds import hold

SAME_SCAN: Final = timedelta(seconds=2)
"""The same tag again within this is the scanner's double beep, not a second pair."""
_SET: Final = ("set", "--set")

HELP: Final = """out            what is scanned now goes out; scan the boot before the pair to check the fit
back           what is scanned now comes back; words after the tag are what the renter said
TAG            the pair (or, going out, the boot)
set TAG [BOOT] going out: its binding was just set for the boot, boot in; or --set after the tags
undo [TAG]     take the newest scan back
hold TAG WHY   stop a pair
at TIME [NOTE] enter a paper list: the time on the paper, like 16:40; `at now` ends it
due DAY        what goes out from now on is due then: 31.12., Fri, tomorrow, +3; `due off` ends it
quit           end"""


class Mode(StrEnum):
    """The meaning of a bare tag."""

    OUT = "out"
    BACK = "back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """One line for the screen. ``refused``: ring the bell and flash."""

    text: str
    refused: bool = False
    quit: bool = False


class Counter:
    """One counter: a person, a mode, perhaps a boot waiting for its pair, perhaps a paper list."""

    def __init__(self, ledger: Ledger, *, by: str, mode: Mode = Mode.BACK) -> None:
        self._ledger = ledger
        self._by = by
        self._zone = ledger.zone
        self.mode = mode
        self.boot: str | None = None
        self.paper_time: datetime | None = None
        self.paper_note = ""
        self.due: date | None = None
        self.counts = {Mode.OUT: 0, Mode.BACK: 0}
        self._last: tuple[Mode, str, datetime] | None = None

    @property
    def prompt(self) -> str:
        """The prompt: mode, paper time and waiting boot, so that nobody has to remember them."""
        parts = [self.mode.value.upper()]
        if self.paper_time is not None:
            parts.append(f"paper {short_time_text(self.paper_time.astimezone(ZoneInfo(self._zone)))}")
        if self.boot is not None:
            parts.append(f"boot {self.boot}")
        if self.due is not None and self.mode is Mode.OUT:
            parts.append(f"due {short_day_text(self.due)}")
        return f"{' · '.join(parts)} > "

    def handle(self, line: str, *, now: datetime) -> Reply:
        """Do what the line says. A refusal is a reply, never an exception; nothing was entered then."""
        words = line.split()
        if not words:
            return Reply(text="")
        try:
            return self._command(words, now) or self._scan(words, now)
        except MountbookError as fault:
            self.boot = None
            text = f"REFUSED  {fault.sentence}"
            if isinstance(fault, Refused) and fault.instead:
                text += f"  INSTEAD: {', '.join(fault.instead)}"
            elif fault.cure:
                text += f"  ({fault.cure})"
            return Reply(text=text, refused=True)

    def _command(self, words: list[str], now: datetime) -> Reply | None:
        word = words[0].lower()
        if word in ("quit", "exit") and len(words) == 1:
            return Reply(text=f"out {self.counts[Mode.OUT]}, back {self.counts[Mode.BACK]}", quit=True)
        if word in ("help", "?"):
            return Reply(text=HELP)
        if word in list(Mode) and len(words) == 1:
            self.mode, self.boot = Mode(word), None
            return Reply(text=f"now scanning {self.mode.value.upper()}")
        if word == "at":
            return self._at(words[1] if len(words) > 1 else "now", " ".join(words[2:]), now)
        if word == "due":
            return self._due_from(" ".join(words[1:]), now)
        if word == "undo":
            with self._desk(now) as desk:
                done = undo(desk, self._tag(words[1]) if len(words) > 1 else newest_scan(desk))
            return self._done(done)
        if word == "hold" and len(words) > 1:
            with self._desk(now) as desk:
                done = hold(desk, self._tag(words[1]), why=" ".join(words[2:]))
            return self._done(done)
        return None

    def _due_from(self, text: str, now: datetime) -> Reply:
        """Take the due day of the scans that follow. Where it is asked, the one before holds no longer."""
        self.due = None
        if text.casefold() in ("", "off"):
            return Reply(text="what goes out now has no due day")
        self.due = typed_day(text, today=shop_day(utc_text(self.paper_time or now), self._zone))
        return Reply(text=f"what goes out now is due {day_text(self.due)}, until: due off")

    def _at(self, text: str, note: str, now: datetime) -> Reply:
        if text.lower() == "now":
            self.paper_time, self.paper_note = None, ""
            return Reply(text="now")
        zone = ZoneInfo(self._zone)
        try:
            if len(text) <= 5:
                clock = datetime.strptime(text, "%H:%M").time()  # noqa: DTZ007 - a wall clock, joined to a day
                moment = datetime.combine(now.astimezone(zone).date(), clock, zone)
            else:
                moment = datetime.fromisoformat(text)
                moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
        except ValueError:
            return Reply(text=f"REFUSED  {text!r} is no time; write 16:40 or 2026-12-27T16:40", refused=True)
        if moment > now:
            return Reply(text=f"REFUSED  {text} has not come yet", refused=True)
        self.paper_time, self.paper_note = moment, f"from a paper list{f': {note}' if note else ''}"
        return Reply(text=f"entering a paper list of {short_time_text(moment.astimezone(zone))}")

    def _scan(self, words: list[str], now: datetime) -> Reply:
        set_now = self.mode is Mode.OUT and any(word.lower() in _SET for word in words)
        if set_now:
            words = [word for word in words if word.lower() not in _SET]
        elif words[0].lower() in _SET:
            raise BadInput("a binding is set for going out", cure="type out first")
        if not words:
            raise BadInput("set what?", cure="scan the boot, then type set and scan its pair")
        if words[0].upper().startswith("WO-"):
            raise BadInput(
                "this is the code of a work order's sheet, not of a pair",
                cure="scan the pair's label; an order is entered with mountbook order done",
            )
        tag, rest = self._tag(words[0]), " ".join(words[1:])
        if self._last and self._last[:2] == (self.mode, tag) and now - self._last[2] < SAME_SCAN:
            return Reply(text=f"{tag}  same scan twice, counted once")
        if self.mode is Mode.OUT:
            if self._is_boot(tag) and not set_now:
                self.boot = tag
                return Reply(text=f"{tag}  boot, now its pair")
            boot = self._tag(rest) if rest else self.boot
            with self._desk(now) as desk:
                [done] = take_out(
                    desk, [tag], boot=boot, due=self.due, set_now=set_now, remark=self.paper_note
                )
            self.boot = None
        else:
            with self._desk(now) as desk:
                [done] = take_back(desk, [tag], said=rest, remark=self.paper_note)
        self.counts[self.mode] += 1
        self._last = (self.mode, tag, now)
        return self._done(done)

    @contextmanager
    def _desk(self, now: datetime) -> Iterator[Desk]:
        with self._ledger.transaction(by=self._by, now=now) as tx:
            yield Desk(tx=tx, by=self._by, now=now, zone=self._zone, stated=self.paper_time)

    def _tag(self, text: str) -> str:
        return known_tag(self._ledger.connection, text)

    def _is_boot(self, tag: str) -> bool:
        row = self._ledger.connection.execute("SELECT 1 FROM boot WHERE tag = ?", (tag,)).fetchone()
        return row is not None

    @staticmethod
    def _done(done: Done) -> Reply:
        return Reply(text=f"{done.tag}  {done.place.value.upper()}  {done.words}")
