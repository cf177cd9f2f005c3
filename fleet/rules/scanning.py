"""The scan loop: one line in, one action, one line out. A keyboard-wedge scanner or a hand types the line.

Pure but for the ledger it is given: the clock, the screen and the bell belong to the caller.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from fleet.base.days import day_at, day_text, short_day_text, short_time_text, stated_time, typed_day
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.facts.holes import Side
from fleet.facts.standing import read_standing
from fleet.facts.tags import known_tag, ski_code, ski_coded
from fleet.ledger.desk import Desk, newest_scan_at
from fleet.ledger.ledger import Ledger
from fleet.rules.clearance import Door, OwnBoot
from fleet.rules.counter import Done, newest_scan, own_boot_of, take_back, take_out, undo
from fleet.rules.holds import hold
from fleet.tables.snapshot import read_policy

SAME_SCAN: Final = timedelta(seconds=2)
"""The same tag again within this is the scanner's double beep, not a second pair."""
_SET: Final = ("set", "--set")

_OWN: Final = "own"

HELP: Final = """out            what is scanned now goes out: the pair and its boot, in either order
back           what is scanned now comes back; words after the tag are what the renter said
TAG            the pair (or, going out, the boot)
own MM TYPE    going out: the customer's own boot, its sole length and type, for the pair that waits
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
    """One line for the screen. ``refused``: ring the bell and flash.

    The rest is the same for a page, which draws it larger: ``done`` what was entered, ``fault`` why not, and
    the pair and the boot that were scanned, as far as both are known; ``again``: the scanner beeped twice.
    """

    text: str
    refused: bool = False
    quit: bool = False
    done: Done | None = None
    fault: MountbookError | None = None
    pair: str = ""
    boot: str | OwnBoot | None = None
    again: bool = False


AtDesk = Callable[[datetime, datetime | None], AbstractContextManager[Desk]]
"""Makes the desk of one action, at that time of entry and that stated time."""


class Counter:
    """One counter: a person, a mode, perhaps a boot waiting for its pair, perhaps a paper list."""

    def __init__(
        self, ledger: Ledger, *, by: str, mode: Mode = Mode.BACK, at_desk: AtDesk | None = None
    ) -> None:
        self._ledger = ledger
        self._zone = ledger.zone
        self.at_desk = at_desk or (lambda now, stated: ledger.desk(by=by, now=now, stated=stated))
        self.mode = mode
        self.boot: str | None = None
        self.pair: str | None = None
        self.sides: frozenset[Side] = frozenset()
        self._waits_since: datetime | None = None
        self.paper_time: datetime | None = None
        self.paper_note = ""
        self.due: date | None = None
        self.counts = {Mode.OUT: 0, Mode.BACK: 0}
        self._last: tuple[Mode, str | None, str | None, datetime] | None = None
        self._at_hand: tuple[str, str | OwnBoot | None] = ("", None)

    @property
    def prompt(self) -> str:
        """The prompt: mode, paper time and waiting boot, so that nobody has to remember them."""
        parts = [self.mode.value.upper()]
        if self.paper_time is not None:
            parts.append(f"paper {self._clock_text(self.paper_time)}")
        if self.boot is not None:
            parts.append(f"boot {self.boot}")
        if self.pair is not None:
            parts.append(f"{self.pair} waits for its boot")
        if self.due is not None and self.mode is Mode.OUT:
            parts.append(f"due {short_day_text(self.due)}")
        return f"{' · '.join(parts)} > "

    def drop(self) -> None:
        """Forget what waits: a boot never passes to another pair by itself."""
        self.boot = self.pair = self._waits_since = None
        self.sides = frozenset()

    def handle(self, line: str, *, now: datetime) -> Reply:
        """Do what the line says. A refusal is a reply, never an exception; nothing was entered then."""
        words = line.split()
        self._at_hand = ("", None)
        if not words:
            return Reply(text="")
        try:
            return self._command(words, now) or self._scan(words, now)
        except MountbookError as fault:
            pair, boot = self._at_hand
            self.drop()
            text = f"REFUSED  {fault.sentence}"
            if isinstance(fault, Refused) and fault.instead:
                text += f"  INSTEAD: {', '.join(fault.instead)}"
            elif fault.cure:
                text += f"  ({fault.cure})"
            return Reply(text=text, refused=True, fault=fault, pair=pair, boot=boot)

    def _command(self, words: list[str], now: datetime) -> Reply | None:
        word = words[0].lower()
        if word in ("quit", "exit") and len(words) == 1:
            return Reply(text=f"out {self.counts[Mode.OUT]}, back {self.counts[Mode.BACK]}", quit=True)
        if word in ("help", "?"):
            return Reply(text=HELP)
        if word in list(Mode) and len(words) == 1:
            self.drop()
            self.mode = Mode(word)
            return Reply(text=f"now scanning {self.mode.value.upper()}")
        if word == "at":
            return self._at(words[1] if len(words) > 1 else "now", " ".join(words[2:]), now)
        if word == "due":
            return self._due_from(" ".join(words[1:]), now)
        if word == "undo":
            with self._desk(now) as desk:
                done = undo(desk, self._tag(words[1]) if len(words) > 1 else self._newest(desk))
            self._last = None
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
        self.due = typed_day(text, today=day_at(self.paper_time or now, self._zone))
        return Reply(text=f"what goes out now is due {day_text(self.due)}, until: due off")

    def _at(self, text: str, note: str, now: datetime) -> Reply:
        if text.lower() == "now":
            self.paper_time, self.paper_note = None, ""
            return Reply(text="now")
        moment = stated_time(text, self._zone, today=day_at(now, self._zone))
        if moment > now:
            return Reply(text=f"REFUSED  {text} has not come yet", refused=True)
        self.paper_time, self.paper_note = moment, f"from a paper list{f': {note}' if note else ''}"
        return Reply(text=f"entering a paper list of {self._clock_text(moment)}")

    def _clock_text(self, moment: datetime) -> str:
        return short_time_text(moment.astimezone(ZoneInfo(self._zone)))

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
                cure="scan the pair's label; an order ends at the bench: mountbook order done",
            )
        if self.mode is Mode.OUT:
            return self._scan_out(words, now, set_now=set_now)
        side = _side_of(words)
        tag, rest = self._tag(words[0]), " ".join(words[2 if side else 1 :])
        if side is None and self._is_double(tag, None, now):
            return Reply(text=f"{tag}  same scan twice, counted once", pair=tag, again=True)
        self._lapsed(now)
        self._at_hand = (tag, None)
        if side is not None and (waits := self._other_ski(tag, side, now)) is not None:
            return waits
        with self._desk(now) as desk:
            [done] = take_back(desk, [tag], said=rest, remark=self.paper_note)
        self.drop()
        self.counts[self.mode] += 1
        self._last = (self.mode, tag, None, now)
        return self._done(done)

    def _other_ski(self, tag: str, side: Side, now: datetime) -> Reply | None:
        """Note one ski that was scanned by its own code; None once both skis of its pair were seen.

        Raises Refused for skis of two pairs: somebody has mixed them.
        """
        read_standing(self._ledger.connection, tag)  # refuses a tag that is none
        if self.pair != tag:
            if len(self.sides) == 1:
                [seen] = self.sides
                raise Refused(
                    f"{ski_code(str(self.pair), seen)} and {ski_code(tag, side)} are of two pairs: mixed",
                    cure="find the other ski of each; nothing was entered",
                )
            self.sides = frozenset()
        self.pair, self.sides, self._waits_since = tag, self.sides | {side}, now
        missing = [each for each in Side if each not in self.sides]
        if not missing:
            return None
        return Reply(text=f"{ski_code(tag, side)}  seen, now ski {missing[0].value}", pair=tag)

    def _is_double(self, pair: str | None, boot: str | None, now: datetime) -> bool:
        if self._last is None or self._last[0] is not self.mode or now - self._last[3] >= SAME_SCAN:
            return False
        return self._last[1] == pair if pair else boot is not None and self._last[2] == boot

    def _scan_out(self, words: list[str], now: datetime, *, set_now: bool) -> Reply:
        aside = self._lapsed(now)
        side = _side_of(words)
        pair, shod = self._read_out(words[:1] if side else words)
        if shod and len(self.sides) == 1:
            raise Refused(
                f"one ski of {self.pair} was scanned, and not the other", cure="scan both skis, then the boot"
            )
        if pair and self.pair not in (None, pair) and (side is None or len(self.sides) != 1):
            aside += f"; {self.pair} waited for its boot and stays in"
        if pair and side is not None and (waits := self._other_ski(pair, side, now)) is not None:
            return waits
        boot = shod if isinstance(shod, str) else None
        if self._is_double(pair, boot, now):
            return Reply(text=f"{pair or boot}  same scan twice, counted once", pair=pair or "", again=True)
        if shod and self.boot not in (None, shod):
            aside += f"; boot {self.boot} waited for a pair and is put aside"
        pair, shod = pair or self.pair, shod or self.boot
        self._at_hand = (pair or "", shod)
        if pair is None:
            if set_now or boot is None:
                raise BadInput("no pair waits for that boot", cure="scan the pair, or type both on one line")
            self.boot, self._waits_since = boot, now
            return Reply(text=f"{boot}  boot, now its pair{aside}", boot=boot)
        with self._desk(now) as desk:
            if shod is None and not set_now and self._waits(desk, pair, lapsed=bool(aside)):
                seen = self.sides
                self.drop()
                self.pair, self.sides, self._waits_since = pair, seen, now
                return Reply(
                    text=f"{pair}  waits for its boot: scan it, or type own MM TYPE{aside}", pair=pair
                )
            [done] = take_out(desk, [pair], boot=shod, due=self.due, set_now=set_now, remark=self.paper_note)
        self.drop()
        self.counts[self.mode] += 1
        self._last = (self.mode, pair, shod if isinstance(shod, str) else None, now)
        return replace(self._done(done), text=f"{self._done(done).text}{aside}", boot=shod)

    def _read_out(self, words: list[str]) -> tuple[str | None, str | OwnBoot | None]:
        """Return the pair and the boot of one line; two of a kind are said, and nothing goes out."""
        tags, own = _own_boot(words)
        boots: list[str] = []
        pairs: list[str] = []
        for tag in map(self._tag, tags):
            (boots if self._is_boot(tag) else pairs).append(tag)
        for what, found in (("boots", boots + ["the customer's own"] * bool(own)), ("pairs", pairs)):
            if len(found) > 1:
                raise BadInput(
                    f"two {what} on one line: {', '.join(found)}; nothing was handed out",
                    cure="one pair and its boot at a time",
                )
        return pairs[0] if pairs else None, own or (boots[0] if boots else None)

    def _waits(self, desk: Desk, pair: str, *, lapsed: bool) -> bool:
        """Return whether only its boot is missing; what may not go out is refused at once, by the door."""
        door = Door(desk.connection, at=desk.at, zone=desk.zone)
        return (door.needs_boot or lapsed) and not door.ask(pair).reasons

    def _lapsed(self, now: datetime) -> str:
        """Forget what has waited too long, and say so: it may be of a customer who has gone."""
        longest = timedelta(minutes=read_policy(self._ledger.connection).count("counter_wait_minutes"))
        if self._waits_since is None or now - self._waits_since <= longest:
            return ""
        gone = self.pair or f"boot {self.boot}"
        self.drop()
        return f"; {gone} waited too long and counts no more: scan it again"

    def _desk(self, now: datetime) -> AbstractContextManager[Desk]:
        return self.at_desk(now, self.paper_time)

    def _newest(self, desk: Desk) -> str:
        """Return the pair of the newest scan: of a page's desk, whoever stood there, else of this person."""
        if desk.tx.tap is not None:
            return newest_scan_at(desk.connection, desk.tx.tap.desk)
        return newest_scan(desk)

    def _tag(self, text: str) -> str:
        return known_tag(self._ledger.connection, text)

    def _is_boot(self, tag: str) -> bool:
        row = self._ledger.connection.execute("SELECT 1 FROM boot WHERE tag = ?", (tag,)).fetchone()
        return row is not None

    @staticmethod
    def _done(done: Done) -> Reply:
        return Reply(text=f"{done.tag}  {done.place.value.upper()}  {done.words}", done=done, pair=done.tag)


def _own_boot(words: list[str]) -> tuple[list[str], OwnBoot | None]:
    """Return the tags of a line, and the customer's own boot where one is typed after them: own 305 TYPE."""
    at = next((index for index, word in enumerate(words) if word.lower() == _OWN), None)
    if at is None:
        return words, None
    said = [word for word in words[at + 1 :] if word.lower() != "boot"]
    if len(said) < 2:
        raise BadInput("the customer's own boot needs its length and type", cure="own 305 TYPE")
    return words[:at], own_boot_of(said[0], " ".join(said[1:]))


def _side_of(words: list[str]) -> Side | None:
    """Return the ski of a scan that is the code of one ski, ``K-031 A`` and no more; None for any other."""
    return ski_coded(" ".join(words))[1] if len(words) == 2 and words[1] in list(Side) else None
