"""A reading against a ledger: the entries it would make, and the report other programs read.

Rows are set aside by name: ``Skis:12,15-17``, a whole sheet by its name, ``Skis:missing`` for absent rows.
Rows that an export had and the edited file has not are asked about, never deleted.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.events.event import LEFT_OUT, Event
from fleet.events.mounts import MountRecorded
from fleet.events.pairs import AreaInspected, HoleChanged, HolesRecorded, SkiClosed
from fleet.events.settings import ImportApplied
from fleet.facts.holes import Side
from fleet.tables.snapshot import Fleet
from imports.answers import About, question_id
from imports.difference import Draft, Fate, FieldChange, no_fleet
from imports.findings import Finding, Severity, plain
from imports.header_rows import hinted
from imports.headers import OF_A_PAIR, Table
from imports.hole_witness import check_hole_columns, check_mounted_soles, screwed_places
from imports.propose_bindings import propose_late_patterns, propose_stock
from imports.propose_holes import propose_areas, propose_holes, propose_mount_rows
from imports.propose_lists import (
    propose_boots,
    propose_fits,
    propose_patterns,
    propose_staff,
    propose_wishes,
)
from imports.propose_notes import propose_notes
from imports.propose_pairs import (
    ask_about_unknown,
    count_holes,
    gather_pairs,
    propose_inspection,
    propose_mount,
    propose_mounted_bindings,
    propose_pair,
    resolve_mounted,
)
from imports.propose_stops import close_skis, propose_closed, propose_stops, shut_skis
from imports.questions import ImportQuestion, questions_of
from imports.reading import Reading
from imports.resolve import follow_renames, match_zeros
from imports.rows import Row, ready
from imports.table_findings import number_ranges


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaveOut:
    """Rows of one sheet; ``rows`` None means all of them. ``missing``: what the export had and it lacks."""

    sheet: str
    rows: frozenset[int] | None
    missing: bool = False


def parse_leave_out(texts: Sequence[str]) -> tuple[LeaveOut, ...]:
    """From the option's texts. Raises BadInput with an example."""
    found = []
    for text in texts:
        for part in text.split(";"):
            part = part.strip()
            if not part:
                continue
            sheet, colon, rows = part.rpartition(":")
            if not colon:
                found.append(LeaveOut(sheet=part, rows=None))
                continue
            if rows.strip() == "missing":
                found.append(LeaveOut(sheet=sheet.strip(), rows=frozenset(), missing=True))
                continue
            found.append(LeaveOut(sheet=sheet.strip(), rows=_numbers(rows, part)))
    return tuple(found)


def _numbers(text: str, whole: str) -> frozenset[int]:
    numbers: set[int] = set()
    for piece in text.split(","):
        match = re.fullmatch(r"\s*(\d{1,7})(?:\s*-\s*(\d{1,7}))?\s*", piece)
        if not match:
            raise BadInput(f"{whole!r} names no rows", cure='write it like --leave-out "Skis:12,15-17"')
        first, last = int(match[1]), int(match[2] or match[1])
        if last - first > 100_000:
            raise BadInput(f"{whole!r} names too many rows", cure='write it like --leave-out "Skis:12,15-17"')
        numbers.update(range(first, last + 1))
    return frozenset(numbers)


