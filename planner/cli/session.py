"""The common part of all commands: the ledger, the person, the times, printing an answer and what failed.

A fault that costs one thing is said on stderr, its traceback is kept in a file, and the exit code is 1.
"""

from __future__ import annotations

import getpass
import json
import os
import shutil
import sqlite3
import sys
import textwrap
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated, Any, Final, TypeVar
from zoneinfo import ZoneInfo

import typer

from fleet.base.errors import BadInput, MountbookError, Refused, or_bad_input
from fleet.base.shown_text import UNRULY, harmless, one_line
from fleet.base.units import counted
from fleet.facts.tags import known_tag
from planner.cli.when_used import when_used
from planner.plan.fault_isolation import Fault, all_or_raise, kept, one_by_one

with when_used():
    from fleet.audit import backup, checkpoint, daily, surroundings
    from fleet.base import days
    from fleet.checks import findings
    from fleet.facts import policy as policies, staff
    from fleet.ledger import desk as desks, ledger as ledgers
    from fleet.rules import counter, gate_desk, hours
    from fleet.tables import connection as connections, snapshot
    from planner.bench.orders import change_effect
    from planner.exchange.export import whole_file


LEDGER_VARIABLE: Final = "MOUNTBOOK_LEDGER"
BY_VARIABLE: Final = "MOUNTBOOK_BY"

By = Annotated[
    str | None,
    typer.Option("--by", metavar="NAME", help="Who acts, as on the staff list; short where one is meant."),
]
At = Annotated[
    str | None,
    typer.Option("--at", metavar="TIME", help="When it happened, if entered later: 2026-11-25T16:40."),
]
Json = Annotated[bool, typer.Option("--json", help="Answer with one JSON object on stdout.")]
NewBoots = Annotated[
    float | None,
    typer.Option(
        "--new-boots",
        metavar="PERCENT",
        min=0,
        max=100,
        help="Of the boots new each winter played out; else by the seasons of purchase in the ledger.",
    ),
]
Yes = Annotated[bool, typer.Option("--yes", help="Take it without asking, for scripts.")]

_T = TypeVar("_T")
_chosen: dict[str, Path] = {}
_said_today: list[bool] = []


def choose_ledger(path: Path | None, *, yes_today: bool = False) -> None:
    """Remember --ledger and --yes-today for this run (the one shared state, set once before the command)."""
    _said_today[:] = [yes_today]
    if path is not None:
        _chosen["ledger"] = path
    else:
        _chosen.pop("ledger", None)


def ledger_path() -> Path:
    """Return the path of --ledger, else of the environment, else ``mountbook.db`` here."""
    return _chosen.get("ledger") or Path(os.environ.get(LEDGER_VARIABLE) or "mountbook.db")


def open_ledger(path: Path | None = None, *, care: bool = True) -> ledgers.Ledger:
    """Return the ledger at ``path``, or the chosen one, open. Notes about the place of the file go to stderr.

    Raises LedgerFault with one sentence. The first opening of a day audits what is new and makes the
    automatic copy, if set; without ``care`` it does not, so that nobody waits at the counter.
    """
    _chosen["ledger"] = path or ledger_path()  # which a fault is about
    ledger = ledgers.Ledger.open(_chosen["ledger"], say=lambda words: note(f"note: {words}"))
    for words in surroundings.opening_notes(ledger.connection, ledger.path, now=now()):
        note(f"note: {words}")
    if care:
        care_of_today(ledger)
    return ledger


def care_of_today(ledger: ledgers.Ledger) -> None:
    """Audit what is new and make the automatic copy, once a day; what is found is said on stderr."""
    _audit_of_today(ledger)
    _copy_of_today(ledger)


def audit_of_the_evening(ledger: ledgers.Ledger) -> None:
    """Audit the rest of the day once the evening is closed; what is found is said on stderr."""
    report = daily.audit_of_the_evening(ledger, now=now())
    if report is not None:
        say_audited(ledger, report)


def read(look: Callable[[sqlite3.Connection], _T]) -> _T:
    """Return what ``look`` makes of one moment of the chosen ledger."""
    with open_ledger() as ledger, ledger.reading() as connection:
        return look(connection)


def policy() -> policies.Policy:
    """Return the shop's policy, or the defaults where its ledger is not there yet."""
    if not ledger_path().exists():
        return policies.default_policy()
    return read(snapshot.read_policy)


