"""One person alone, a clerk or a technician, tries to let out a pair that is stopped: no way leads there.

The ways stand in `ways_round_the_door.txt`, as that person would type them.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from fleet.facts.holes import Side, SkiFault
from fleet.ledger.ledger import Ledger
from fleet.rules.holds import end_repair, hold, quarantine, ski_fault
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, Shop

WHO = {"Nell": NELL, "Jory": JORY}
"""A clerk and a technician."""


def quarantined(shop: Shop) -> None:
    with shop.desk(SANNE) as desk:
        quarantine(desk, "P-1", why="fall on the home run")


def held(shop: Shop) -> None:
    with shop.desk(SANNE) as desk:
        hold(desk, "P-1", why="strap torn")


def came_back(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1", said="felt loose")


def found_moved(shop: Shop, by: str = JORY) -> None:
    """By the technician himself, who tries then."""
    came_back(shop)
    shop.look("P-1", by=by, found={"A heel": "turned"})


def worked_on(shop: Shop) -> None:
    """Another found it; the technician repaired it, and tries then."""
    found_moved(shop, by=IDA)
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="heel screwed down anew")


def cracked(shop: Shop) -> None:
    with shop.desk(SANNE) as desk:
        ski_fault(desk, "P-1", Side.A, SkiFault.CRACK)


def untested(shop: Shop) -> None:
    shop.policy("gate_release_test_alpine", "season")


def untested_by_the_qualified(shop: Shop) -> None:
    untested(shop)
    shop.policy("gate_qualification", "release test")


STOPS: dict[str, Callable[[Shop], None]] = {
    "quarantined": quarantined,
    "held": held,
    "came back": came_back,
    "found moved": found_moved,
    "worked on": worked_on,
    "cracked": cracked,
    "untested": untested,
    "untested by the qualified": untested_by_the_qualified,
    "as it is": lambda shop: None,  # ready, set for 305 mm; the fit of alpine A soles is declared
}


@dataclass(frozen=True)
class Way:
    stop: str
    who: str
    name: str
    files: dict[str, str]
    typed: tuple[str, ...]

    def __str__(self) -> str:
        return self.name


def ways() -> Iterator[Way]:
    text = Path(__file__).with_name("ways_round_the_door.txt").read_text("utf-8")
    for block in text.split("\n\n")[1:]:
        first, *lines = block.strip().splitlines()
        found = re.fullmatch(r"\[(.+) \| (.+)\] (.+)", first)
        assert found, first
        files, typed, name = dict[str, str](), [], ""
        for line in lines:
            if line.startswith("file "):
                name = line.removeprefix("file ")
            elif line.startswith("| "):
                files[name] = files.get(name, "") + line[2:] + "\n"
            else:
                typed.append(line)
        yield Way(found[1], WHO[found[2]], found[3], files, tuple(typed))


@pytest.mark.parametrize("way", list(ways()), ids=str)
def test_nobody_alone_lets_a_stopped_pair_out(
    shop: Shop, tmp_path: Path, way: Way, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = shop.ledger.path
    shop.policy("out_without_boot", "no")
    command = Command(path, monkeypatch, capsys)
    words: dict[str, object] = {"earlier": shop.ledger.head.seq, "before": shop.now.isoformat()}
    if "{copy}" in "".join(way.typed):
        words["copy"] = command("backup", str(tmp_path / "copies"), "--json").json["backup"]
    STOPS[way.stop](shop)
    newest = list(shop.ledger.entries())[-1]
    mount = next(e.seq for e in shop.ledger.entries() if e.what == "mount recorded")
    words |= {"newest": newest.seq, "said": newest.recorded_at_utc, "mount": mount}
    words |= {name: tmp_path / name for name in ("exported", "folder", "new.db", *way.files)}
    shop.ledger.connection.close()
    if "{exported}" in "".join(way.typed):
        assert command("export", str(tmp_path / "exported")).returncode == 0
    for name, text in way.files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    for typed in way.typed:
        args = [re.sub(r"\{(.+?)\}", lambda found: str(words[found[1]]), arg) for arg in shlex.split(typed)]
        if args[0] == "rm":
            path.rename(tmp_path / "away.db")
            continue
        if args[0] == "--ledger":
            command.ledger, args = Path(args[1]), args[2:]
        answer = command(*args, *([] if "--by" in args or args[0] == "export" else ["--by", way.who]))
        assert answer.returncode in (0, 1), typed  # typed as a command is: refused, and not misread
    assert answer.returncode == 1, answer.stdout
    if command.ledger.exists():
        with Ledger.open(command.ledger) as ledger:
            out = ledger.connection.execute("SELECT tag FROM standing WHERE place = 'out'").fetchall()
        assert out == []


def test_the_same_pair_goes_out_where_nothing_stops_it(command: Command) -> None:
    """So that the ways above are refused for what stops it, and for nothing else."""
    assert command("out", "P-1", "--boot", "B-305", "--by", NELL).returncode == 0