def set_aside(reading: Reading, leave_out: Sequence[LeaveOut]) -> None:
    """Mark the named rows, and with a pair the rows that hang on it. Findings of whole sheets go too.

    Raises BadInput for a row or sheet that is not there: a slip must not leave out the wrong row silently.
    """
    for one in leave_out:
        sheets = {s.sheet.name for s in reading.sheets if s.sheet.name.casefold() == one.sheet.casefold()}
        if not sheets:
            names = ", ".join(dict.fromkeys(s.sheet.name for s in reading.sheets)) or "none"
            raise BadInput(
                f"there is no sheet {one.sheet!r} to leave rows out of", cure=f"the sheets are: {names}"
            )
        mine = [row for row in reading.rows if row.sheet in sheets]
        if one.rows is None:
            for row in mine:
                row.left_out = True
            reading.unread_holes += [
                s.sheet.name
                for s in reading.sheets
                if s.sheet.name in sheets and s.sheet.rows and not mine and hinted(s.sheet.name, Table.HOLE)
            ]
            reading.findings[:] = [
                f for f in reading.findings if f.sheet not in sheets or f.severity is Severity.NOTE
            ]
            continue
        asked = [f for f in reading.findings if f.code == "item_unknown" and f.sheet in sheets]
        known = {row.number for row in mine} | {f.row for f in asked if f.row}
        unknown = sorted(one.rows - known)
        if unknown:
            raise BadInput(
                f"{one.sheet} has no data row {', '.join(map(str, unknown[:5]))}",
                cure="take the row numbers from the dry run",
            )
        for row in mine:
            if row.number in one.rows:
                row.left_out = True
        reading.findings[:] = [
            replace(f, severity=Severity.NOTE, code="left_out", message=f"{f.message} The row is left out")
            if f in asked and f.row in one.rows
            else f
            for f in reading.findings
        ]
    _with_their_pair(reading.rows)


def _with_their_pair(rows: Sequence[Row]) -> None:
    gone = {row.values.get("tag") for row in rows if row.table is Table.SKI and row.left_out}
    kept = {row.values.get("tag") for row in rows if row.table is Table.SKI and not row.left_out}
    for row in rows:
        if row.table in OF_A_PAIR and row.values.get("pair_tag") in gone - kept:
            row.left_out = True


def in_question(row: Row) -> bool:
    """Return whether a row waits for an answer, or cannot come in, and nobody set it aside."""
    return row.verdict in ("question", "bad") and not row.left_out


def leave_out_text(rows: Sequence[Row], findings: Sequence[Finding]) -> str:
    """The rows in question as the option's text, ``Skis:12,15-17;Boots:3``; empty if there is none."""
    by_sheet: dict[str, set[int]] = defaultdict(set)
    for row in filter(in_question, rows):
        by_sheet[row.sheet].add(row.number)
    for finding in findings:
        if finding.code == "item_unknown" and finding.sheet and finding.row:
            by_sheet[finding.sheet].add(finding.row)
    return ";".join(f"{sheet}:{number_ranges(rows).replace(' ', '')}" for sheet, rows in by_sheet.items())


_SHOWN: Final = 20


def _hole_ids(fleet: Fleet) -> Collection[str]:
    skis = (ski for pair in fleet.pairs.values() for ski in pair.skis.values())
    return {hole.hole_id: None for ski in skis for hole in ski.holes}


_NAMED: Final[tuple[tuple[Table, str, Callable[[Fleet], Collection[str]]], ...]] = (
    (Table.SKI, "tag", lambda fleet: fleet.pairs),
    (Table.BOOT, "tag", lambda fleet: fleet.boots),
    (Table.WANTED, "wish", lambda fleet: [wish.wish for wish in fleet.wishes]),
    (Table.HOLE, "hole_id", _hole_ids),
)
"""Tables of things that may be missing: the key that names each, and the names that a fleet has."""


def ask_about_missing(
    draft: Draft, reading: Reading, *, exported: bool, leave_out: Sequence[LeaveOut]
) -> None:
    """One finding for each thing that was there when the file was made, is still there, and is not in it.

    A question for an edited export, a note for a file of the shop's own. ``leave_out`` names the sheets, too,
    whose missing rows the user has accepted as they are.
    """
    accepted = {one.sheet.casefold() for one in leave_out if one.missing}
    for table, key, names_in in _NAMED:
        rows = [row for row in reading.rows if row.table is table]
        if not rows or (table is Table.HOLE and not any(row.values.get(key) for row in rows)):
            continue
        sheet = rows[0].sheet
        there, still = {str(row.values.get(key)) for row in rows}, names_in(draft.fleet)
        gone = [name for name in names_in(draft.base) if name in still and name not in there]
        accepted_now = reading.answers.by_id.get(missing_id(table, sheet))
        asked = exported and sheet.casefold() not in accepted and accepted_now is None
        more = [f"{len(gone) - _SHOWN} more"] if len(gone) > _SHOWN else []
        draft.findings += [_finding(sheet, table, name, asked=asked) for name in (*gone[:_SHOWN], *more)]


