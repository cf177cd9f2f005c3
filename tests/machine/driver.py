"""Every command that changes the ledger, typed with random arguments, and after each step the model and the door.

The command line's own `main` runs in this process. A mismatch is raised with the last commands that led to it.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import shutil
import sys
import tempfile
import traceback
import unicodedata
from collections import Counter
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from typer.core import TyperGroup
from typer.main import get_command

from fleet.audit.checkpoint import checkpoint_of
from fleet.audit.full import audit_file, audit_since
from fleet.base.kept_names import NamesSaid
from fleet.checks.findings import AuditSeverity
from fleet.facts.holes import Side
from fleet.facts.patterns import pattern_to_body
from fleet.facts.standing import read_standings
from fleet.ledger.ledger import Ledger
from fleet.rules.clearance import Door
from fleet.tables import connection as tables
from fleet.tables.snapshot import read_fleet
from tests.counter.shop import lark
from tests.machine.model import PIECES, SIDES, Binding, Boot, Model, Mount, Pair, Said, key
from tests.orders.bench_shop import BenchShop, old_holes, write_plan_json

START = datetime(2026, 12, 27, 7, 0, tzinfo=UTC)
STAFF = (
    ("Íde Fennwég", "head technician", "2027-05-31"),
    ("Jörj Malkîn", "technician", "2027-05-31"),
    ("Sanné Öder", "technician", "2026-12-28"),
    ("Wïm Tarrów", "manager", "2027-05-31"),
    ("Nell Abrès", "counter", "2027-05-31"),
    ("Óld Tímer", "technician", "2026-12-26"),
)
IDE, JORJ, SANNE, WIM, NELL, OLD = (name for name, _, _ in STAFF)
STRANGER = "Ä Strånger"
PEOPLE = (IDE, IDE, JORJ, JORJ, SANNE, WIM, WIM, NELL, OLD, STRANGER)
TAGS = ("P-1", "P-2", "P-3", "P-4")
BOOTS = (
    ("B-305", 305, "alpine A"),
    ("B-310", 310, "alpine A"),
    ("B-335", 335, "alpine A"),
    ("B-TOUR", 305, "touring"),
)
WORDS = ("not moved", "could not reach", "turned", "turned under an eighth", "spins", "missing", "cracked")
CAUSES = {
    "moved-screw": "moved screw",
    "crack": "crack",
    "accident": "accident",
    "other": "other",
    "missing-screw": "missing screw",
    "delamination": "delamination",
}
GOOD = ("seen and it sits well", "looked at by hand")
BAD = ("", "...", "ok")
NEVER_ASKED = frozenset({"out twice", "out without a pass", "out from nowhere", "out with another sole",
                         "passed by the repairer", "wrong role", "out of date", "not on the staff list"})  # fmt: skip
"""Questions of the audit that no command may ever give cause for."""
CURES = (("cure_epoxy_hours", "0.5"), ("cure_wood_glue_hours", "0.5"))


class Mismatch(AssertionError):
    """The program and the model disagree."""


@dataclass(frozen=True)
class Done:
    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        return json.loads(self.out)


def fast() -> None:
    """No sync to the disk and no look at its kind: a machine that loses power loses its run.

    The quick check of every open is left to the audits.
    """
    from fleet.audit import surroundings
    from fleet.ledger import ledger

    ledger.quick_check = lambda *_: None  # type: ignore[assignment]
    surroundings.network_warning = lambda *_: None  # type: ignore[assignment]
    tables._PRAGMAS = tuple(  # type: ignore[misc]
        "synchronous = OFF" if pragma.startswith("synchronous") else pragma for pragma in tables._PRAGMAS
    )


def base_shop(path: Path) -> Model:
    """A small shop: four pairs whose two skis differ, four boots, six people; nothing is passed."""
    shop = BenchShop(
        Ledger.create(path, shop="The Invented Shop", zone="Europe/Vienna", by=WIM, now=START), now=START
    )
    model = Model(first=START)
    for name, role, until in STAFF:
        shop.enter("staff listed", {"name": name, "role": role, "valid_until": until})
        model.staff[key(name)] = (role, date.fromisoformat(until))
    shop.enter("pattern recorded", pattern_to_body(lark()))
    shop.enter(
        "fit declared",
        {"sole_type": "alpine A", "pattern": "Lark 4", "binding_sheet": "L-1", "boot_sheet": "S-1"},
    )
    model.fits.add(("alpine A", "Lark 4"))
    for tag, bsl, sole in BOOTS:
        shop.boot(tag, bsl, sole)
        model.boots[tag] = Boot(tag, bsl * 1000, sole)
    for number, tag in enumerate(TAGS, start=1):
        model.pairs[tag] = _pair(shop, tag, number)
    shop.want("W-1", quantity=3)
    for name, value in (("sample_min", "2"), ("sample_max", "2"), *CURES):
        shop.policy(name, value)
    model.policy.update(CURES)
    shop.ledger.connection.close()
    return model


def _pair(shop: BenchShop, tag: str, number: int) -> Pair:
    shop.pair(tag, mounted=False)
    pair = Pair(tag)
    with shop.desk(IDE) as desk:
        for side in Side if number < 4 else ():  # of the fourth nobody has seen a hole: a batch assumes them
            area = {"from_um": -300_000, "to_um": 300_000, "how": "bare", "on": "2026-10-01"}
            desk.enter("area inspected", {"tag": tag, "side": side.value} | area)
        if number < 4:
            desk.enter("holes recorded", {"tag": tag, "holes": old_holes(tag, 305, "screwed")})
        mount = {
            "tag": tag,
            "pattern": "Lark 4",
            "bsl_um": 305_000,
            "offset_um": 0,
            "slides": [],
            "mounted_on": "2025-10-01",
            "removed_on": None,
            "drilled": True,
        }
        pair.mounts.append(Mount("Lark 4", 152_500, -152_500, entry=desk.enter("mount recorded", mount)))
        for side in Side:
            serials = {p: str(1000 * number + 100 * (side is Side.B) + at) for at, p in enumerate(PIECES)}
            name = f"{tag} {side.value}"
            binding = {
                "binding_id": name,
                "model": "Lark 4 binding",
                "pattern": "Lark 4",
                "brake_um": 95_000,
                "season": "2025",
                "kind": None,
                "on_pair": tag,
                "on_ski": side.value,
                **{f"serial_{piece}": serial for piece, serial in serials.items()},
            }
            seq = desk.enter("binding recorded", binding)
            pair.bindings[side.value][name] = Binding("Lark 4", "Lark 4 binding", 95_000, serials, "2025")
        pair.marks["work"] = (seq, shop.now)
    return pair


@dataclass
class Copy:
    """A backup and the model as it was then."""

    path: Path
    head: tuple[int, str]
    model: Model
    shapes: dict[str, str]


@dataclass
class Machine:
    """One run: ledgers one after another, counts over all of them."""

    seed: int
    folder: Path
    length: int = 120
    going_on: bool = False
    """Whether a mismatch is kept in ``mismatches`` and another ledger begun, or raised."""
    aims: int = 200
    """So often each command is to be taken, and refused: those that are far from it are typed more often."""
    mismatches: list[str] = field(default_factory=list)
    taken: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    before_this: Counter[tuple[str, str]] = field(default_factory=Counter)
    """What runs before this one did; see `tests.machine.run`."""
    steps: int = 0
    audits: int = 0
    outs: int = 0

    def __post_init__(self) -> None:
        from planner.cli import main
        from planner.plan import fault_isolation

        fast()
        self.main = main
        if not isinstance(main.app, TyperGroup):  # built once, not for every command
            main.app = get_command(main.app)  # type: ignore[assignment]
        self.doors: Any = None
        fault_isolation.own_fault = self._own
        self.rng = random.Random(self.seed)
        self.base = self.folder / "base.db"
        self.base_model = base_shop(self.base)
        self.commands = {
            name[5:].replace("_", " "): getattr(self, name) for name in dir(self) if name.startswith("type_")
        }
        self.names = sorted(self.commands)
        self.begin()

    def _own(self, fault: Exception) -> Any:
        raise Mismatch(f"the program failed: {fault!r}") from fault

    def begin(self) -> None:
        """A new ledger; the one before is audited entry by entry first."""
        if self.doors is not None:
            self.audit(full=True)
        self.here = self.folder / "shop"
        shutil.rmtree(self.here, ignore_errors=True)
        self.here.mkdir()
        self.path = self.own = self.here / "shop.db"
        shutil.copyfile(self.base, self.path)
        self.model = deepcopy(self.base_model)
        self.clock = START + timedelta(hours=1)
        self.copies: list[Copy] = []
        self.story: list[str] = []
        self.list_id, self.list_head = "RC-20261227-20", 20
        self.fresh = 0
        self.focus = self.tampered = self.want = self.goal = ""
        self.patience = self.nothing_to_issue = 0
        self.in_segment = 0
        self.reopen()

    def reopen(self) -> None:
        if self.doors is not None:
            self.doors.close()
        with Ledger.open(self.path):
            pass
        self.doors = tables.connect(self.path)
        tables.trust(self.doors)

    def head(self) -> tuple[int, str]:
        return self.doors.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()

    # typing

    def run(self, *args: str, env: str = NELL, stdin: str = "") -> Done:
        os.environ["MOUNTBOOK_NOW"], os.environ["MOUNTBOOK_BY"] = self.clock.isoformat(), env
        argv, given = sys.argv, sys.stdin
        sys.argv, sys.stdin = ["mountbook", "--ledger", str(self.path), *args], io.StringIO(stdin)
        out, err, code = io.StringIO(), io.StringIO(), 0
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                self.main.main()
        except SystemExit as end:
            code = int(end.code or 0)
        finally:
            sys.argv, sys.stdin = argv, given
        return Done(code, out.getvalue(), err.getvalue())

    def forms(self, name: str) -> str:
        nfd = unicodedata.normalize("NFD", name)
        return self.rng.choice(
            (
                name,
                name,
                nfd,
                nfd,
                name.upper(),
                nfd.lower(),
                f" {name.replace(' ', '  ')}",
                name.replace(" ", "\u00a0"),
            )
        )

    def who(self, by: str) -> tuple[list[str], str, bool]:
        """(--by, MOUNTBOOK_BY, typed) for that person, in some spelling."""
        if self.rng.random() < 0.15:
            return [], self.forms(by), False
        if by is not STRANGER and self.rng.random() < 0.1:
            return ["--by", self.forms(by).split()[self.rng.randrange(2)]], NELL, True
        return ["--by", self.forms(by)], NELL, True

    def at(self, pair: Pair | None = None, order: str = "") -> datetime | None:
        """Mostly now; else a little earlier, to come, or at the limit of something that happened."""
        chance = self.rng.random()
        if chance < (0.95 if self.want == "taken" else 0.7):
            return None
        limits = [m[1] for m in pair.marks.values()] + [pair.passed[1], pair.out[1]] if pair else []
        limits += [self.model.orders[order]["issued"][1]] if order in self.model.orders else []
        known = [limit for limit in limits if limit is not None]
        if known and chance < 0.85:
            return self.rng.choice(known) + timedelta(milliseconds=self.rng.choice((-1, 0, 1)))
        minutes = self.rng.choice((0, 1, 3, 10, 60, 600, -1, -2, -3, 60 * 24 * 401))
        return self.clock - timedelta(minutes=minutes)

    def step(self) -> None:
        """One command, and the comparison after it."""
        try:
            self._step()
        except (Mismatch, LookupError, TypeError) as found:
            if not self.going_on:
                raise
            self.mismatches.append(str(found) if isinstance(found, Mismatch) else self.lost(found))
            self.doors.close()
            self.doors = None
            self.begin()

    def _step(self) -> None:
        self.steps += 1
        self.in_segment += 1
        if self.in_segment > self.length:
            self.begin()
        self.tick()
        name = self.choose()
        said, args, stdin = self.candidate(name)
        if self.rng.random() < (0.02 if self.want == "taken" else 0.2):
            args = self.near_miss(said, args)
        by, env, said.typed = self.who(said.by) if said.what != "undo newest" else ([], said.by, False)
        if "--no-by" in args:
            args, by, env, said.typed = [a for a in args if a != "--no-by"], [], self.forms(said.by), False
        verdict, before = self.model.verdict(said), self.head()
        done = self.run(*args, *by, env=env, stdin=stdin)
        self.story.append(
            f"{self.clock.isoformat()} {env if not by else ''} {' '.join(args)} {' '.join(by)} -> {done.code}"
        )
        if said.what in ("restore", "import"):
            self.replaced(said, done, name, before)
        else:
            self.compare(said, name, verdict, before, done)
        with self.reading():
            self.check(whole=self.head() != before)
        if self.in_segment % 40 == 0:
            self.audit()

    def compare(
        self, said: Said, name: str, verdict: bool | None, before: tuple[int, str], done: Done
    ) -> None:
        after = self.head()
        if name in READS and after == before and not done.code:
            self.taken[name] += 1
            if verdict is False:
                self.fail(f"{name} was taken, the model refuses it", done)
            return
        if after == before:
            self.refused[name] += 1
            if name == "order issue" and not self.model.orders:
                self.nothing_to_issue, self.goal = self.in_segment + 15, ""
            if name == "rebuild":
                self.tamper("-")
            if verdict is True:
                self.fail(f"{name} was refused, the model takes it", done)
            if done.code not in (0, 1, 2):
                self.fail("an exit code of its own", done)
            return
        self.taken[name] += 1
        if verdict is False:
            self.fail(f"{name} was taken, the model refuses it", done)
        rows = self.doors.execute(
            "SELECT seq, what, body FROM entries WHERE seq > ? ORDER BY seq", (before[0],)
        )
        names = NamesSaid(self.doors)
        entries = [(seq, what, names.body(body)) for seq, what, body in rows]
        self.outs += sum(what == "pair out" for _, what, _ in entries)
        self.safe(said, entries)
        self.model.take(said, after[0], entries)

    def safe(self, said: Said, entries: list[Any]) -> None:
        """What a list or a loop passed and handed out, pair by pair, is what the model lets pass."""
        for _, what, body in entries:
            if said.what == "recheck enter" and what == "pair looked at":
                pair = self.model.pairs[body["tag"]]
                if (
                    not self.model.may_pass(pair, said)
                    or self.newest(body["tag"], before=entries[0][0]) > said.more["made"]
                ):
                    self.fail(f"{body['tag']} was passed by a list", None)

    def newest(self, tag: str, *, before: int) -> int:
        row = self.doors.execute(
            "SELECT max(entry) FROM naming WHERE name = ? AND entry < ?", (tag, before)
        ).fetchone()
        return row[0] or 0

    @contextlib.contextmanager
    def reading(self) -> Iterator[None]:
        """One transaction for many questions: each alone would lock the file."""
        self.doors.execute("BEGIN")
        try:
            yield
        finally:
            self.doors.execute("COMMIT")

    def check(self, *, whole: bool = True) -> None:
        """The door and the model say the same of every pair, alone and with a boot.

        A refused command wrote nothing, and all pairs were asked since the newest entry: only the clock went
        on. Then one pair is asked, and those in which glue cures.
        """
        model, at = self.model, self.clock
        known = {row[0] for row in self.doors.execute("SELECT tag FROM pair")}
        if known != set(model.pairs):
            self.fail(f"pairs: {known ^ set(model.pairs)}", None)
        standings = read_standings(self.doors)
        for each in standings:
            if each.place.value != model.pairs[each.tag].place:
                self.fail(f"{each.tag} is {each.place}, the model says {model.pairs[each.tag].place}", None)
        door = Door(self.doors, at=at, zone="Europe/Vienna")
        one = self.rng.choice(sorted(model.pairs))
        asked = [s for s in standings if whole or s.tag == one or model.pairs[s.tag].glue]
        for each, answer in zip(asked, door.ask_each(asked), strict=True):
            tag, said = each.tag, answer.reasons
            mine = model.reasons(model.pairs[tag], at)
            if bool(said) != bool(mine):
                self.fail(f"{tag}: the door says {said or 'go'}, the model {mine or 'go'}", None)
        tag, boot = self.rng.choice(sorted(model.pairs)), self.rng.choice(sorted(model.boots) or [""])
        if not boot:
            return
        set_now = self.rng.random() < 0.5
        said = Door(self.doors, at=at, zone="Europe/Vienna", boot=boot, set_now=set_now).ask(tag).reasons
        pair = model.pairs[tag]
        mine = model.reasons(pair, at) + model.boot_reasons(pair, model.boots[boot], set_now=set_now)
        if bool(said) != bool(mine):
            self.fail(
                f"{tag} with {boot} (set {set_now}): the door {said or 'go'}, the model {mine or 'go'}", None
            )

    def audit(self, *, full: bool = False) -> None:
        """The daily audit of the file, or the full one: sound, and no rule of the door broken."""
        self.audits += 1
        checkpoint = checkpoint_of(self.path)
        report = None if full else audit_since(self.path, now=self.clock, checkpoint=checkpoint)
        if report is None:
            report = audit_file(self.path, now=self.clock, checkpoint=checkpoint)
        wrong = [
            f
            for f in report.findings
            if f.severity is AuditSeverity.BAD
            or (f.code in NEVER_ASKED and f.severity is AuditSeverity.QUESTION)
        ]
        if wrong:
            self.fail(f"the audit: {[f.sentence for f in wrong]}", None)

    def lost(self, fault: Exception) -> str:
        """The model could not follow: its own fault, and a mismatch like any other."""
        told = "".join(traceback.format_exception(fault)[-3:])
        lately = "\n  ".join(self.story[-25:])
        return f"step {self.steps}, seed {self.seed}: the model fails: {told}\nlately:\n  {lately}"

    def fail(self, words: str, done: Done | None) -> None:
        said = f"\n{done.out}{done.err}" if done else ""
        lately = "\n  ".join(self.story[-25:])
        raise Mismatch(f"step {self.steps}, seed {self.seed}: {words}{said}\nlately:\n  {lately}")

    def tick(self) -> None:
        chance = self.rng.random()
        if chance < 0.015:
            self.clock -= timedelta(minutes=self.rng.choice((1, 3, 30, 180)))
        elif chance < 0.03:
            self.clock += timedelta(hours=self.rng.choice((1, 5, 20)))
        else:
            self.clock += timedelta(seconds=self.rng.choice((0, 1, 20, 60, 60, 120, 300)))

    def aim(self) -> str:
        """The next command on the ordinary way of one pair, so that many go out."""
        tag = self.rng.choice(sorted(self.model.pairs))
        pair = self.model.pairs[tag]
        self.focus = tag
        if pair.place in NEXT:
            return NEXT[pair.place]
        if pair.place == "flat":
            return self.rng.choice(("order issue", "order plugged", "order done"))
        for reason in self.model.reasons(pair, self.clock):
            if reason.startswith("recall"):
                return "recall close"
            if reason.startswith("order"):
                return self.rng.choice(("order done", "order done", "order plugged", "order stop"))
            if "test" in reason:
                return self.rng.choice(("release test", "release test", "policy set"))
            if "unqualified" in reason or "supported" in reason:
                return "policy set"
        return "out" if pair.passes() else self.rng.choice(("recheck record", "prep sign"))

    def unfinished(self) -> str:
        """What was begun and needs several commands: an order, a sample, two single skis, a note."""
        kinds = []
        if self.model.orders:
            kinds.append(self.rng.choice(("order plugged", "order done", "order done", "order stop")))
        if self.sampling:
            kinds.append("sample close" if self.sampled > 1 else "sample result")
        singles = sum(bool(pair.single) for pair in self.model.pairs.values())
        if self.late:
            kinds += ["singles join" if singles > 1 else "singles lost"] * 2
        if self.noted():
            kinds.append("note end")
        return self.rng.choice(kinds) if kinds else ""

    def noted(self) -> list[str]:
        rows = self.doors.execute(
            "SELECT coalesce(tag, boot) FROM thing_note WHERE ended_entry = 0 AND side IS NULL"
        )
        return sorted({tag for (tag,) in rows if tag})

    def lagging(self) -> str:
        """A command that was taken or refused the least often, and which of the two is wanted of it.

        Where it cannot be taken yet, the command that comes before it.
        """
        late = self.late
        never = OF_ORDERS | {"order issue"} if self.in_segment < self.nothing_to_issue else frozenset()
        wanted = [(n, w) for n in self.names if late or n not in LATE for w in ("taken", "refused")]
        lacks = {
            (name, want): self.lack(name, want)
            for name, want in wanted
            if (want == "refused" or name not in never) and self.lack(name, want) > 0
        }
        if not lacks:
            return ""
        weights = [lack**2 * (3 if name in LATE else 1) for (name, _), lack in lacks.items()]
        name, self.want = self.rng.choices(list(lacks), weights)[0]
        return self.toward(name) if self.want == "taken" else name

    def lack(self, name: str, want: str) -> int:
        """How often a command is still to be taken, or refused, counting the runs before this one."""
        done = self.taken if want == "taken" else self.refused
        return self.aims - done[name] - self.before_this[name, want]

    def toward(self, name: str) -> str:
        """The command, or the one before it; then the command stays the goal of the next steps."""
        self.want, step = "taken", self.before(name)
        self.patience = self.patience - 1 if name == self.goal else 4
        self.goal = name if step != name and self.patience > 0 else ""
        return step

    def before(self, name: str) -> str:
        """The command itself where it may be taken now, else the one that it waits for."""
        model = self.model
        if name in OF_ORDERS:
            return self.before_order(name)
        ready = {
            "recall close": any(r["open"] for r in model.recalls.values()),
            "singles join": sum(bool(p.single) for p in model.pairs.values()) > 1,
            "stock out": bool(self.in_stock()),
            "later": any(p.place == "out" for p in model.pairs.values()),
            "sample result": self.sampling,
            "sample close": self.sampling and self.sampled > 1,
            "recheck enter": any(p.place == "back" for p in model.pairs.values()),
            "sample draw": not self.sampling,
            "undo": any(p.undo for p in model.pairs.values()),
            "note end": bool(self.noted()),
            "confirm hour": bool(self.hours()),
            "repair begin": any(p.place == "hold" for p in model.pairs.values()),
            "repair done": any(p.place in ("hold", "in repair") for p in model.pairs.values()),
        }
        if name == "confirm hour" and not ready[name] and ready["repair done"]:
            self.focus = next(t for t, p in sorted(model.pairs.items()) if p.place in ("hold", "in repair"))
            self.hour_wanted = True
        first = {
            "recall close": "recall open",
            "singles join": "singles lost",
            "stock out": "stock in",
            "later": "out",
            "sample result": "sample draw",
            "sample close": "sample result" if self.sampling else "sample draw",
            "sample draw": "sample close" if self.sampled > 1 else "sample result",
            "recheck enter": "back",
            "undo": "back",
            "note end": "note",
            "confirm hour": "repair done" if self.hour_wanted else "hold",
            "repair begin": "hold",
            "repair done": "hold",
        }
        return name if ready.get(name, True) else first[name]

    def before_order(self, name: str) -> str:
        """An order's pair is brought to where its work may be entered: it is here, and what was glued cures."""
        if not self.model.orders:
            return "order issue"
        if name == "order branch":
            return name
        order = self.rng.choice(sorted(self.model.orders))
        pair = self.model.pairs[self.model.orders[order]["tag"]]
        self.focus = pair.tag
        if pair.place not in ("flat", "ready", "back"):
            return NEXT.get(pair.place, "clear")
        if name == "order done" and self.model.uncured(pair, self.clock):
            self.clock += timedelta(hours=2)
        if name == "order done" and any(a not in ("wood_glue", "epoxy") for a in pair.glue):
            return "order stop"
        return name

    @property
    def sampling(self) -> bool:
        """Whether a sample is open."""
        row = self.doors.execute("SELECT outcome FROM sample ORDER BY entry DESC LIMIT 1").fetchone()
        return row is not None and row[0] is None

    @property
    def sampled(self) -> int:
        """How many results the newest sample has."""
        query = "SELECT count(*) FROM sample_result WHERE sample = (SELECT max(entry) FROM sample)"
        return int(self.doors.execute(query).fetchone()[0])

    def in_stock(self) -> list[str]:
        """Bindings on no ski, of the lot that is counted in."""
        query = "SELECT binding_id FROM binding WHERE on_pair IS NULL AND binding_id LIKE 'Lark 4 95 2025%'"
        return [name for (name,) in self.doors.execute(query)]

    def hours(self) -> list[int]:
        """Entries whose glue cures from the entry, until a second person confirms the hour."""
        return sorted({hour.entry for pair in self.model.pairs.values() for hour in pair.hours if hour.waits})

    def choose(self) -> str:
        self.focus = self.want = ""
        self.hour_wanted = False
        if self.goal and self.rng.random() < 0.8:
            return self.toward(self.goal)
        if self.rng.random() < 0.01:
            self.keep_copy()
        if self.rng.random() < 0.12 and (next_one := self.unfinished()):
            return next_one
        if self.rng.random() < 0.52:
            return self.aim()
        if self.rng.random() < 0.9 and (name := self.lagging()):
            return name
        late = self.late
        names = [n for n in self.names if late or n not in LATE]
        if not self.model.orders and self.rng.random() < 0.8:
            names = [n for n in names if n not in OF_ORDERS]
        weights = [WEIGHTS.get(n, 1.0) * (3 if n in LATE else 1) for n in names]
        return self.rng.choices(names, weights)[0]

    def candidate(self, name: str) -> tuple[Said, list[str], str]:
        """Of several tries often one that the model takes, else whatever comes."""
        want = bool(self.focus) or self.rng.random() < GOOD_SHARE.get(name, 0.55)
        if self.want:
            want = self.want == "taken"
        tries = 1 if name in SLOW else 40 if self.focus else 12 if want or self.want else 1
        for _ in range(tries):
            found = self.commands[name]()
            verdict = self.model.verdict(found[0])
            if verdict is not False if want else verdict is not True or not self.want:
                break
        if want and verdict is False:  # the same by somebody who may
            said, by = found[0], found[0].by
            for said.by in self.rng.sample(sorted(set(PEOPLE)), len(set(PEOPLE))):
                if self.model.verdict(said) is not False:
                    return found
            said.by = by
        return found

    def near_miss(self, said: Said, args: list[str]) -> list[str]:
        """The same by somebody whose hand was at it, or at the limit of something that happened."""
        order = self.model.orders.get(said.more.get("order", ""), {})
        pair = self.model.pairs.get(order.get("tag", said.tag))
        if pair is None:
            return args
        if self.rng.random() < 0.6:
            hands = pair.finders | pair.workers | pair.clearers | set(pair.causers)
            names = [name for name, _, _ in STAFF if key(name) in hands]
            said.by = self.rng.choice(names or PEOPLE)
        elif said.what in TIMED and "scan" not in said.more:
            known = [mark[1] for mark in (*pair.marks.values(), pair.passed, pair.out) if mark[1] is not None]
            known += [order["issued"][1]] * 3 if order else []
            if known:
                args = [arg for arg in args if not said.at or arg not in ("--at", said.at.isoformat())]
                said.at = self.rng.choice(known) + timedelta(milliseconds=self.rng.choice((-1, 0, 1)))
                args = [*args, *self.time(said)]
        return args

    # what is typed

    def said(
        self, what: str, tag: str = "", at: datetime | None = None, by: str | None = None, **more: Any
    ) -> Said:
        return Said(what=what, tag=tag, by=by or self.rng.choice(PEOPLE), now=self.clock, at=at, more=more)

    def pair(self) -> str:
        if self.focus and self.rng.random() < 0.97:
            return self.focus
        return self.rng.choice(sorted(self.model.pairs)) if self.rng.random() > 0.02 else "P-77"

    def thing(self) -> str:
        boots = sorted(self.model.boots) or ["B-77"]
        return self.rng.choice(boots) if not self.focus and self.rng.random() < 0.25 else self.pair()

    def right(self, share: float) -> bool:
        """Whether to type what may be taken: as it is wanted, else in that share of cases."""
        wanted = {"taken": 0.97, "refused": 0.3}
        return self.rng.random() < wanted.get(self.want, share)

    def why(self) -> str:
        return self.rng.choice(GOOD) if self.right(0.8) else self.rng.choice(BAD)

    @staticmethod
    def time(said: Said) -> list[str]:
        return ["--at", said.at.isoformat()] if said.at else []

    def type_out(self) -> tuple[Said, list[str], str]:
        tag = self.pair()
        pair = self.model.pairs.get(tag)
        boot: Any = self.rng.choice([None, *sorted(self.model.boots)])
        if self.focus and pair is not None:
            fit = [b for b in self.model.boots.values() if not self.model.boot_reasons(pair, b, set_now=True)]
            boot = self.rng.choice(fit).tag if fit else None
        more: dict[str, Any] = {}
        args = ["out", tag]
        if boot is None and self.rng.random() < 0.5:
            bsl = self.rng.choice((305, 305, 310, 295, 294, 315, 316))
            sole = self.rng.choice(("alpine A", "alpine A", "touring"))
            boot = Boot("", bsl * 1000, sole)
            args += ["--own-boot", str(bsl), "--sole-type", sole]
        elif boot:
            args += ["--boot", boot]
        if self.rng.random() < 0.6:
            more["set"] = True
            args.append("--set")
        said = self.said("out", tag, self.at(pair), boot=boot, **more)
        if self.rng.random() < 0.3:
            said.more["due"] = said.days[0] + timedelta(days=self.rng.choice((-1, 0, 1, 14, 15, 30)))
            args += ["--due", said.more["due"].isoformat()]
        return said, [*args, *self.time(said), "--json"], ""

    def type_back(self) -> tuple[Said, list[str], str]:
        tag = self.thing()
        said = self.said("back", tag, self.at(self.model.pairs.get(tag)))
        return said, ["back", tag, *self.time(said), "--json"], ""

    def type_counter(self) -> tuple[Said, list[str], str]:
        """The scan loop: one scan, and the loop is left."""
        if self.rng.random() < 0.5:
            tag = self.thing()
            said = self.said("back", tag, scan=True)
            return said, ["counter", "--mode", "back"], f"{tag}\nquit\n"
        tag, boot = self.pair(), self.rng.choice(sorted(self.model.boots) or ["B-77"])
        set_now = self.rng.random() < 0.6
        said = self.said("out", tag, boot=boot, **({"set": True} if set_now else {}))
        return said, ["counter", "--mode", "out"], f"{'set ' if set_now else ''}{tag} {boot}\nquit\n"

    def type_set_binding(self) -> tuple[Said, list[str], str]:
        tag, boot = self.pair(), self.rng.choice([*sorted(self.model.boots), "B-77"])
        said = self.said("set-binding", tag, self.at(self.model.pairs.get(tag)), boot=boot)
        return said, ["set-binding", tag, "--boot", boot, *self.time(said), "--json"], ""

    def type_later(self) -> tuple[Said, list[str], str]:
        tag = self.pair()
        due = (self.clock + timedelta(days=self.rng.choice((-1, 1, 3, 30)))).date()
        return self.said("later", tag, due=due), ["later", tag, "--until", due.isoformat(), "--json"], ""

    def type_undo(self) -> tuple[Said, list[str], str]:
        tag = self.pair()
        return self.said("undo", tag), ["undo", tag, "--json"], ""

    def type_move(self) -> tuple[Said, list[str], str]:
        tag, why = self.thing(), self.why()
        to = self.rng.choice(
            ("missing", "in transit", "shop", "shop", *(("sold", "retired") if self.late else ()))
        )
        said = self.said("move", tag, self.at(), to=to, why=why)
        return said, ["move", tag, "--to", to.replace(" ", "-"), "--why", why, *self.time(said), "--json"], ""

    @property
    def late(self) -> bool:
        return self.in_segment > 0.7 * self.length

    def type_recheck_record(self) -> tuple[Said, list[str], str]:
        return self._look("recheck record")

    def type_prep_sign(self) -> tuple[Said, list[str], str]:
        return self._look("prep sign")

    def _look(self, name: str) -> tuple[Said, list[str], str]:
        tag = self.pair()
        said = self.said(name, tag, self.at(self.model.pairs.get(tag)))
        args = [*name.split(), tag]
        found: dict[str, str] = {}
        if self.rng.random() < 0.85:
            args += ["--all", "not-moved"]
            found = {f"{side} {piece}": "not moved" for side in SIDES for piece in PIECES}
        if self.rng.random() < (0.15 if self.focus else 0.3):
            place = f"{self.rng.choice(SIDES)} {self.rng.choice(PIECES)}"
            found[place] = self.rng.choice(WORDS)
            args += ["--found", f"{place}={found[place]}"]
        said.more["found"] = found
        return said, [*args, *self.time(said), "--json"], ""

    def type_recheck_enter(self) -> tuple[Said, list[str], str]:
        if self.right(0.6):
            told = self.run("recheck", "list", "--json")
            self.list_id, self.list_head = told.json["list"], self.head()[0]
            if not self.right(0.7):
                self.tick()
        said = self.said("recheck enter", at=None if self.right(0.7) else self.at(), made=self.list_head)
        if self.want == "taken":  # by somebody who may pass what is on it
            back = [p for p in self.model.pairs.values() if p.place == "back"]
            people = self.rng.sample(PEOPLE, len(PEOPLE))
            said.by = max(
                people, key=lambda by: sum(self.model.may_pass(p, replace(said, by=by)) for p in back)
            )
        return said, ["recheck", "enter", self.list_id, *self.time(said), "--json"], ""

    def type_recheck_close(self) -> tuple[Said, list[str], str]:
        return self.said("recheck close"), ["recheck", "close", "--json"], ""

    def type_hold(self) -> tuple[Said, list[str], str]:
        tag, why = self.thing(), self.rng.choice(("seen", "seen on the rack", " ", "heel is loose"))
        chosen = self.rng.choice([None, *CAUSES])
        said = self.said("hold", tag, self.at(self.model.pairs.get(tag)), why=why)
        said.more["cause"] = CAUSES[chosen] if chosen else "moved screw" if "loose" in why else "other"
        return (
            said,
            ["hold", tag, "--why", why, *(["--cause", chosen] if chosen else []), *self.time(said), "--json"],
            "",
        )

    def type_quarantine(self) -> tuple[Said, list[str], str]:
        tag, why = self.pair(), self.rng.choice(("fell on the run", " "))
        said = self.said("quarantine", tag, self.at(), why=why)
        return said, ["quarantine", tag, "--why", why, *self.time(said), "--json"], ""

    def type_ski_fault(self) -> tuple[Said, list[str], str]:
        tag = self.pair()
        said = self.said("ski-fault", tag, self.at())
        said.more["known"] = self.rng.random() < 0.8
        fault = "crack" if said.more["known"] else "scratch"
        return said, ["ski-fault", tag, self.rng.choice(SIDES), fault, *self.time(said), "--json"], ""

    def type_clear(self) -> tuple[Said, list[str], str]:
        tag, why = self.thing(), self.why()
        said = self.said("clear", tag, self.at(), why=why)
        return said, ["clear", tag, "--why", why, *self.time(said), "--json"], ""

    def type_repair_begin(self) -> tuple[Said, list[str], str]:
        tag = self.pair()
        said = self.said("repair begin", tag, self.at())
        return said, ["repair", "begin", tag, *self.time(said), "--json"], ""

    def type_repair_done(self) -> tuple[Said, list[str], str]:
        tag, did = self.pair(), self.why()
        glue = self.rng.choice(([], [], ["epoxy"], ["wood_glue"]))
        touched = self.rng.choice(
            (None, None, (), (("A", "toe"),), (("B", "heel"), ("B", "toe")), (("A", "heel"),))
        )
        said = self.said("repair done", tag, self.at(), did=did, glue=glue, touched=touched)
        if self.hour_wanted:  # glue whose hour lies before its entry
            glue = said.more["glue"] = [self.rng.choice(("epoxy", "wood_glue"))]
            said.at = self.clock - timedelta(seconds=self.rng.choice((1, 20, 60)))
        glued = [arg for each in glue for arg in ("--glue", each)]
        if touched is not None:
            glued += [arg for each in touched for arg in ("--touched", " ".join(each))] or [
                "--touched",
                "none",
            ]
        return said, ["repair", "done", tag, "--did", did, *glued, *self.time(said), "--json"], ""

    def type_staff_add(self) -> tuple[Said, list[str], str]:
        name = self.rng.choice((SANNE, OLD, NELL, JORJ, IDE, "Néw Háand"))
        role = self.rng.choice(("technician", "technician", "counter", "head technician"))
        until = date(2026, 12, self.rng.choice((26, 27, 28, 29, 31)))
        said = self.said("staff add", name=name, role=role, until=until)
        return (
            said,
            [
                "staff",
                "add",
                self.forms(name),
                "--role",
                role.replace(" ", "-"),
                "--until",
                until.isoformat(),
                "--json",
            ],
            "",
        )

    def type_staff_qualify(self) -> tuple[Said, list[str], str]:
        name, what = self.rng.choice(PEOPLE), self.rng.choice(("pass", "setting", "release test"))
        until = self.clock.date() + timedelta(days=self.rng.choice((-1, 0, 1, 100)))
        said = self.said("staff qualify", name=name, until=until, at=self.at(), **{"for": what})
        return (
            said,
            [
                "staff",
                "qualify",
                self.forms(name),
                "--for",
                what,
                "--until",
                until.isoformat(),
                *self.time(said),
                "--json",
            ],
            "",
        )

    def type_policy_set(self) -> tuple[Said, list[str], str]:
        name, values = self.rng.choice(POLICIES)
        value, bad = self.rng.choice(values), self.rng.random() < 0.15
        value = "nonsense" if bad else value
        said = self.said("policy set", name=name, value=value, plausible=not bad)
        return said, ["policy", "set", name, value, "--origin", "the shop's own sheet", "--yes", "--json"], ""

    def type_fit_take_back(self) -> tuple[Said, list[str], str]:
        fit, why = self.rng.choice((("alpine A", "Lark 4"), ("touring", "Lark 4"))), self.why()
        return (
            self.said("fit take-back", fit=fit, why=why),
            ["fit", "take-back", *fit, "--why", why, "--yes", "--json"],
            "",
        )

    def type_kind(self) -> tuple[Said, list[str], str]:
        thing, model = self.rng.choice(
            (("boot", "Invented boot"), ("binding", "Lark 4 binding"), ("boot", "No boot"))
        )
        kind = self.rng.choice(("alpine", "alpine", "alpine", "touring"))
        said = self.said("kind", thing=thing, kind=kind, known=model != "No boot")
        return (
            said,
            ["kind", model, kind, *(["--bindings"] if thing == "binding" else []), "--yes", "--json"],
            "",
        )

    def type_pattern_model(self) -> tuple[Said, list[str], str]:
        model = self.rng.choice(("Lark 4 binding", "Lark 4 binding", "No binding"))
        said = self.said("pattern model", model=model, known=model == "Lark 4 binding")
        args = ["pattern", "model", model, "--origin", "its maker's list", "--yes"]
        if self.rng.random() < 0.8:
            said.more["standard"] = self.rng.choice(("ISO 9462", "ISO 13992"))
            if said.more["standard"] == "ISO 13992":
                said.more["standard"] = "ISO 9462"
            args += ["--standard", said.more["standard"]]
        else:
            said.more["since"] = self.clock.date() + timedelta(days=self.rng.choice((1, 2, 40)))
            args += ["--unsupported-since", said.more["since"].isoformat()]
        return said, [*args, "--json"], ""

    def type_pattern_add(self) -> tuple[Said, list[str], str]:
        self.fresh += 1
        good = self.right(0.7)
        rows = [
            f"New {self.fresh},New {self.fresh} binding,{piece},{piece},{x},{y},0,0"
            for piece, x in (("toe", -10), ("heel", 15))
            for y in (18, -18)
        ]
        head = "pattern,binding_model,piece,follows,x_mm,y_mm,travel_back_mm,travel_forward_mm"
        file = self.here / "pattern.csv"
        file.write_text("\n".join([head, *rows]) if good else "nothing\n1\n", encoding="utf-8")
        return (
            self.said("pattern add"),
            ["pattern", "add", str(file), "--origin", "measured bare", "--json"],
            "",
        )

    def type_pattern_kinds(self) -> tuple[Said, list[str], str]:
        file = self.here / "kinds.csv"
        good = self.right(0.7)
        told = self.run("pattern", "kinds").out.splitlines() if good else ["nothing", "1"]
        file.write_text("\n".join(told[:2]), encoding="utf-8")
        return self.said("pattern kinds"), ["pattern", "kinds", str(file), "--json"], ""

    def type_recall_open(self) -> tuple[Said, list[str], str]:
        self.fresh += 1
        known = self.rng.random() < 0.85
        name = f"R-{self.fresh}" if self.rng.random() < 0.9 else next(iter(self.model.recalls), "R-1")
        number, side = self.rng.randint(1, 4), self.rng.randint(0, 1)
        low = 1000 * number + 100 * side
        more = {
            "pattern": "Lark 4",
            "season": self.rng.choice(("", "2025")),
            "from": str(low),
            "to": str(low + self.rng.choice((0, 1))),
        }
        more["piece"] = self.rng.choice(("", "toe", "heel"))
        said = self.said("recall open", name=name, known=known, **more)
        args = [
            "recall",
            "open",
            name,
            "--source",
            "a notice",
            "--pattern",
            "Lark 4" if known else "No 4",
            "--from",
            more["from"],
            "--to",
            more["to"],
        ]
        return said, [*args, "--season", more["season"], "--piece", more["piece"], "--json"], ""

    def type_recall_close(self) -> tuple[Said, list[str], str]:
        name = self.rng.choice([*self.model.recalls, "R-0"])
        return (
            self.said("recall close", name=name),
            ["recall", "close", name, "--how", "all replaced", "--json"],
            "",
        )

    def type_sole(self) -> tuple[Said, list[str], str]:
        tag, bsl = self.rng.choice([*self.model.boots, "B-77"]), self.rng.choice((305, 305, 310, 306, 2))
        said = self.said("sole", tag, bsl=bsl * 1000, known=bsl > 100)
        return said, ["sole", tag, "--bsl", str(bsl), "--how", "caliper", "--json"], ""

    def type_release_test(self) -> tuple[Said, list[str], str]:
        tag, ski = self.pair(), self.rng.choice(SIDES)
        piece = self.rng.choice(("toe", "heel", "heel", "toe", "wing"))
        device = self.rng.choice(("bench 1", "bench 1", "bench 2"))
        outcome = self.rng.choice(("passed", "passed", "passed", "", "failed"))
        said = self.said(
            "release-test",
            tag,
            self.at(self.model.pairs.get(tag)),
            ski=ski,
            piece=piece,
            device=device,
            outcome=outcome,
            known=piece != "wing",
        )
        return (
            said,
            [
                "release-test",
                tag,
                "--ski",
                ski,
                "--piece",
                piece,
                "--device",
                device,
                "--result",
                "as the sheet",
                "--outcome",
                outcome,
                *self.time(said),
                "--json",
            ],
            "",
        )

    def type_calibration(self) -> tuple[Said, list[str], str]:
        device, today = self.rng.choice(("bench 1", "bench 2")), self.clock.date()
        on = today - timedelta(days=self.rng.choice((1, 30)))
        until = on + timedelta(days=self.rng.choice((-1, 1, 100)))
        said = self.said("calibration", device=device, on=on, until=until)
        return (
            said,
            ["calibration", device, "--on", on.isoformat(), "--until", until.isoformat(), "--json"],
            "",
        )

    def type_note(self) -> tuple[Said, list[str], str]:
        tag = self.thing()
        said = ("edge blunt at the tip", "heel loose", "crack at the tip")
        text = self.rng.choice(said) if self.right(0.75) else "..."
        return self.said("note", tag), ["note", tag, text, "--json"], ""

    def type_note_end(self) -> tuple[Said, list[str], str]:
        tag, how = self.rng.choice([self.thing(), *self.noted()]), self.rng.choice(("--end", "--not-so"))
        return self.said("note end", tag), ["note", tag, how, "--json"], ""

    def type_note_took(self) -> tuple[Said, list[str], str]:
        """What a note proposed is done: a hold of a pair, by the words of the note."""
        tag = self.pair()
        if tag in self.model.pairs and self.right(0.6):
            self.run("note", tag, "heel loose", "--json")
        return self.said("note took", tag), ["note", tag, "--took-it", "--json"], ""

    def type_stock_in(self) -> tuple[Said, list[str], str]:
        pattern, why = "Lark 4" if self.right(0.67) else "No 4", self.why()
        return (
            self.said("stock in"),
            [
                "stock",
                "in",
                pattern,
                "--quantity",
                "1",
                "--brake",
                "95",
                "--season",
                "2025",
                "--why",
                why,
                "--json",
            ],
            "",
        )

    def type_stock_out(self) -> tuple[Said, list[str], str]:
        return (
            self.said("stock out"),
            ["stock", "out", "Lark 4 95 2025", "--quantity", "1", "--why", self.why(), "--json"],
            "",
        )

    def type_stocktake(self) -> tuple[Said, list[str], str]:
        file = self.here / "count.txt"
        file.write_text("\n".join([*self.model.pairs, "Z-9"]), encoding="utf-8")
        where = str(file) if self.right(0.7) else str(self.here / "no.txt")
        return self.said("stocktake"), ["stocktake", where, "--json"], ""

    def type_sample_draw(self) -> tuple[Said, list[str], str]:
        return self.said("sample draw"), ["sample", "draw", "--seed", "s", "--json"], ""

    def type_sample_result(self) -> tuple[Said, list[str], str]:
        row = self.doors.execute("SELECT body FROM sample ORDER BY entry DESC LIMIT 1").fetchone()
        body = json.loads(row[0]) if row else {"from_returns": [], "from_rack": ["P-1 A"]}
        units = [*body["from_returns"], *body["from_rack"]] or ["P-1 A"]
        entered = {
            row[0] for row in self.doors.execute("SELECT unit FROM sample_result ORDER BY entry DESC LIMIT 2")
        }
        left = [unit for unit in units if unit not in entered]
        unit = self.rng.choice(left if left and self.rng.random() < 0.8 else units)
        found = self.rng.choice(("in-order", "in-order", "in-order", "I", "II", "III"))
        said = self.said("sample result", unit, pair=unit.rsplit(" ", 1)[0], found=found)
        return said, ["sample", "result", unit, "--found", found, "--device", "bench 1", "--json"], ""

    def type_sample_close(self) -> tuple[Said, list[str], str]:
        return self.said("sample close"), ["sample", "close", "--json"], ""

    def type_sample_closed_day(self) -> tuple[Said, list[str], str]:
        day = self.clock.date().isoformat() if self.right(0.5) else "no day"
        return self.said("sample closed-day"), ["sample", "closed-day", day, "--json"], ""

    def type_case(self) -> tuple[Said, list[str], str]:
        tag = self.pair() if self.right(0.5) else "P-77"
        folder = self.here / "case"
        shutil.rmtree(folder, ignore_errors=True)
        return self.said("case"), ["case", tag, "--out", str(folder), "--json"], ""

    def type_remark(self) -> tuple[Said, list[str], str]:
        seq = self.rng.choice((self.head()[0], 3)) if self.right(0.67) else 99_999
        return self.said("remark"), ["remark", str(seq), "--why", self.why(), "--json"], ""

    def type_redact(self) -> tuple[Said, list[str], str]:
        rows = [
            r[0]
            for r in self.doors.execute(
                "SELECT seq FROM notes WHERE text IS NOT NULL AND seq > 1 ORDER BY seq DESC LIMIT 5"
            )
        ]
        seq = self.rng.choice(rows) if rows and self.right(0.83) else 2
        return self.said("redact"), ["redact", str(seq), "--why", self.why(), "--json"], ""

    def type_correct(self) -> tuple[Said, list[str], str]:
        tag, chance = self.rng.choice(TAGS), self.rng.random()
        if chance < 0.4:
            said = self.said("correct", pair=tag, thing="pair")
            return (
                said,
                ["correct", tag, f"rack=R-{self.rng.randint(1, 99)}", "--why", self.why(), "--json"],
                "",
            )
        if chance < 0.7:
            side, piece = self.rng.choice(SIDES), self.rng.choice(PIECES)
            value, name = str(self.rng.choice((1000, 1001, 2100, 4101))), f"{tag} {side}"
            holder = next(
                (t for t, p in self.model.pairs.items() for s in SIDES if name in p.bindings[s]), ""
            )
            on = next((s for s in SIDES if holder and name in self.model.pairs[holder].bindings[s]), side)
            said = self.said("correct", pair=holder, thing="binding", binding=(on, name, piece, value))
            return said, ["correct", name, f"serial_{piece}={value}", "--why", self.why(), "--json"], ""
        said = self.said("correct", pair=tag, thing="hole")
        return (
            said,
            [
                "correct",
                f"{tag}/A1",
                f"depth_mm={self.rng.choice((8, 8.5, 9))}",
                "--why",
                self.why(),
                "--json",
            ],
            "",
        )

    def type_withdraw(self) -> tuple[Said, list[str], str]:
        kinds = "'area inspected', 'hole changed', 'holes recorded', 'mount recorded', 'binding recorded', 'boot recorded'"
        where = f"what IN ({kinds})" if self.late else "what IN ('area inspected', 'hole changed')"
        rows = self.doors.execute(
            f"SELECT seq, what, body FROM entries WHERE {where} ORDER BY seq DESC LIMIT 12"
        ).fetchall()
        never = (2, "staff listed", "{}")
        seq, what, body = self.rng.choice(rows) if rows and self.right(0.9) else never
        said = self.said("withdraw", kind=what, body=json.loads(body), entry=seq)
        return said, ["withdraw", str(seq), "--why", self.why(), "--json"], ""

    def type_survey(self) -> tuple[Said, list[str], str]:
        tag, side = self.pair(), self.rng.choice(SIDES)
        line = f"{side} bare -{self.rng.randint(200, 290)} {self.rng.randint(200, 290)}"
        if not self.right(0.8):
            line = "nonsense"
        said = self.said("survey", tag)
        return said, ["survey", tag, "--line", line, "--enter", "--as-measured", "--json"], ""

    def type_batch(self) -> tuple[Said, list[str], str]:
        return self.said("batch"), ["batch", "--enter", "--json"], ""

    # the bench

    def type_order_issue(self) -> tuple[Said, list[str], str]:
        from planner.planning.assign.plan import plan_fleet

        folder = self.here / "plan"
        if self.want == "taken" or self.rng.random() < 0.7 or not folder.exists():
            days = self.rng.choice((None, date(2027, 1, self.rng.randint(1, 28))))
            made = plan_fleet(
                read_fleet(self.doors),
                made_at="2026-12-27T07:00:00.000Z",
                ready_by=days and days.isoformat(),
                minutes_limit=None,
            )
            write_plan_json(folder, made)
        said = self.said("order issue", at=None)
        return said, ["order", "issue", str(folder), "--json"], ""

    def an_order(self) -> str:
        if self.focus and (mine := self.model.order_of(self.focus)):
            return mine
        known = list(self.model.orders)
        return self.rng.choice(known) if known and self.rng.random() < 0.9 else "WO-2612-0099 A"

    def type_order_plugged(self) -> tuple[Said, list[str], str]:
        name = self.an_order()
        said = self.said("order plugged", at=self.order_time(name), order=name)
        order = self.model.orders.get(name)
        spins = [self.a_hole(order["tag"])] if order and self.rng.random() < 0.6 else []
        args = [arg for hole in spins for arg in ("--spins", hole)]
        return said, ["order", "plugged", name, *args, *self.time(said), "--json"], ""

    def a_hole(self, tag: str) -> str:
        """A hole of the pair as it is typed at the bench, like A7."""
        rows = self.doors.execute("SELECT hole_id FROM hole WHERE tag = ? ORDER BY side, hole_id", (tag,))
        holes = [hole.rsplit("/", 1)[-1] for (hole,) in rows]
        return self.rng.choice(holes or ["A99"])

    def type_order_branch(self) -> tuple[Said, list[str], str]:
        """It enters nothing: an open order, a branch and a hole give the steps, anything else a refusal."""
        name = self.an_order()
        order = self.model.orders.get(name)
        branch = (
            self.rng.choice(("plug", "insert", "move", "crack", "slipped"))
            if self.right(0.8)
            else "no branch"
        )
        hole = self.a_hole(order["tag"]) if order else "A1"
        where = ["--ski", self.rng.choice(SIDES)] if branch == "crack" else ["--hole", hole]
        args = ["order", "branch", name, branch, *where, "--json", "--no-by"]
        return self.said("order branch", order=name, known=branch != "no branch"), args, ""

    def order_time(self, name: str) -> datetime | None:
        """As for a pair; often just before, at or after the order was issued, where no work can lie before."""
        order = self.model.orders.get(name)
        if order and self.rng.random() < (0.05 if self.want == "taken" else 0.35):
            return order["issued"][1] + timedelta(milliseconds=self.rng.choice((-60_000, -1, 0, 1)))
        return self.at(self.model.pairs[order["tag"]] if order else None, name)

    def type_order_done(self) -> tuple[Said, list[str], str]:
        name = self.an_order()
        said = self.said("order done", at=self.order_time(name), order=name)
        glue = self.rng.choice(("wood_glue", "none", ""))
        if self.want == "taken" and name in self.model.orders:
            no_screw = self.model.orders[name]["way"] in ("as it is", "adjust")
            glue = self.rng.choice(("", "none", "wood_glue")) if no_screw else "wood_glue"
        return (
            said,
            ["order", "done", name, *(["--glue", glue] if glue else []), *self.time(said), "--json"],
            "",
        )

    def type_order_stop(self) -> tuple[Said, list[str], str]:
        name = self.an_order()
        said = self.said("order stop", at=self.order_time(name), order=name)
        how = self.rng.choice(
            (
                ["--not-the-skis", "--ski-a", "nothing", "--ski-b", "nothing"],
                ["--ski-a", "nothing", "--ski-b", "nothing"],
                ["--ski-a", "not-known", "--ski-b", "nothing"],
            )
        )
        return said, ["order", "stop", name, "--why", self.why(), *how, *self.time(said), "--json"], ""

    # hours, clocks, tags, the printer, and the names of holes

    def type_confirm_hour(self) -> tuple[Said, list[str], str]:
        waiting = self.hours()
        seq = self.rng.choice(waiting) if waiting and self.rng.random() < 0.8 else self.rng.randint(3, 60)
        return self.said("confirm hour", entry=seq), ["confirm-hour", str(seq), "--json"], ""

    def type_mend_clock(self) -> tuple[Said, list[str], str]:
        """Only of entries that name no pair or order: what follows for a pair has tests of its own."""
        rows = self.doors.execute(
            "SELECT seq, recorded_at_utc FROM entries WHERE seq > 43 AND what IN"
            " ('policy set', 'staff qualified', 'calibration recorded', 'entry remarked', 'pattern recorded')"
            " AND NOT EXISTS (SELECT 1 FROM naming JOIN standing ON tag = name WHERE entry = seq)"
            " ORDER BY seq DESC LIMIT 5"
        ).fetchall()
        seq, said_at = self.rng.choice(rows or [(1, self.clock.isoformat())])
        shift = timedelta(seconds=self.rng.choice((1, 2) if self.right(0.4) else (-3, -86_400, 0)))
        was = datetime.fromisoformat(said_at) + shift
        said = self.said("mend clock", entry=seq, why=self.why())
        numbers = ["--from", str(seq), "--to", str(seq), "--said", said_at, "--was", was.isoformat()]
        return said, ["mend-clock", *numbers, "--why", said.more["why"], "--json"], ""

    def type_rename(self) -> tuple[Said, list[str], str]:
        tag, why = self.pair(), self.rng.choice((*GOOD, " "))
        self.fresh += 1
        to = self.rng.choice((f"N-{self.fresh}", f"N-{self.fresh}", *TAGS, "B-305"))
        return self.said("rename", tag, to=to, why=why), ["rename", tag, to, "--why", why, "--json"], ""

    def type_printer_measured(self) -> tuple[Said, list[str], str]:
        along, across = self.rng.choice((("250", "100"), ("249.5", "100"), ("250", "99.8"), ("125", "100")))
        said = self.said("printer measured", known=along != "125")
        return said, ["printer", "measured", along, across, "--json"], ""

    def type_name_holes(self) -> tuple[Said, list[str], str]:
        """It enters nothing; refused is a pair that is not here, or one whose holes no pattern explains."""
        tag = self.pair() if self.right(0.5) else "P-77"
        return self.said("name holes", tag), ["name-holes", tag, "--json", "--no-by"], ""

    # the season's end, and other records

    def type_singles_lost(self) -> tuple[Said, list[str], str]:
        tag, ski = self.pair(), self.rng.choice(SIDES)
        said = self.said("singles lost", tag, ski=ski)
        return said, ["singles", "lost", tag, "--ski", ski, "--json"], ""

    def type_singles_join(self) -> tuple[Said, list[str], str]:
        singles = [f"{p.tag}/{p.single}" for p in self.model.pairs.values() if p.single]
        a, b = self.rng.sample([*singles, *(() if len(singles) > 1 else ("P-77/A", "P-77/B"))], 2)
        tag = f"J-{self.rng.randint(1, 3)}"
        said = self.said("singles join", tag, a=a, b=b)
        return said, ["singles", "join", tag, "--a", a, "--b", b, "--json"], ""

    def type_rebuild(self) -> tuple[Said, list[str], str]:
        """Mostly a row was changed by another hand; where the state is as the entries say, it is refused."""
        self.tampered = self.rng.choice(sorted(self.model.pairs)) if self.right(0.6) else ""
        self.tamper("+")
        return self.said("rebuild", by=self.rng.choice((*PEOPLE, *([WIM] * 10)))), ["rebuild", "--json"], ""

    def tamper(self, sign: str) -> None:
        if not self.tampered:
            return
        with contextlib.closing(tables.connect(self.path)) as hand:
            tables.trust(hand)
            with hand.unlatched():
                hand.execute(f"UPDATE standing SET hires = hires {sign} 1 WHERE tag = ?", (self.tampered,))

    def type_restore(self) -> tuple[Said, list[str], str]:
        if not self.copies or self.rng.random() < 0.3:
            self.keep_copy()
        chosen = self.rng.choice(self.copies)
        if (
            self.want != "refused" and self.rng.random() < 0.5
        ):  # and something stops a pair after the copy, by which the restore is seen
            stop, before = self.said("quarantine", self.pair(), why="fell on the run", by=NELL), self.head()
            self.run("quarantine", stop.tag, "--why", "fell on the run", "--by", NELL)
            if self.head() != before:
                self.model.take(stop, self.head()[0], [])
        sound = self.right(0.9)
        said = self.said("restore", copy=chosen, sound=sound, by=WIM if self.right(0.5) else None)
        return said, ["restore", str(chosen.path if sound else self.here / "none.db"), "--json"], ""

    def keep_copy(self) -> None:
        done = self.run("backup", str(self.here / "copies"), "--json")
        if done.code:
            self.fail("no backup", done)
        head = self.head()
        if all(copy.head != head for copy in self.copies):
            self.copies.append(Copy(Path(done.json["backup"]), head, deepcopy(self.model), self.shapes()))

    def shapes(self) -> dict[str, str]:
        """Skis, holes, mounts, bindings and inspected stretches of each pair, as rows of the file."""
        queries = (
            "SELECT tag, construction, waist_um, reference_from_tail_um, earlier_mounts FROM pair",
            "SELECT tag, side, mark_from_tail_um, zone_back_um, zone_front_um, zone_half_width_um FROM ski"
            " ORDER BY 1, 2",
            "SELECT tag, side, from_um, to_um, how FROM area ORDER BY 1, 2, 3, 4, 5",
            "SELECT tag, side, hole_id, x_um, y_um, diameter_um, depth_um, state, knowledge FROM hole"
            " ORDER BY 1, 2, 3",
            "SELECT tag, pattern, bsl_um, offset_um, mounted_on, removed_on, slides FROM mount ORDER BY mount_id",
            "SELECT on_pair, binding_id, pattern, brake_um, on_ski FROM binding WHERE on_pair IS NOT NULL"
            " ORDER BY 1, 2",
        )
        found = dict.fromkeys(self.model.pairs, "")
        for query in queries:
            for tag, *row in self.doors.execute(query):
                found[tag] = found.get(tag, "") + repr(row)
        return found

    def worked_since(self, copy: Copy) -> frozenset[str]:
        """Pairs that hands were at since the copy, and that are not as they were, an inspected stretch included.

        Work that was stopped with nothing drilled counts where somebody also surveyed the ski since then: what
        is known of the ski is not what the copy knows, and a person looks. A survey alone is no such work.
        """
        rows = self.doors.execute(
            "SELECT DISTINCT name FROM naming JOIN entries ON seq = entry WHERE seq > ? AND what IN"
            " ('order plugged', 'order done', 'order stopped', 'holes recorded', 'hole changed',"
            " 'mount recorded', 'mount removed')",
            (copy.head[0],),
        )
        now, renamed = self.shapes(), self.model.renamed[len(copy.model.renamed) :]
        tags = {tag for (tag,) in rows}
        then: dict[str, str] = {}
        for old, new in renamed:
            tags = {new if tag == old else tag for tag in tags}
            then[new] = then.pop(old, old)
        return frozenset(tag for tag in tags if now.get(tag) != copy.shapes.get(then.get(tag, tag)))

    def type_import(self) -> tuple[Said, list[str], str]:
        folder = self.here / "exported"
        shutil.rmtree(folder, ignore_errors=True)
        if self.right(0.85):
            self.run("export", str(folder), "--json")
        said, self.own = self.said("import", folder=folder), self.path
        if self.right(0.8):
            self.path = self.here / f"new-{self.steps}.db"
        return said, ["import", str(folder), "--apply", "--json"], ""

    def replaced(self, said: Said, done: Done, name: str, before: tuple[int, str]) -> None:
        """A restore, or an export taken into another ledger: the model follows."""
        if said.what == "import":
            self.imported(said, done, before)
            return
        verdict = self.model.verdict(said)
        if done.code:
            self.refused[name] += 1
            if verdict is True:
                self.fail("restore was refused, the model takes it", done)
            return
        self.taken[name] += 1
        if verdict is False:
            self.fail("restore was taken, the model refuses it", done)
        copy: Copy = said.more["copy"]
        row = self.doors.execute("SELECT hash FROM entries WHERE seq = ?", (copy.head[0],)).fetchone()
        complete = row is not None and row[0] == copy.head[1]
        if complete != (done.json["passes"] == "stand"):
            self.fail(f"restore: the passes {done.json['passes']}", done)
        worked_on = self.worked_since(copy)
        self.reopen()
        self.model = self.model.restored(
            copy.model, self.head()[0], self.clock, complete=complete, worked_on=worked_on
        )
        self.copies = [
            each for each in self.copies if each.head[0] <= copy.head[0] or self.rng.random() < 0.3
        ]

    def imported(self, said: Said, done: Done, before: tuple[int, str]) -> None:
        """Our own export changes nothing here; taken into a new ledger it brings every stop and no pass."""
        if self.path == self.own:
            self.compare(said, "import", None, before, done)
            return
        old = self.own
        if not self.path.exists():
            self.refused["import"] += 1
            self.path = old
            return
        self.taken["import"] += 1
        mine = self.model
        newest = datetime.fromisoformat(
            self.doors.execute("SELECT max(place_at) FROM standing").fetchone()[0]
        )
        self.reopen()
        self.model = mine.imported(self.head()[0], self.clock, cured_by=min(newest, self.clock))
        self.told_settings(mine)
        with self.reading():
            self.check()
        if self.rng.random() < 0.5:
            self.path, self.model = old, mine
            self.reopen()
        else:
            self.copies = []
            self.story.append("(goes on in the new ledger)")

    def told_settings(self, old: Model) -> None:
        """Where its pieces stand goes along with a pair: nothing else than what the other ledger knew."""
        for standing in read_standings(self.doors):
            known = standing.setting.bsl_um
            if known is not None:
                if known != old.pairs[standing.tag].setting():
                    self.fail(
                        f"{standing.tag} is set for {known} in the new ledger, in the old one not", None
                    )
                stand = (known, self.head()[0], self.clock)
                self.model.pairs[standing.tag].stands = {(s, p): stand for s in SIDES for p in PIECES}