def fleet() -> snapshot.Fleet:
    """Return the fleet as it stands in the chosen ledger, all of it from one moment."""
    return read(snapshot.read_fleet)


_AUDIT_SECONDS: Final = 2.0
"""So long the day's first command may look at new entries; closing the evening reads the rest."""


def _audit_of_today(ledger: ledgers.Ledger) -> None:
    newest = checkpoint.newest_audit(checkpoint.checkpoint_of(ledger.path))
    if newest is None or newest.at.astimezone(ZoneInfo(ledger.zone)).date() >= today(ledger.zone):
        return  # before the audit's own modules are loaded: they are for one command a day
    until = time.monotonic() + _AUDIT_SECONDS
    report = daily.audit_of_today(ledger, now=now(), enough=lambda: time.monotonic() > until)
    if report is not None:
        say_audited(ledger, report)


def say_audited(ledger: ledgers.Ledger, report: findings.AuditReport) -> None:
    """Say on stderr what an audit found that nobody asked for; a sound one leaves its signed head."""
    words = list(daily.notes_of(report))
    if report.sound and not report.left and report.head is not None:
        words += daily.sign_head(ledger, report.head, now=now(), key=key_path())
    for line in words:
        note(f"note: {line}")


def key_path() -> Path:
    """Return the place of this machine's key for signed heads: with the user's settings, not the ledger."""
    return Path(typer.get_app_dir("mountbook")) / "head.key"


def _copy_of_today(ledger: ledgers.Ledger) -> None:
    if not ledger.connection.execute("SELECT 1 FROM policy WHERE name = 'backup_folder'").fetchone():
        return
    try:
        copy = backup.copy_of_today(ledger, now=now())
    except MountbookError as fault:
        note(f"note: no copy was made today: {fault.sentence}")
        return
    if copy is not None:
        note(f"note: today's copy is {copy.path}")


def now() -> datetime:
    """Return the clock's time. MOUNTBOOK_NOW (ISO with zone) replaces it in demos and tests."""
    fixed = os.environ.get("MOUNTBOOK_NOW")
    if fixed:
        try:
            moment = datetime.fromisoformat(fixed)
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None:
            raise BadInput(
                "MOUNTBOOK_NOW needs a time with its zone", cure="write it like 2026-11-25T17:50:00+01:00"
            )
        return moment
    return datetime.now(UTC)


def say_test_clock() -> None:
    """Say on stderr that a fixed time stands for the clock, unless the demo or a test silences that."""
    if (fixed := os.environ.get("MOUNTBOOK_NOW")) and not os.environ.get("MOUNTBOOK_NOW_QUIET"):
        note(f"note: the clock of MOUNTBOOK_NOW is in force: {fixed}; unset it for real work")


def who_enters(ledger: ledgers.Ledger, by: str | None) -> str:
    """Return `person`; after a long silence of the ledger they have said first that the clock is right.

    Raises Refused where nobody says so.
    """
    name, moment = person(by, ledger.connection), now()
    with ledger.reading() as connection:
        silent = hours.silence(connection, now=moment)
    if silent is None:
        return name
    newest, days = silent
    words = hours.silence_words(newest, days, now=moment, zone=ledger.zone)
    said = any(_said_today) or (
        may_ask() and asked(f"{words}. Is that right? [y/N] ").lower() in ("y", "yes")
    )
    if not said:
        raise Refused(words, cure=hours.SAY_TODAY)
    with ledger.transaction(by=name, now=moment) as tx:
        hours.confirm_day(tx, newest, by=name)
    return name


def today(zone: str) -> date:
    """Return the shop's calendar day."""
    return now().astimezone(ZoneInfo(zone)).date()


def read_text(path: Path, cure: str = "give a text file in UTF-8") -> str:
    """Return the text of a file that a person wrote, or what the scanner sends for ``-``. Raises BadInput."""
    with or_bad_input(f"cannot read {path}:", cure=cure, of=(OSError, UnicodeDecodeError)):
        return sys.stdin.read() if str(path) == "-" else path.read_text(encoding="utf-8-sig")


def person(by: str | None, connection: sqlite3.Connection) -> str:
    """Return who acts as `actor` says; a name given with --by may be short where it means one person."""
    if not by:
        return actor(by)
    zone = connections.read_shop(connection).zone
    return staff.full_name(snapshot.read_staff(connection), by, today=today(zone))