def missing_id(table: Table, sheet: str) -> str:
    """The question whether rows that were there may be missing."""
    return question_id(About.CHECK, table.value, "missing_row", "", sheet)


def _finding(sheet: str, table: Table, name: str, *, asked: bool) -> Finding:
    return Finding(
        severity=Severity.QUESTION if asked else Severity.NOTE,
        code="missing_row",
        sheet=sheet,
        question=missing_id(table, sheet),
        tag=name,
        message=f"{table.value} {name} was there when this file was made and is not in it; it stays",
        fix=f'restore the row, or say that it may be missing: --leave-out "{sheet}:missing"',
    )


_COUNTED: Final = (
    Table.SKI,
    Table.BOOT,
    Table.BINDING,
    Table.HOLE,
    Table.PATTERN,
    Table.WANTED,
    Table.FIT,
)
_VERDICTS: Final = ("good", "note", "question", "bad")


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """An import as it would be. ``entries`` begin with ``import applied`` unless nothing changes."""

    reading: Reading
    rows: tuple[Row, ...]
    findings: tuple[Finding, ...]
    entries: tuple[Event, ...]
    fates: dict[int, Fate]
    changes: tuple[FieldChange, ...]
    follows: tuple[str, ...]
    texts: Mapping[int, str]
    """The free text of entries, by `id`."""

    @property
    def outcome(self) -> str:
        """``import`` (only good and note), ``questions``, or ``refuse`` (nothing usable)."""
        counted = [row for row in self.rows if not row.left_out]
        if not any(row.verdict != "bad" for row in counted):
            return "refuse"
        open_ones = [f for f in self.findings if f.severity is not Severity.NOTE]
        return "questions" if open_ones else "import"

    @property
    def questions(self) -> tuple[ImportQuestion, ...]:
        """Return the open questions, one for all the rows that one answer settles."""
        return questions_of(self.findings)

    def counts(self) -> dict[str, dict[str, int]]:
        """Rows by table and verdict; they add up to the rows seen."""
        tables = [
            *_COUNTED,
            *(t for t in Table if t not in _COUNTED and any(r.table is t for r in self.rows)),
        ]
        counts = {table.value: dict.fromkeys(_VERDICTS, 0) for table in tables}
        for row in self.rows:
            counts[row.table.value][row.verdict] += 1
        return counts

    def change_counts(self) -> dict[str, int]:
        """Usable rows by what would happen to them."""
        found = Counter(self.fates.get(id(row), Fate.UNCHANGED) for row in self.rows if row.usable)
        return {fate.value: found[fate] for fate in Fate}

    def report(self, *, applied: bool = False) -> dict[str, Any]:
        """The JSON object other programs rely on."""
        return {
            "file": self.reading.name,
            "sha256": self.reading.sha256,
            "outcome": self.outcome,
            "counts": self.counts(),
            "changes": self.change_counts(),
            "differences": [
                {"what": c.what, "field": c.field, "old": plain(c.old), "new": plain(c.new)}
                for c in self.changes
            ],
            "questions": [question.to_json() for question in self.questions],
            "findings": [finding.to_json() for finding in self.findings],
            "rows": [
                {
                    "sheet": row.sheet,
                    "row": row.number,
                    "kind": row.table.value,
                    "tag": row.tag,
                    "verdict": row.verdict,
                    "left_out": row.left_out,
                    "values": {
                        key: None if key in row.not_taken else plain(value)
                        for key, value in row.values.items()
                    },
                }
                for row in self.rows
            ],
            "applied": applied,
        }