TIMED = frozenset(
    {
        "recheck record",
        "prep sign",
        "clear",
        "order done",
        "order plugged",
        "order stop",
        "repair done",
        "back",
    }
)
READS = frozenset({"order branch", "name holes"})
"""What answers and enters nothing: taken is an answer."""
OF_ORDERS = frozenset({"order done", "order plugged", "order stop", "order branch"})
NEXT = {
    "out": "back",
    "missing": "move",
    "in transit": "move",
    "quarantine": "clear",
    "hold": "clear",
    "in repair": "repair done",
    "back": "recheck record",
    "second check": "prep sign",
}
"""From a place, the command that leads on."""
SLOW = frozenset(
    {"rebuild", "order issue", "restore", "import", "recheck enter", "note took", "pattern kinds"}
)
"""What runs other commands to be typed at all, and is tried once."""
LATE = frozenset({"singles lost", "singles join", "fit take back", "import"})
GOOD_SHARE = {"out": 0.75, "counter": 0.7, "recheck record": 0.7, "prep sign": 0.7, "release test": 0.35}
WEIGHTS = {
    "out": 9, "back": 4, "counter": 4, "recheck record": 8, "prep sign": 6, "clear": 6, "repair done": 2,
    "hold": 1.5, "quarantine": 0.6, "ski fault": 1, "order issue": 4, "policy set": 0.6, "move": 2,
    "recall close": 1.5, "restore": 2.5, "order done": 4, "order plugged": 4, "order stop": 2, "case": 0.8,
    "sample draw": 3, "sample result": 5, "sample close": 3, "note end": 3, "stock out": 3, "undo": 2,
    "recheck close": 3, "recheck enter": 2, "later": 3, "pattern kinds": 2, "pattern add": 1.2, "batch": 1.2,
    "fit take back": 3, "singles lost": 2, "singles join": 4, "import": 0.8,
}  # fmt: skip
POLICIES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("cure_epoxy_hours", ("0.5", "1", "2")),
    ("cure_wood_glue_hours", ("0.5", "1", "2")),
    ("out_without_boot", ("yes", "no")),
    ("one_person_passes", ("yes", "no")),
    ("gate_release_test_alpine", ("work", "setting", "no", "no", "no", "no")),
    ("gate_qualification", ("pass", "setting", "release test", "no", "no", "no", "no")),
    ("gate_sole_standard", ("yes", "no")),
    ("gate_unsupported_model", ("yes", "no", "no")),
    ("gate_long_rental_days", ("15", "20", "14")),
)


