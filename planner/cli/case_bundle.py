"""The bundle of a case: all that the ledger holds about one pair, with its hash, without personal data.

Names become numbers with the role they sign in, free text stays out. Entries are sealed: their hashes would
let a stranger try the names of the shop's people one after another. On paper they are told in words, nothing
cut short: what an insurer reads of the ledger.
"""

import hashlib
import hmac
import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

from fleet.base.days import time_text
from fleet.base.entries import Body, Entry, name_key
from fleet.base.errors import or_bad_input
from fleet.base.grouping import grouped
from fleet.base.shown_text import one_line
from fleet.base.typed_text import is_place
from fleet.base.units import counted
from fleet.events import KINDS
from fleet.events.event import TAP
from fleet.events.looks import PairLookedAt
from fleet.events.movement import CASE_SALT, CaseMade, StockCounted
from fleet.events.typed import names_in, texts_apart
from fleet.facts.holes import Side, short_id
from fleet.facts.pairs import Binding, Pair
from fleet.facts.recalls import Reach, Recall, read_recalls
from fleet.ledger.history import NotedEntry, PairHistory, noted_entry, pair_history
from fleet.ledger.ledger import Ledger
from fleet.rules.looks import found_words
from fleet.tables.snapshot import read_policy, read_staff
from planner.cli.case_proof import left_out
from planner.paper.case_paper import CaseBlock, CaseSection, CaseSheet
from planner.paper.ski_view.ski_words import (
    LATER,
    binding_lines,
    mount_lines,
    named,
    pair_facts,
    pair_json,
    ski_lines,
    standing_words,
    valued,
)

HOW_TO_READ = (
    "Places are told in millimetres from each ski's own printed mark: x along the ski, y across it; right is"
    " right when looking at the tip.",
    "Times are those of the shop's clock. An entry stands at the time that it is about; where it was written"
    " later, that is said.",
    "Every entry has a number and a signer. Persons are numbered, their role stands in brackets.",
    "Not stated: nobody entered it. It does not mean that there was none.",
)
WHAT_IT_PROVES = (
    "It shows: case.json is the file that an entry of the ledger names, and every entry in it stands in the"
    " ledger as told here. case.proof.json leads from each to a head that the shop's machine signed;"
    " check_case.py checks that without the shop, its program or its ledger.",
    "With a head that came another way (the code on any sheet printed before, or a signed line that a witness"
    " keeps) it shows that the entries up to that head were not changed since.",
    "It does not show: that what people entered was true or all that happened, that the case has every entry"
    " about the pair (the shop's ledger can: mountbook case-check), or who the numbered persons are.",
)
_ON_NONE: Final = frozenset({"on_pair", "on_ski"})
"""Blank for a binding that is on no ski: that is known."""


def _value(name: str, value: object) -> str:
    return valued(name, value, blank="none" if name in _ON_NONE else "not stated")


def story_block(noted: NotedEntry, zone: str) -> CaseBlock:
    """Return one entry: when, what, who signed it, and everything that its body says."""
    entry = noted.entry
    lines = [f"signed {one_line(entry.by)}"]
    if entry.entered_later:
        lines.append(f"entered later: written {time_text(entry.recorded_at_utc, zone)}")
    body = {name: value for name, value in entry.body.items() if name != "tag"}
    if entry.what == PairLookedAt.WHAT:
        lines += _look_lines(body.pop("found"))
    for name, value in body.items():
        lines += (one_line(line) for line in _lines(named(name), name, value))
    if noted.blanked_by is not None:
        lines.append(f"the text of that entry was blanked by entry {noted.blanked_by}")
    elif entry.note_hash is not None:
        lines.append(f"a text of that entry is left out here; its hash is {entry.note_hash}")
    when = time_text(entry.stated_at_utc, zone)
    return CaseBlock(heading=f"{when} · {entry.what} · entry {entry.seq}", lines=tuple(lines))


def look_block(noted: NotedEntry, zone: str) -> CaseBlock:
    """Return a look in short: its occasion, its outcome, who signed it, and the finding for each piece."""
    entry = noted.entry
    words = f"{time_text(entry.stated_at_utc, zone)} · {entry.body['kind']} · {entry.body['outcome']}"
    return CaseBlock(
        heading=f"{words} · {one_line(entry.by)} · entry {entry.seq}",
        lines=tuple(_look_lines(entry.body["found"])),
    )


