"""The bundle of a case: all that the ledger holds about one pair, with its hash, without personal data.

Names become numbers with the role they sign in, free text stays out (its hash in the chain stays in).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from fleet.base.entries import name_key
from fleet.facts.equipment import Pair
from fleet.facts.holes import Side
from fleet.ledger.history import NotedEntry, PairHistory, pair_history
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_policy, read_staff
from planner.cli.ski_text import pair_json, pair_lines


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseBundle:
    """``data`` is case.json; ``sha256`` is of exactly those bytes and stands on every page of the PDF."""

    tag: str
    data: bytes
    sha256: str
    lines: tuple[str, ...]
    head: str
    shop: str
    zone: str


def case_bundle(ledger: Ledger, tag: str, *, as_of: date | None = None) -> CaseBundle:
    """Return the bundle of a pair, today or as known at the end of a day. Raises Refused for an unknown
    pair.
    """
    connection = ledger.connection
    history = without_persons(
        pair_history(ledger, tag, as_of=as_of),
        roles={name: person.role.value for name, person in read_staff(connection).items()},
    )
    said = pair_json(history) | {
        "policy": [
            {"name": s.name, "value": s.value, "unit": s.unit, "origin": s.origin, "since": s.since}
            for s in read_policy(connection)
        ],
        "left_out": "names of persons, free text; the hashes of the entries are those of the ledger",
    }
    data = (json.dumps(said, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()
    return CaseBundle(
        tag=tag,
        data=data,
        sha256=hashlib.sha256(data).hexdigest(),
        lines=tuple(pair_lines(history)),
        head=str(history.head),
        shop=str(connection.execute("SELECT name FROM shop").fetchone()[0]),
        zone=history.zone,
    )


def without_persons(history: PairHistory, *, roles: Mapping[str, str]) -> PairHistory:
    """Return the history with every name replaced by a number and a role, and without free text."""
    everybody = {noted.entry.by for noted in (*history.entries, *history.later)} | set(roles)
    everybody |= {area.by for side in Side for area in history.pair.skis[side].inspected if area.by}
    role_of = {name_key(name): role for name, role in roles.items()}
    numbers: dict[str, int] = {}
    for name in sorted(everybody, key=_first_entry(history)):
        numbers.setdefault(name_key(name), len(numbers) + 1)
    names = {
        name: f"person {numbers[name_key(name)]} ({role_of.get(name_key(name), 'not listed')})"
        for name in everybody
    }
    return replace(
        history,
        pair=_pair_without(history.pair, names),
        setting=replace(history.setting, by=names.get(history.setting.by, "")),
        entries=tuple(_without_names(noted, names) for noted in history.entries),
        later=tuple(_without_names(noted, names) for noted in history.later),
    )


def _first_entry(history: PairHistory) -> Any:
    """Return numbers for people by their first entry, so that the numbers tell nothing else."""
    first: dict[str, int] = {}
    for noted in (*history.entries, *history.later):
        first.setdefault(noted.entry.by, noted.entry.seq)
    return lambda name: (first.get(name, 10**12), name)


def _pair_without(pair: Pair, names: Mapping[str, str]) -> Pair:
    skis = {
        side: replace(
            ski, inspected=tuple(replace(area, by=names.get(area.by, area.by)) for area in ski.inspected)
        )
        for side, ski in pair.skis.items()
    }
    return replace(pair, skis=skis)


def _without_names(noted: NotedEntry, names: Mapping[str, str]) -> NotedEntry:
    entry = replace(noted.entry, by=names[noted.entry.by], body=_scrubbed(noted.entry.body, names))
    return replace(noted, entry=entry, note=None)


def _scrubbed(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, dict):
        return {key: _scrubbed(inner, names) for key, inner in value.items()}
    if isinstance(value, list):
        return [_scrubbed(inner, names) for inner in value]
    return names.get(value, value) if isinstance(value, str) else value


def case_pdf(bundle: CaseBundle, *, printed_at: datetime, paper: str = "A4") -> bytes:
    """Return the bundle as PDF: the pair in words; hash of case.json and ledger head on every page."""
    from planner.paper.moments import moment_text
    from planner.paper.pdf_writer import pdf_of
    from planner.paper.shapes import Face
    from planner.paper.sheet_frame import Anchors, FramedSheet, paper_named, standing_cautions

    size, leading = 8.0, 3.9
    sheet_paper = paper_named(paper)
    printed = moment_text(printed_at, bundle.zone)
    anchors = Anchors(
        shop=bundle.shop,
        name=f"case {bundle.tag}",
        head=bundle.head,
        plan_hash="",
        printed_at=printed,
        stale_after=f"entry {bundle.head.split(':')[0]}",
        proposal=False,
    )
    notes = [
        "Names and free text are left out. A record, not an inspection.",
        standing_cautions(),
    ]
    probe = FramedSheet(sheet_paper, proposal=False)
    rows = [row for line in bundle.lines for row in _rows(line, size, probe.room)]
    probe.finish(anchors, notes, 1, 1)
    per_page = int((probe.bottom - probe.top - 20) / leading)
    pages = [rows[start : start + per_page] for start in range(0, len(rows), per_page)] or [[]]
    drawn = []
    for number, part in enumerate(pages, start=1):
        sheet = FramedSheet(sheet_paper, proposal=False)
        sheet.finish(anchors, notes, number, len(pages))
        sheet.words(sheet.left, sheet.top + 8, f"Case {bundle.tag}", size=20, face=Face.BOLD)
        y = sheet.top + 20
        sheet.words(sheet.left, sheet.top + 12.5, f"case.json {bundle.sha256}", size=size, face=Face.MONO)
        for text in part:
            sheet.words(sheet.left, y, text, size=size, face=Face.MONO)
            y += leading
        drawn.append(sheet.page(sheet.width, sheet.height))
    return pdf_of(drawn, title=f"Case {bundle.tag}")


def _rows(line: str, size: float, room: float) -> list[str]:
    """Return the line unchanged where it fits (tables keep their columns), else wrapped and indented."""
    from planner.paper.shapes import Face
    from planner.paper.typeface import width_mm, wrapped

    if not line or width_mm(line, Face.MONO, size) <= room:
        return [line]
    first, *more = wrapped(line.strip(), Face.MONO, size, room - 10)
    return [line[: len(line) - len(line.lstrip())] + first, *(f"      {row}" for row in more)]