@contextlib.contextmanager
def machine(seed: int, *, length: int = 120, going_on: bool = False) -> Iterator[Machine]:
    """A machine in a folder of its own, in memory where the system has such a place. What it makes faster in
    the program is as it was afterwards.
    """
    from fleet.audit import surroundings
    from fleet.ledger import ledger
    from planner.cli import main
    from planner.plan import fault_isolation

    memory = Path("/dev/shm")
    changed = [(tables, "_PRAGMAS"), (ledger, "quick_check"), (surroundings, "network_warning")]
    changed += [(fault_isolation, "own_fault"), (main, "app")]
    kept = [(where, name, getattr(where, name)) for where, name in changed]
    names = {name: os.environ.get(name) for name in ("MOUNTBOOK_NOW", "MOUNTBOOK_BY")}
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        made = None
        try:
            made = Machine(seed, Path(folder), length=length, going_on=going_on)
            yield made
        finally:
            if made is not None and made.doors is not None:
                made.doors.close()
            for where, name, value in kept:
                setattr(where, name, value)
            for name, text in names.items():
                os.environ.pop(name, None)
                if text is not None:
                    os.environ[name] = text


def table(run: Machine) -> list[str]:
    """The counts, command by command."""
    lines = [f"{'command':<16} {'taken':>7} {'refused':>8}"]
    lines += [f"{name:<16} {run.taken[name]:>7} {run.refused[name]:>8}" for name in run.names]
    return [*lines, f"{run.steps} steps, {run.outs} outs, {run.audits} audits, seed {run.seed}"]