def _look_lines(found: Mapping[str, Mapping[str, str]]) -> list[str]:
    return [one_line(f"ski {side}: {_pieces(pieces)}") for side, pieces in found.items()]


def _pieces(found: Mapping[str, str]) -> str:
    toe_first = sorted(found, key=lambda piece: (piece != "toe", piece))
    return ", ".join(f"{piece} {_found(found[piece])}" for piece in toe_first) or "not seen"


def _found(word: str) -> str:
    today = found_words(word)
    return today if today == word else f"{today} (entered as {word!r})"


def _lines(shown: str, name: str, value: object) -> Iterator[str]:
    """Yield a fact of a body, with what lies within it indented below it; a change from old to new."""
    if name == "changes" and isinstance(value, dict):
        for column, (old, new) in value.items():
            yield f"{named(column)}: from {_value(column, old)} to {_value(column, new)}"
    elif isinstance(value, dict):
        if "hole_id" in value and "x_um" in value:
            value = dict(value)
            shown = f"hole {short_id(value.pop('hole_id'))}" if value["hole_id"] else f"{shown}: new hole"
        plain = {key: inner for key, inner in value.items() if not isinstance(inner, dict | list)}
        yield f"{shown}: {'; '.join(f'{named(k)} {_value(k, v)}' for k, v in plain.items()) or 'as below'}"
        for key, inner in value.items():
            if isinstance(inner, dict | list):
                yield from (f"  {line}" for line in _lines(named(key), key, inner))
    elif isinstance(value, list) and any(isinstance(inner, dict) for inner in value):
        yield f"{shown}:"
        for number, inner in enumerate(value, start=1):
            yield from (f"  {line}" for line in _lines(str(number), name, inner))
    elif isinstance(value, list):
        yield f"{shown}: {_listed(name, value)}"
    else:
        yield f"{shown}: {_value(name, value)}"


def _listed(name: str, value: list[Any]) -> str:
    """Return plain values beside each other."""
    parts = [" ".join(map(str, v)) if isinstance(v, list) else _value(name, v) for v in value]
    return ", ".join(parts) or "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseBundle:
    """``data`` is case.json; ``sha256`` is of exactly those bytes and stands on every page of the PDF."""

    tag: str
    data: bytes
    sha256: str
    head: str
    sheet: CaseSheet


_Reached = Mapping[Recall, Sequence[tuple[Binding, Reach]]]
"""Recalls, each with the bindings ever on the pair that it reaches or may reach."""