def propose(
    reading: Reading,
    fleet: Fleet | None,
    *,
    base: Fleet | None = None,
    exported: bool = False,
    leave_out: Sequence[LeaveOut] = (),
    columns: Mapping[str, str] | None = None,
) -> Proposal:
    """Compare a reading with the ledger's fleet (None: no ledger yet) and draft the entries.

    ``base``: the fleet the file was made from, for a three-way comparison; ``exported``: the file is an
    edited export of it. ``leave_out``: rows set aside by name. ``columns``: the mapping the user stated,
    kept with the import. Pure: nothing is written, and a reading may be proposed only once (its rows
    collect remarks).
    """
    fleet = fleet or no_fleet()
    draft = Draft(fleet=fleet, base=base or no_fleet())
    rows = reading.rows
    set_aside(reading, leave_out)
    unread = [*reading.unread_holes, *_unread(reading)]
    follow_renames(rows, fleet.renamed)
    known = {str(row.values["tag"]) for row in rows if row.table is Table.SKI and row.values.get("tag")}
    match_zeros(rows, known | fleet.pairs.keys())
    by_table = {table: [row for row in rows if row.table is table] for table in Table}
    patterns = propose_patterns(draft, by_table[Table.PATTERN])
    propose_fits(draft, by_table[Table.FIT], patterns)
    propose_staff(draft, by_table[Table.STAFF])
    check_mounted_soles(by_table[Table.SKI], by_table[Table.BOOT], by_table[Table.HOLE], patterns, fleet)
    if reading.exported_at is None:
        check_hole_columns(by_table[Table.HOLE], by_table[Table.SKI], patterns)
    hanging = [row for table in OF_A_PAIR for row in by_table[table]]
    _wait(hanging, by_table[Table.SKI])
    pairs = gather_pairs(draft, by_table[Table.SKI], by_table[Table.SIDE])
    ask_about_unknown(draft, hanging, pairs)
    mounted = {}
    for pair in pairs.values():
        propose_pair(draft, pair)
        if pair.tag not in fleet.pairs:
            propose_stops(draft, pair)
        else:
            pair.say_not_taken("status")
        mounted[pair.tag] = resolve_mounted(pair, patterns)
    _wait(by_table[Table.HOLE], by_table[Table.SKI])
    propose_holes(draft, by_table[Table.HOLE], pairs)
    shut = shut_skis(draft, by_table[Table.HOLE], unread)
    holes = count_holes(draft, by_table[Table.HOLE])
    reserved = frozenset(str(row.values.get("binding_id")) for row in by_table[Table.BINDING])
    screwed = screwed_places(by_table[Table.HOLE], fleet)
    no_history = 0
    for pair in pairs.values():
        resolved = mounted[pair.tag]
        pattern = patterns.get(resolved.pattern) if resolved else None
        propose_inspection(draft, pair, holes[pair.tag], pattern, shut.closes)
        if resolved is None:
            continue
        own = {side: screwed.get((pair.tag, side), ()) for side in Side}
        propose_mount(draft, pair, resolved, patterns, own)
        propose_mounted_bindings(draft, pair, resolved, reserved=reserved)
        if not any(holes[pair.tag].values()):
            no_history += 1
            pair.row.note(
                "no_holes_listed",
                "a binding is on the ski but none of its holes is listed: none is invented, and new holes "
                "cannot be planned until the ski was seen bare",
                "list the holes, or inspect the ski when the binding is off",
                key="binding_model",
            )
    late = propose_late_patterns(
        draft, patterns, screwed, spoken_of=pairs.keys(), stock=bool(by_table[Table.BINDING])
    )
    _wait([*by_table[Table.MOUNT], *by_table[Table.AREA]], by_table[Table.SKI])
    propose_areas(draft, by_table[Table.AREA], shut.closes)
    for pair in pairs.values():
        if pair.tag not in fleet.pairs:
            propose_closed(draft, pair)
    follows = [*close_skis(draft, shut, pairs, file=reading.name), *late]
    if no_history:
        follows.append(f"{counted(no_history, 'pair')} will have no hole history")
    opened = {event.tag for event in draft.entries if isinstance(event, AreaInspected)}
    opened |= {tag for tag, pair in fleet.pairs.items() if any(ski.inspected for ski in pair.skis.values())}
    for pair in pairs.values():
        if pair.tag not in opened:
            pair.say_not_taken("inspected")
    propose_mount_rows(draft, by_table[Table.MOUNT], patterns)
    propose_stock(draft, by_table[Table.BINDING], patterns)
    propose_boots(draft, by_table[Table.BOOT])
    for table in (Table.SKI, Table.SIDE, Table.BOOT, Table.BINDING):
        propose_notes(draft, by_table[table])
    propose_wishes(draft, by_table[Table.WANTED])
    ask_about_missing(draft, reading, exported=exported, leave_out=leave_out)
    _drop_what_is_asked(draft, by_table[Table.SKI], hanging)
    findings = (
        *reading.findings,
        *(f for row in rows if not row.left_out for f in row.findings),
        *draft.findings,
    )
    return Proposal(
        reading=reading,
        rows=tuple(rows),
        findings=findings,
        entries=tuple(_with_head(reading, draft, dict(columns or {}))),
        fates=draft.fates,
        changes=tuple(draft.changes),
        follows=tuple(follows),
        texts={id(event): draft.texts.get(id(event), "") for event in draft.entries},
    )