def actor(by: str | None) -> str:
    """Return the name of --by, else of MOUNTBOOK_BY, else the login name: a claim, not a proof."""
    if by:
        return by
    if named := os.environ.get(BY_VARIABLE):
        return named
    with or_bad_input("nobody is named", cure="say who acts with --by NAME", of=(OSError, KeyError)):
        return getpass.getuser()


def answer(
    data: dict[str, Any],
    text: str | Iterable[str | Callable[[], None]],
    *,
    json: bool,
    folded: bool = False,
    after: str = "",
    good: bool = True,
) -> None:
    """One JSON object for a program; for a person the sentence or the lines, and the note ``after`` them.

    What can be called among the lines, a table, prints itself. Exit code 1 where the answer is not ``good``.
    """
    for line in () if json else (text,) if isinstance(text, str) else text:
        if callable(line):
            line()
        else:
            (say_folded if folded else say)(line)
    if json:
        emit_json(data)
    elif after:
        note(after)
    if not good:
        raise typer.Exit(1)


def emit_json(answer: dict[str, Any]) -> None:
    """The one JSON object on stdout; what could act on a terminal is written as an escape."""
    text = json.dumps(answer, ensure_ascii=False, indent=2)
    sys.stdout.write(UNRULY.sub(lambda c: f"\\u{ord(c[0]):04x}", text) + "\n")


def say(line: str = "") -> None:
    """One line for a person on stdout: what stands in data can neither act nor look like another row."""
    sys.stdout.write(one_line(line) + "\n")


def note(line: str) -> None:
    """Progress and notes, on stderr, so that stdout stays the answer."""
    sys.stderr.write(one_line(line) + "\n")


def may_ask() -> bool:
    """Return True if somebody sits at a terminal. A program is never asked a question."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def asked(question: str) -> str:
    """Return the line typed in answer. The question goes to stderr, so that stdout holds the answer only."""
    sys.stderr.write(harmless(question))
    sys.stderr.flush()
    return sys.stdin.readline().strip()


def speaks_unicode() -> bool:
    """Return True if the terminal takes block characters and arrows; else plain ASCII is written."""
    return (sys.stdout.encoding or "ascii").lower().replace("-", "") in ("utf8", "utf16", "utf32")


def folded(line: str, width: int) -> list[str]:
    """Return the line in rows of that width at most, broken between words, the rest indented; never empty."""
    indent = " " * (len(line) - len(line.lstrip()) + 4)
    return textwrap.wrap(line, width=max(width, 24), subsequent_indent=indent, break_on_hyphens=False) or [""]


def say_folded(line: str) -> None:
    """Print like `say`, folded at the terminal's width; a file or a pipe gets the line whole."""
    for row in folded(line, shutil.get_terminal_size().columns) if sys.stdout.isatty() else [line]:
        say(row)


def written(
    out: Path, data: bytes, said: dict[str, object], text: str, failed: Sequence[Fault], *, json: bool
) -> None:
    """Write the sheets, answer, say what could not be printed, and exit with code 1 if anything could not."""
    whole_file.write_whole(out, data)
    not_printed = [fault.to_json() for fault in failed]
    answer({"file": str(out), **said, "not_printed": not_printed}, f"{out}: {text}", json=json)
    end_with((failed, "NOT PRINTED"))


def written_each(
    out: Path,
    names: Sequence[str],
    draw: Callable[[Sequence[str]], bytes],
    *,
    what: str,
    key: str,
    words: Callable[[Sequence[str]], str],
    json: bool,
    refused: Sequence[Fault] = (),
) -> None:
    """Draw a sheet for each name and answer as `written` does; one that cannot be drawn costs no other.

    ``key``: under which the names drawn stand in the JSON object; ``words``: the answer for them.
    """
    data, failed = all_or_raise(names, draw, what=what, name=str)
    drawn = [name for name in names if name not in {fault.name for fault in failed}]
    written(out, data, {key: drawn}, words(drawn), (*refused, *failed), json=json)


def end_with(*left_out: tuple[Sequence[Fault], str]) -> None:
    """Say each fault with its name and cause, ``NOT PRINTED: label K-031: ...``, and exit with code 1 if
    anything was left out. The rest was done.
    """
    for faults, word in left_out:
        for fault in faults:
            note(f"{word}: {fault}")
            if not isinstance(fault.error, MountbookError):
                note(f"  {kept(fault.error)}")
    if any(faults for faults, _ in left_out):
        raise typer.Exit(1)


