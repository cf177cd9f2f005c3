"""Recalls: opened, closed, and the bindings that they reach now."""

import sqlite3
from dataclasses import dataclass

from fleet.base.errors import BadInput, filled, nearest
from fleet.events.stops import RecallClosed, RecallOpened
from fleet.facts.pairs import Binding
from fleet.facts.patterns import PieceName
from fleet.facts.recalls import Reach, Recall, read_recalls, serial_form, serial_key
from fleet.ledger.desk import Desk, signer
from fleet.tables.snapshot import read_bindings


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """A binding that an open recall reaches, or may reach, and where it is now."""

    recall: str
    reach: Reach
    binding: Binding
    place: str
    due: str | None


def open_recall(desk: Desk, recall: Recall) -> list[Reached]:
    """Open a recall; from now on nothing it reaches goes out. Returns what it reaches."""
    if not recall.recall.strip() or not recall.source.strip():
        raise BadInput("a recall needs a name and its source", cure='add --source "maker\'s notice, date"')
    if not (recall.pattern or recall.season or recall.serial_from):
        raise BadInput("a recall of everything is no recall", cure="name a pattern, a season or serials")
    _check_named(desk.connection, recall)
    signer(desk.connection, desk.by, days=desk.signing_days, what="open a recall")
    desk.enter(
        RecallOpened(
            recall=recall.recall,
            pattern=recall.pattern,
            piece=recall.piece,
            serial_from=recall.serial_from,
            serial_to=recall.serial_to,
            season=recall.season,
            source=recall.source,
        )
    )
    return reached(desk.connection, recall)


def _check_named(connection: sqlite3.Connection, recall: Recall) -> None:
    """Raise BadInput where the recall names what no binding here has: a slip of the pen would reach nothing.

    To reach more than is named is on the careful side: every cure offers to leave the wrong part out.
    """
    bindings = list(read_bindings(connection).values())
    if recall.piece not in ("", PieceName.TOE, PieceName.HEEL):
        raise BadInput(f"{recall.piece!r} is no piece", cure="toe or heel; leave it out for both")
    patterns = {row[0] for row in connection.execute("SELECT name FROM pattern")}
    patterns |= {binding.pattern for binding in bindings}
    _check_one_of("pattern", recall.pattern, patterns)
    bindings = [b for b in bindings if recall.pattern in ("", b.pattern)]
    _check_one_of("season", recall.season, {b.season for b in bindings if b.season})
    _check_serials(recall, [b for b in bindings if recall.season in ("", b.season)])


def _check_one_of(what: str, name: str, known: set[str]) -> None:
    if not name or name in known:
        return
    near = nearest(name, known)
    here = f"{what}s here: {', '.join(sorted(known)) or 'none is on record'}; or"
    raise BadInput(
        f"there is no binding of {what} {name!r}",
        cure=f"{f'did you mean {near!r}? Or' if near else here} leave out --{what}: that reaches more",
    )


def _check_serials(recall: Recall, bindings: list[Binding]) -> None:
    if not (recall.serial_from or recall.serial_to):
        return
    if not recall.serial_from:
        raise BadInput("the range of serials has no first serial", cure="add --from, as the notice says it")
    low, high = serial_key(recall.serial_from), serial_key(recall.serial_to or recall.serial_from)
    if serial_form(low) != serial_form(high):
        raise BadInput(
            f"{recall.serial_from} and {recall.serial_to} have not one form",
            cure="read both ends again in the notice",
        )
    if low > high:
        raise BadInput(
            f"{recall.serial_from} comes after {recall.serial_to}", cure="write them the other way round"
        )
    serials = sorted({s for b in bindings for s in (b.serial_toe, b.serial_heel) if s.strip()})
    if serials and not any(serial_form(serial_key(serial)) == serial_form(low) for serial in serials):
        raise BadInput(
            f"no binding has a serial like {recall.serial_from}",
            cure=f"they look like {', '.join(serials[:3])}; or leave out --from and --to: that reaches more",
        )


def close_recall(desk: Desk, name: str, *, how: str) -> None:
    """Close a recall, saying how it ended. Signed by a listed person."""
    how = filled(how, "how the recall ended needs to be named", cure='add --how "all 12 pairs replaced"')
    signer(desk.connection, desk.by, days=desk.signing_days, what="close a recall")
    desk.enter(RecallClosed(recall=name), note=how)


def reached(connection: sqlite3.Connection, recall: Recall | None = None) -> list[Reached]:
    """Return every binding reached by that recall, or by any open one: out first, by due day, then the
    rest.
    """
    recalls = (recall,) if recall is not None else read_recalls(connection)
    if not recalls:
        return []
    places = {
        row[0]: (row[1], row[2]) for row in connection.execute("SELECT tag, place, out_due FROM standing")
    }
    bindings = read_bindings(connection).values()
    found = [
        _reached(each, binding, places)
        for each in recalls
        for binding in bindings
        if each.reaches(binding) is not Reach.NOT
    ]
    return sorted(
        found,
        key=lambda r: (r.place != "out", r.due or "9999", r.binding.on_pair or "", r.binding.binding_id),
    )


def _reached(recall: Recall, binding: Binding, places: dict[str, tuple[str, str | None]]) -> Reached:
    place, due = places.get(binding.on_pair or "", ("in stock", None))
    return Reached(
        recall=recall.recall,
        reach=recall.reaches(binding),
        binding=binding,
        place=place,
        due=due if place == "out" else None,
    )