def _unread(reading: Reading) -> list[str]:
    """Sheets that nobody could read: they may hold holes, so no ski opens beside them until it is said."""
    bad = {finding.sheet for finding in reading.findings if finding.severity is Severity.BAD}
    return [
        sheet.sheet.name
        for sheet in reading.sheets
        if not sheet.tables
        and not sheet.left_out
        and sheet.sheet.rows
        and (sheet.sheet.name in bad or hinted(sheet.sheet.name, Table.HOLE))
    ]


def _drop_what_is_asked(draft: Draft, skis: Sequence[Row], hanging: Sequence[Row]) -> None:
    """Take back the entries of pairs whose row came in question after they were drafted: none comes in half.

    Of a ski of the ledger it stays that it is closed, and so do its holes: nothing opens by a doubt about its
    pair, and no hole that is there is kept from the ledger. ``hanging``: the rows that come in with a pair.
    """
    away = {str(row.values.get("tag")) for row in skis if row.blocks}
    known = draft.fleet.pairs

    def stays(event: Event) -> bool:
        of_known = isinstance(event, SkiClosed | HolesRecorded) and event.tag in known
        return of_known or isinstance(event, HoleChanged)

    _wait((r for r in hanging if r.table is not Table.HOLE or r.values.get("pair_tag") not in known), skis)
    draft.entries[:] = [event for event in draft.entries if not away & event.names() or stays(event)]


def _wait(rows: Iterable[Row], skis: Sequence[Row]) -> None:
    """Let rows wait with their pair where its own row does not come in, without a question of their own."""
    blocked = {str(row.values["tag"]): row.left_out for row in skis if row.blocks and row.values.get("tag")}
    for row in ready(rows):
        tag = str(row.values.get("pair_tag"))
        if tag in blocked:
            row.wait_for(tag, left_out=blocked[tag])


def _with_head(reading: Reading, draft: Draft, columns: dict[str, str]) -> list[Event]:
    if not draft.entries:
        return []
    head = ImportApplied(
        file=reading.name,
        sha256=reading.sha256,
        left_out=tuple(f"{row.sheet}:{row.number}" for row in reading.rows if row.left_out),
        counts=dict(Counter(event.WHAT for event in draft.entries)),
        entries=len(draft.entries),
        columns=columns or LEFT_OUT,
    )
    # A binding or an area entered after it would say that hands were at the pieces since.
    return [
        head,
        *sorted(draft.entries, key=lambda event: isinstance(event, MountRecorded) and bool(event.stands)),
    ]
