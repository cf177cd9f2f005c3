"""The desk of a command: an open ledger, one transaction, the person and the times.

What a change of the shop's rules, fits and models would change is shown first, then asked, then taken.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.base.units import counted
from fleet.facts.tags import known_tag
from planner.cli import session
from planner.plan.fault_isolation import Fault, kept, one_by_one

if TYPE_CHECKING:
    from fleet.ledger.desk import Desk
    from fleet.ledger.ledger import Ledger
    from fleet.rules.counter import Done


_T = TypeVar("_T")


@contextmanager
def at_desk(
    by: str | None, at: str | None, *, care: bool = True, now: datetime | None = None, copy: bool = False
) -> Iterator[Desk]:
    """Yield a desk. Everything entered inside is one action: all of it is kept, or nothing.

    ``copy``: at a copy in memory, to see what would come of it; nobody else waits meanwhile, nothing is kept.
    """
    with (
        session.open_ledger(care=care) as opened,
        opened.copied() if copy else nullcontext(opened) as ledger,
        _desk(ledger, by, at, now=now, quiet=copy) as desk,
    ):
        yield desk


@contextmanager
def _desk(
    ledger: Ledger, by: str | None, at: str | None, *, now: datetime | None = None, quiet: bool = False
) -> Iterator[Desk]:
    from fleet.ledger.desk import Desk

    now, stated = now or session.now(), session.stated_time(at, ledger.zone)
    name = session.person(by, ledger.connection) if quiet else session.who_enters(ledger, by)
    with ledger.transaction(by=name, now=now) as tx:
        desk = Desk(tx=tx, by=name.strip(), now=now, zone=ledger.zone, stated=stated, typed=bool(by))
        if stated is not None and desk.before_first_entry and not quiet:
            session.note("note: that time lies before the ledger's first entry; it is entered as told")
        yield desk


def on_pair(
    act: Callable[[Desk, str], Done],
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
    act: Callable[[Desk, str], _T],
    *,
    what: str = "pair",
    care: bool = True,
) -> tuple[list[_T], tuple[Fault, ...]]:
    """Return what came of ``act`` for each name, each an action of its own, and who was refused."""

    entered: list[str] = []
    with session.open_ledger(care=care) as ledger:

        def one(name: str) -> _T:
            with _desk(ledger, by, at) as desk:
                done = act(desk, name)
            entered.append(name)
            return done

        try:
            return one_by_one(names, one, what=what, name=str)
        except BaseException:
            if entered:  # a full disk or Ctrl-C halfway: what stands in the ledger is said
                session.note(f"entered before this: {', '.join(entered)}")
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
        lines = session.read_text(file, cure="one a line, UTF-8").splitlines()
        named = list(dict.fromkeys([*named, *(line.strip() for line in lines if line.strip())]))
    if check is not None and named:
        check(named)
    found = list(dict.fromkeys(named))
    if not found:
        raise BadInput(f"no {what} was named", cure="type or scan it, or give --file")
    return found


def parse_day(text: str | None, option: str, *, today: date | None = None) -> date | None:
    """Return the day of an option, counted from ``today``. Raises BadInput with an example."""
    from fleet.base.days import typed_day

    return None if text is None else typed_day(text, option, today=today)


def show(
    done: Sequence[Done],
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
    )
    if later and done and not json:
        session.note("entered later, with the time given")
    session.end_with(refused)


def answer_each(
    done: Sequence[dict[str, Any]],
    lines: Sequence[str],
    refused: Sequence[Fault],
    *,
    more: dict[str, Any],
    json: bool,
) -> None:
    """Print what was done, every refusal with its cure, and how many of how many; or one JSON object."""

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
    if json:
        said = {"refused": "; ".join(row["refused"] for row in not_done), "not_done": not_done}
        session.emit_json({"done": list(done)} | more | (said if not_done else {}))
        return
    for line in lines:
        session.say(line)
    for row in not_done:
        others = f"  INSTEAD: {', '.join(row['instead'])}" if row["instead"] else ""
        session.say(f"REFUSED  {'; '.join(filter(None, (row['refused'], row['cure'])))}{others}")
    if refused:
        others = ", the others are entered" if done else ""
        session.say(f"{len(refused)} of {len(done) + len(refused)} refused{others}")


_SHOWN = 12


def shown_first(
    words: str,
    act: Callable[[Desk], _T],
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
    from fleet.rules.gate_desk import may_go_now
    from fleet.tables.snapshot import read_fleet
    from planner.bench.orders.change_effect import change_effect

    with at_desk(by, None, copy=True) as desk:
        before, could_go = read_fleet(desk.connection), may_go_now(desk)
        act(desk)
        stopped = sorted(could_go - may_go_now(desk))
        after = read_fleet(desk.connection)
        told = change_effect(desk.connection, before, after, at=desk.now, zone=desk.zone)
    effect = told.summary()
    if gate or stopped:
        effect = [_stops(stopped, of=len(could_go)), *(line for line in effect if "no pair" not in line)]
    if not json:
        for line in (*effect, *told.below()):
            session.say(line)
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
    if session.may_ask():
        if session.asked(f"{words}: take it? [y/N] ").lower() in ("y", "yes"):
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
