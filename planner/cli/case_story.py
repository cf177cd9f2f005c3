"""The entries of a case in words, nothing cut short: what an insurer reads of the ledger."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from fleet.base.days import time_text
from fleet.base.shown_text import one_line
from fleet.events.looks import PairLookedAt
from fleet.facts.holes import short_id
from fleet.ledger.history import NotedEntry
from fleet.rules.looks import found_words
from planner.paper.case_paper import CaseBlock
from planner.paper.ski_view.ski_words import named, valued

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
_value = partial(valued, blank="not stated")


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
    """Yield a fact of a body, with what lies within it indented below it."""
    if isinstance(value, dict):
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
    """Return plain values beside each other; those of a change read from the old one to the new one."""
    parts = [" ".join(map(str, v)) if isinstance(v, list) else _value(name, v) for v in value]
    return ", ".join(parts) or "none"