@contextmanager
def at_desk(
    by: str | None, at: str | None, *, care: bool = True, now: datetime | None = None, copy: bool = False
) -> Iterator[desks.Desk]:
    """Yield a desk. Everything entered inside is one action: all of it is kept, or nothing.

    ``copy``: at a copy in memory, to see what would come of it; nobody else waits meanwhile, nothing is kept.
    """
    with (
        open_ledger(care=care) as opened,
        opened.copied() if copy else nullcontext(opened) as ledger,
        _desk(ledger, by, at, moment=now, quiet=copy) as desk,
    ):
        yield desk


@contextmanager
def _desk(
    ledger: ledgers.Ledger,
    by: str | None,
    at: str | None,
    *,
    moment: datetime | None = None,
    quiet: bool = False,
) -> Iterator[desks.Desk]:
    moment = moment or now()
    stated = None if at is None else days.stated_time(at, ledger.zone)
    name = person(by, ledger.connection) if quiet else who_enters(ledger, by)
    with ledger.transaction(by=name, now=moment) as tx:
        desk = desks.Desk(tx=tx, by=name.strip(), now=moment, zone=ledger.zone, stated=stated, typed=bool(by))
        if stated is not None and desk.before_first_entry and not quiet:
            note("note: that time lies before the ledger's first entry; it is entered as told")
        yield desk


def on_pair(
    act: Callable[[desks.Desk, str], counter.Done],
    tag: str,
    by: str | None,
    at: str | None,
    *,
    json: bool,
    care: bool = True,
) -> None:
    """Do one thing to the pair that a tag or a code means, and print what came of it."""
    with at_desk(by, at, care=care) as desk:
        done = act(desk, known_tag(desk.connection, tag))
    show([done], json=json)


def each_at_desk(
    by: str | None,
    at: str | None,
    names: Sequence[str],
    act: Callable[[desks.Desk, str], _T],
    *,
    what: str = "pair",
    care: bool = True,
) -> tuple[list[_T], tuple[Fault, ...]]:
    """Return what came of ``act`` for each name, each an action of its own, and who was refused."""

    entered: list[str] = []
    with open_ledger(care=care) as ledger:

        def one(name: str) -> _T:
            with _desk(ledger, by, at) as desk:
                done = act(desk, name)
            entered.append(name)
            return done

        try:
            return one_by_one(names, one, what=what, name=str)
        except BaseException:
            if entered:  # a full disk or Ctrl-C halfway: what stands in the ledger is said
                note(f"entered before this: {', '.join(entered)}")
            raise


def all_named(
    typed: Sequence[str] | None,
    file: Path | None,
    *,
    what: str = "pair",
    check: Callable[[Sequence[str]], None] | None = None,
) -> list[str]:
    """Return the names typed and those of the file, a scanner's, each once. BadInput where there is none.

    ``check`` refuses names that cannot go together; a scanner that beeps twice is no such case.
    """

    named = [name.strip() for name in typed or () if name.strip()]
    if file is not None:
        lines = read_text(file, cure="one a line, UTF-8").splitlines()
        named = list(dict.fromkeys([*named, *(line.strip() for line in lines if line.strip())]))
    if check is not None and named:
        check(named)
    found = list(dict.fromkeys(named))
    if not found:
        raise BadInput(f"no {what} was named", cure="type or scan it, or give --file")
    return found


def parse_day(text: str | None, option: str, *, today: date | None = None) -> date | None:
    """Return the day of an option, counted from ``today``. Raises BadInput with an example."""
    return None if text is None else days.typed_day(text, option, today=today)


def show(
    done: Sequence[counter.Done],
    *,
    json: bool,
    later: bool = False,
    refused: Sequence[Fault] = (),
    more: Mapping[str, Any] | None = None,
    after: Sequence[str] = (),
) -> None:
    """Print one line a pair and each refusal, or the JSON object ``{"done": [...]}``. Exit code 1 if any was
    refused. ``more`` and ``after``: what else the object and the lines say.
    """
    width = max((len(d.tag) for d in done), default=0)
    answer_each(
        [{"tag": d.tag, "place": d.place.value, "entry": d.entry, "words": d.words} for d in done],
        [*(f"{d.tag:<{width}}  {d.place.value:<12}  {d.words}" for d in done), *after],
        refused,
        more={"entered_later": later, **(more or {})},
        json=json,
        after="entered later, with the time given" if later and done else "",
    )