def case_bundle(ledger: Ledger, tag: str, *, salt: str, as_of: date | None = None) -> CaseBundle:
    """Return the bundle of a pair, today or as known at the end of a day.

    ``salt``: random digits that stay in the ledger. An entry's hash covers a name, and names of a shop's
    people are few: with the bare hashes of two entries that follow each other anybody could try them all.
    Raises Refused for an unknown pair.
    """
    connection = ledger.connection
    history = pair_history(ledger, tag, as_of=as_of)
    reached = _recalls_of(connection, history)
    history = replace(history, entries=_with_recalls(connection, history.entries, reached))
    roles = {name: person.role.value for name, person in read_staff(connection).items()}
    names = numbered(history, roles=roles)
    reached = {
        replace(recall, source=_nameless(recall.source, names)): bindings
        for recall, bindings in reached.items()
    }
    history = without_persons(history, names)
    people = _people(history)
    shown = pair_json(history)
    said = shown | {
        "history": [_sealed(row, salt) for row in shown["history"]],
        "entered_later": [_sealed(row, salt) for row in shown["entered_later"]],
        "recalls": [_recall_json(*one, tag) for one in reached.items()],
        "people": [
            {
                "person": name,
                "role": name.partition("(")[2].rstrip(")"),
                "signed": [noted.entry.seq for noted in signed],
            }
            for name, signed in people.items()
        ],
        "policy": [
            {
                "name": s.name,
                "value": s.value,
                "unit": s.unit,
                "origin": _nameless(s.origin, names),
                "since": s.since,
            }
            for s in read_policy(connection)
        ],
        "left_out": "names of persons, free text (but the source of a recall and the origin of a rule), and"
        " the hashes of the entries, which cover names: each is sealed, and the shop's ledger can open the"
        " seal (mountbook case-check); case.proof.json proves each entry without its names"
        " (check_case.py)",
    }
    data = (json.dumps(said, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()
    sha256 = hashlib.sha256(data).hexdigest()
    return CaseBundle(
        tag=tag,
        data=data,
        sha256=sha256,
        head=str(history.head),
        sheet=CaseSheet(
            pair=history.pair,
            sha256=sha256,
            head=history.head.full,
            as_of=history.head.seq,
            shop=ledger.shop,
            zone=history.zone,
            stands=standing_words(history),
            now=tuple(_now(history, reached, people)),
            story=tuple(_story(history)),
        ),
    )


_ENTRIES: Final = ("history", "entered_later")


def _sealed(row: dict[str, Any], salt: str) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != "hash"} | {"seal": seal(row["hash"], salt)}


def seal(entry_hash: str, salt: str) -> str:
    """Return the seal of an entry: HMAC-SHA256 (RFC 2104) of its hash, in hexadecimal."""
    return hmac.new(salt.encode(), entry_hash.encode(), hashlib.sha256).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedCase:
    """A case.json held against the ledger. ``changed``: entries whose seal the ledger does not open."""

    sha256: str
    made_entry: int | None
    entries: int
    changed: tuple[int, ...]

    @property
    def good(self) -> bool:
        """True if this ledger made these bytes, and every entry in them is the ledger's."""
        return self.made_entry is not None and not self.changed

    def words(self) -> str:
        """Return the answer in one sentence."""
        if self.made_entry is None:
            return "this ledger made no case with these bytes: it was changed, or made by another ledger"
        if self.changed:
            named = ", ".join(str(seq) for seq in self.changed)
            return f"this ledger made it by entry {self.made_entry}, and its entries differ now: {named}"
        return (
            f"this ledger made it by entry {self.made_entry}, and all {self.entries} entries in it are still"
            " those of the ledger"
        )


def check_case(ledger: Ledger, data: bytes) -> CheckedCase:
    """Hold the bytes of a case.json against the ledger. Raises BadInput where they are no case at all."""
    sha256 = hashlib.sha256(data).hexdigest()
    with or_bad_input(
        "this is no case.json of this program",
        cure="name the file case.json",
        of=(ValueError, KeyError, TypeError, AttributeError),
    ):
        said = json.loads(data)
        rows = [(int(row["seq"]), str(row["seal"])) for part in _ENTRIES for row in said.get(part, ())]
    made = ledger.connection.execute(
        "SELECT seq, text FROM entries LEFT JOIN notes USING (seq)"
        " WHERE what = ? AND json_extract(body, '$.sha256') = ?",
        (CaseMade.WHAT, sha256),
    ).fetchone()
    if made is None:
        return CheckedCase(sha256=sha256, made_entry=None, entries=len(rows), changed=())
    salt = (made[1] or "").removeprefix(CASE_SALT)
    hashes = dict(ledger.connection.execute("SELECT seq, hash FROM entries"))
    changed = tuple(seq for seq, sealed in rows if seal(hashes.get(seq, ""), salt) != sealed)
    return CheckedCase(sha256=sha256, made_entry=made[0], entries=len(rows), changed=changed)


def _recalls_of(connection: sqlite3.Connection, history: PairHistory) -> _Reached:
    """Return every recall, open or closed by then, that reaches a binding that was ever on the pair."""
    found = {}
    for recall in read_recalls(connection, closed=True):
        if recall.opened_entry > history.head.seq:
            continue
        if recall.closed_entry is not None and recall.closed_entry > history.head.seq:
            recall = replace(recall, closed_entry=None)
        reaches = ((binding, recall.reaches(binding)) for binding in history.ever_on)
        if reached := tuple((binding, reach) for binding, reach in reaches if reach is not Reach.NOT):
            found[recall] = reached
    return found


def _with_recalls(
    connection: sqlite3.Connection, entries: Sequence[NotedEntry], reached: _Reached
) -> tuple[NotedEntry, ...]:
    """Return the entries with those that opened and closed the recalls, in order."""
    by_seq = {noted.entry.seq: noted for noted in entries}
    for recall in reached:
        for seq in (recall.opened_entry, recall.closed_entry):
            if seq is not None:
                by_seq[seq] = noted_entry(connection, seq)
    return tuple(by_seq[seq] for seq in sorted(by_seq))


def _recall_json(recall: Recall, bindings: Sequence[tuple[Binding, Reach]], tag: str) -> dict[str, Any]:
    return {
        "recall": recall.recall,
        "pattern": recall.pattern,
        "piece": recall.piece,
        "serial_from": recall.serial_from,
        "serial_to": recall.serial_to,
        "season": recall.season,
        "source": recall.source,
        "opened_entry": recall.opened_entry,
        "closed_entry": recall.closed_entry,
        "bindings": [
            {"binding": binding.binding_id, "reach": reach.value, "on_the_pair_now": binding.on_pair == tag}
            for binding, reach in bindings
        ],
    }


def _people(history: PairHistory) -> dict[str, list[NotedEntry]]:
    """Return what each person signed, in order of the people's numbers."""
    signed = grouped((*history.entries, *history.later), lambda noted: noted.entry.by)
    return dict(sorted(signed.items(), key=lambda item: item[1][0].entry.seq))


def _now(
    history: PairHistory, reached: _Reached, people: Mapping[str, Sequence[NotedEntry]]
) -> Iterator[CaseSection]:
    """Yield what stands at the front: the pair, its mounts and bindings, recalls, and who signed what."""
    pair = history.pair
    yield CaseSection(
        title="The pair",
        blocks=(
            CaseBlock(heading=pair.model, lines=(pair_facts(pair),)),
            _block("Mounts", mount_lines(pair)),
            _block("Bindings", binding_lines(history)),
            CaseBlock(heading="How to read this case", lines=HOW_TO_READ),
            CaseBlock(heading="What it shows, and what not", lines=WHAT_IT_PROVES),
        ),
    )
    nothing = CaseBlock(
        heading="No recall in this ledger reaches a binding that is or was on the pair", lines=()
    )
    yield CaseSection(
        title="Recalls", blocks=tuple(_recall_block(*one) for one in reached.items()) or (nothing,)
    )
    looks = [noted for noted in (*history.entries, *history.later) if noted.entry.what == PairLookedAt.WHAT]
    nobody = CaseBlock(heading="No look at this pair is on record", lines=())
    yield CaseSection(
        title="Looks at its screws, by piece",
        blocks=tuple(look_block(noted, history.zone) for noted in sorted(looks, key=_when)) or (nobody,),
    )
    yield CaseSection(
        title="Who signed what",
        blocks=tuple(
            CaseBlock(
                heading=f"{name}: {counted(len(signed), 'entry', 'entries')}",
                lines=tuple(
                    f"{time_text(noted.entry.stated_at_utc, history.zone)}  {_signed(noted)}"
                    for noted in sorted(signed, key=_when)
                ),
            )
            for name, signed in people.items()
        ),
    )


def _signed(noted: NotedEntry) -> str:
    entry = noted.entry
    outcome = f": {entry.body['outcome']}" if entry.what == PairLookedAt.WHAT else ""
    return f"{entry.what}{outcome} (entry {entry.seq})"


def _recall_block(recall: Recall, bindings: Sequence[tuple[Binding, Reach]]) -> CaseBlock:
    of = {
        "pattern": recall.pattern,
        "piece": recall.piece,
        "serials": " to ".join(filter(None, (recall.serial_from, recall.serial_to))),
        "season": recall.season,
    }
    ended = f"closed by entry {recall.closed_entry}" if recall.closed_entry else "still open"
    return CaseBlock(
        heading=f"{recall.recall}, opened by entry {recall.opened_entry}, {ended}",
        lines=(
            f"source: {one_line(recall.source)}",
            f"it is about: {', '.join(f'{name} {value}' for name, value in of.items() if value)}",
            *(
                f"{binding.binding_id}: {reach.value}; serial toe {binding.serial_toe or 'unknown'},"
                f" heel {binding.serial_heel or 'unknown'};"
                f" {f'on {binding.on_pair} now' if binding.on_pair else 'on no pair now'}"
                for binding, reach in bindings
            ),
        ),
    )


def _story(history: PairHistory) -> Iterator[CaseSection]:
    """Yield the holes of both skis, then what happened, in order of the time it is about."""
    pair = history.pair
    yield CaseSection(
        title="The holes on record",
        blocks=tuple(_ski_block(*ski_lines(side, pair.skis[side], history.zone)) for side in Side),
    )
    yield CaseSection(
        title="What happened",
        blocks=tuple(story_block(noted, history.zone) for noted in sorted(history.entries, key=_when)),
    )
    if history.later:
        yield CaseSection(
            title=LATER[0].upper() + LATER[1:],
            blocks=tuple(story_block(noted, history.zone) for noted in sorted(history.later, key=_when)),
        )


def _ski_block(first: str, *more: str) -> CaseBlock:
    ski, _, facts = first.partition("  ")
    return CaseBlock(heading=ski, lines=(facts, *(line.removeprefix("  ") for line in more)), table=True)


def _when(noted: NotedEntry) -> tuple[str, int]:
    return noted.entry.stated_at_utc, noted.entry.seq


def _block(heading: str, lines: Iterable[str]) -> CaseBlock:
    return CaseBlock(heading=heading, lines=tuple(line.strip() for line in lines))


def numbered(history: PairHistory, *, roles: Mapping[str, str]) -> dict[str, str]:
    """Return a number and a role for everybody whom the history or the staff list names.

    The numbers go by each one's first entry, so that they tell nothing else.
    """
    every = (*history.entries, *history.later)
    everybody = {noted.entry.by for noted in every} | set(roles)
    everybody |= {name for noted in every for name in names_in(noted.entry)}
    everybody |= {area.by for side in Side for area in history.pair.skis[side].inspected if area.by}
    role_of = {
        name_key(noted.entry.body[TAP]["desk"]): "a desk" for noted in every if TAP in noted.entry.body
    }
    role_of |= {name_key(name): role for name, role in roles.items()}
    first: dict[str, int] = {}
    for noted in every:
        first.setdefault(noted.entry.by, noted.entry.seq)
    numbers: dict[str, int] = {}
    for name in sorted(everybody, key=lambda name: (first.get(name, 10**12), name)):
        numbers.setdefault(name_key(name), len(numbers) + 1)
    return {
        name: f"person {numbers[name_key(name)]} ({role_of.get(name_key(name), 'not listed')})"
        for name in everybody
    }


def without_persons(history: PairHistory, names: Mapping[str, str]) -> PairHistory:
    """Return the history with every name replaced by its number and role, and without free text."""
    return replace(
        history,
        pair=_pair_without(history.pair, names),
        stop_note="",
        setting=replace(
            history.setting,
            by=names.get(history.setting.by, ""),
            pieces=tuple(replace(each, by=names.get(each.by, "")) for each in history.setting.pieces),
        ),
        notes=tuple(replace(note, text=None) for note in history.notes),
        entries=tuple(_without_names(noted, names, history.pair.tag) for noted in history.entries),
        later=tuple(_without_names(noted, names, history.pair.tag) for noted in history.later),
    )


def _pair_without(pair: Pair, names: Mapping[str, str]) -> Pair:
    skis = {
        side: replace(
            ski, inspected=tuple(replace(area, by=names.get(area.by, area.by)) for area in ski.inspected)
        )
        for side, ski in pair.skis.items()
    }
    return replace(pair, skis=skis)


def _without_names(noted: NotedEntry, names: Mapping[str, str], tag: str) -> NotedEntry:
    body = _of_the_pair(noted.entry, tag)
    if noted.entry.what in KINDS:
        body, _ = texts_apart(KINDS[noted.entry.what], body, noted.entry.seq)
    entry = replace(noted.entry, by=names[noted.entry.by], body=_scrubbed(body, names))
    return replace(noted, entry=entry, kept=None)


def _scrubbed(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, dict):
        return {key: _scrubbed(inner, names) for key, inner in value.items()}
    if isinstance(value, list):
        return [_scrubbed(inner, names) for inner in value]
    if is_place(value):
        return left_out(value)
    return names.get(value, value) if isinstance(value, str) else value


def _nameless(text: str, names: Mapping[str, str]) -> str:
    """Return a source or an origin without the names of people whom the ledger knows."""
    for name in sorted(names, key=len, reverse=True):
        text = re.sub(rf"\b{re.escape(name)}\b", names[name], text, flags=re.IGNORECASE)
    return text


def _of_the_pair(entry: Entry, tag: str) -> Body:
    """Return what a body says of the pair, not what a count found of others."""
    if entry.what != StockCounted.WHAT:
        return entry.body
    body = {key: entry.body[key] for key in ("counted", "expected")}
    return body | {
        "not_seen": [each for each in entry.body["not_seen"] if each == tag],
        "unexpected": [each for each in entry.body["unexpected"] if each[0] == tag],
    }