def answer_each(
    done: Sequence[dict[str, Any]],
    lines: Sequence[str],
    refused: Sequence[Fault],
    *,
    more: dict[str, Any],
    json: bool,
    after: str = "",
) -> None:
    """Print what was done, every refusal with its cure, and how many of how many; or one JSON object. Exit
    code 1 if any was refused.
    """
    gone = {row.get("tag") for row in done}
    not_done: list[dict[str, Any]] = []
    for each in refused:
        if isinstance(each.error, MountbookError):
            sentence, cure = each.error.sentence, each.error.cure
        else:
            sentence, cure = each.reason, kept(each.error)
        named = sentence if each.name.casefold() in sentence.casefold() else f"{each.name}: {sentence}"
        instead = [tag for tag in each.instead if tag not in gone]
        not_done.append({"name": each.name, "refused": named, "cure": cure, "instead": instead})
    said = {"refused": "; ".join(row["refused"] for row in not_done), "not_done": not_done}
    words = [
        f"REFUSED  {'; '.join(filter(None, (row['refused'], row['cure'])))}"
        + (f"  INSTEAD: {', '.join(row['instead'])}" if row["instead"] else "")
        for row in not_done
    ]
    if refused:
        others = ", the others are entered" if done else ""
        words.append(f"{len(refused)} of {len(done) + len(refused)} refused{others}")
    answer(
        {"done": list(done)} | more | (said if refused else {}),
        [*lines, *words],
        json=json,
        after=after,
        good=not refused,
    )


_SHOWN = 12


def shown_first(
    words: str,
    act: Callable[[desks.Desk], _T],
    *,
    by: str | None,
    yes: bool,
    json: bool,
    gate: bool = False,
) -> tuple[_T, dict[str, Any]]:
    """Try ``act`` at a copy, show what it changes, ask, and do it; return what came of it and the effect as
    JSON. Raises Refused where nobody says yes.

    ``words``: the change; ``yes``: it is taken without asking; ``gate``: it is of the door's gates, so the
    pairs that it stops are said even where it stops none.
    """
    with at_desk(by, None, copy=True) as desk:
        before, could_go = snapshot.read_fleet(desk.connection), gate_desk.may_go_now(desk)
        act(desk)
        stopped = sorted(could_go - gate_desk.may_go_now(desk))
        after = snapshot.read_fleet(desk.connection)
        told = change_effect.change_effect(desk.connection, before, after, at=desk.now, zone=desk.zone)
    effect = told.summary()
    if gate or stopped:
        effect = [_stops(stopped, of=len(could_go)), *(line for line in effect if "no pair" not in line)]
    if not json:
        for line in (*effect, *told.below()):
            say(line)
    if not yes:
        _ask(words, effect, said=not json)
    with at_desk(by, None) as desk:
        done = act(desk)
    return done, {
        "stops_now": stopped,
        "below_the_rule_now": [flag_json(flag) for flag in told.flags],
        "pairs": list(told.pairs),
        "ways": dict(zip(("more", "fewer", "at_other_figures"), told.ways, strict=True)),
        "orders": list(told.orders),
    }


def _ask(words: str, effect: Sequence[str], *, said: bool) -> None:
    if may_ask():
        if asked(f"{words}: take it? [y/N] ").lower() in ("y", "yes"):
            return
        raise Refused(f"{words} was not taken")
    again = "" if said else f": it {'; '.join(effect)}"
    raise Refused(f"{words} was not taken{again}", cure="look at it, then type the same with --yes")


def flag_json(flag: Any) -> dict[str, str]:
    """Return a mount below the rule as JSON."""
    return {"pair": flag.tag, "policy": flag.policy, "message": flag.message}


def _stops(stopped: Sequence[str], *, of: int) -> str:
    """Return how many pairs a change would stop, in words."""
    some = f": {', '.join(stopped[:_SHOWN])}{' ...' if len(stopped) > _SHOWN else ''}" if stopped else ""
    return f"stops {len(stopped)} of {counted(of, 'pair')} that may go out now{some}"
