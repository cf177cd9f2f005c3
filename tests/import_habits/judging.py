"""What a program made of a written draft, held against what must come of it."""

from __future__ import annotations

import csv
import itertools
import json
import random
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import IntEnum
from pathlib import Path
from typing import Any, Final

from fleet.base.errors import MountbookError
from fleet.ledger.ledger import Ledger
from planner.exchange.export.both import write_export
from planner.exchange.intake import apply, look_at
from tests.import_habits.habits import HABITS, Habit
from tests.import_habits.shop import Cell, Draft, Row, Table, Want, tidy_shop
from tests.import_habits.writing import Written, written
from tests.imports.books import TODAY
from tests.odd_data.front_door import HEAD, FrontDoor

NOW: Final = datetime(2026, 11, 25, 8, tzinfo=UTC)


class Harm(IntEnum):
    """Worst first."""

    WRONG = 1
    """A value in the ledger that the sheet does not say, and nobody was told."""
    LEAVING = 2
    """A thing that the sheet says is gone, broken or in doubt was taken without a question."""
    INVENTED = 3
    """Unknown became a value."""
    EXTRA = 4
    """Something in the ledger that is no thing of the shop."""
    WRONG_SAID = 5
    """A wrong value that a note names."""
    SHOWN_LOST = 6
    """Shown as taken, but not in the ledger."""
    DROPPED = 7
    """Plainly said, neither taken nor asked about, and no word of it."""
    FAULT = 8
    """The program itself failed, or refused a whole file that holds good rows."""
    DROPPED_SAID = 9
    """The same, but a note says so."""
    NEEDLESS = 10
    """A plain value was asked about."""


@dataclass(frozen=True)
class Found:
    harm: Harm
    thing: str
    key: str
    shown: Any
    truth: Any
    got: Any
    said: str


@dataclass
class Case:
    """A file of some habits."""

    name: str
    habits: tuple[Habit, ...]
    seed: int

    def draft(self) -> Draft:
        draw = random.Random(self.seed)
        made = tidy_shop(draw)
        for habit in self.habits:
            habit.do(made)
        for table in made.tables.values():
            for row in table.rows:
                _forget_unwritten(table, row)
            _told_by_the_other_row(table)
        known = {row.tag for table in made.tables.values() if table.kind == "ski" for row in table.rows}
        made.holes = [hole for hole in made.holes if hole["pair_tag"] in known]
        if len(made.hole_grid) < 2 or (not made.holes and made.holes_want is not Want.ASKED):
            made.hole_grid = []
        return made


def _told_by_the_other_row(table: Table) -> None:
    """Of a pair in two rows, one a ski, what one of them cannot say may be taken from the other."""
    said = (Want.TAKEN, Want.EITHER)
    of_tag: dict[str, list[Row]] = defaultdict(list)
    for row in table.rows:
        if "ski" in row.cells and row.want is Want.TAKEN:
            of_tag[row.tag].append(row)
    for rows in of_tag.values():
        for one, other in itertools.permutations(rows, 2):
            for key, cell in one.cells.items():
                if key != "ski" and cell.want is Want.LEFT and other.cells[key].want in said:
                    one.cells[key] = Cell(cell.shown, other.cells[key].truth, Want.EITHER)


def _forget_unwritten(table: Table, row: Row) -> None:
    """A later habit may take the column, or the cell, in which an earlier one let a pair say that it is gone."""
    key, sign, word = row.why.partition(" says '")
    if not sign:
        return
    cell = row.cells.get(key)
    if key not in table.headers or cell is None or word.removesuffix("'") not in str(cell.shown):
        row.want = Want.LEFT


ALONE = {"file": {"look", "sheet", "layout", "strange", "holes"}, "units": {"length", "ski sole"}}
"""Groups that never meet: a csv has one table and no colours; a unit in the header, none in the cell."""


def alone_cases() -> list[Case]:
    return [Case(habit.name, (habit,), 100 + at) for at, habit in enumerate(HABITS)]


def mixed_cases(many: int, seed: int = 7) -> Iterator[Case]:
    """Files of three to six habits that may meet, drawn by seed."""
    draw = random.Random(seed)
    for at in range(many):
        chosen: list[Habit] = []
        for habit in draw.sample(HABITS, draw.randint(4, 9)):
            groups = {other.group for other in chosen}
            bars = ALONE.get(habit.group, set()) | {g for g, bad in ALONE.items() if habit.group in bad}
            if (
                habit.group not in groups
                and not (bars & groups)
                and not ({"columns", "tags"} <= groups | {habit.group})
            ):
                chosen.append(habit)
        chosen.sort(key=HABITS.index)
        yield Case(
            f"mixed {at}: " + "; ".join(habit.name for habit in chosen),
            tuple(chosen),
            5000 + seed * 1000 + at,
        )


def _plain(text: Any) -> Any:
    """A value as both sides can be compared: a number where it is one, else small text."""
    if text is None:
        return None
    try:
        return round(float(text), 3)
    except (TypeError, ValueError):
        plain = " ".join(str(text).split()).casefold()
    return plain if plain not in ("", "not known") else None


def _table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def in_ledger(folder: Path) -> dict[str, dict[str, dict[str, Any]]]:
    """Pairs and boots by tag, holes by pair: as an export of the ledger says them, in files' words."""
    pairs = {row["tag"]: dict(row) for row in _table(folder, "pairs")}
    for row in _table(folder, "skis"):
        at = pairs[row["pair_tag"]]
        for key in ("mark_from_tail_mm", "zone_back_mm", "zone_front_mm", "zone_half_width_mm"):
            if row["ski"] == "A":
                at[key] = row[key]
            elif at[key] != row[key]:
                at[key] = f"A {at[key]}, B {row[key]}"
    for row in _table(folder, "areas"):
        pairs[row["pair_tag"]]["inspected"] = row["how"]
    for row in _table(folder, "mounts"):
        if not row["removed_on"]:
            pairs[row["pair_tag"]].update(
                bsl_mm=row["bsl_mm"],
                mount_date=row["mounted_on"],
                mark_offset_mm=row["offset_mm"],
                binding_model=row["binding_model"],
            )
    for row in _table(folder, "bindings"):
        if row["on_pair"]:
            pairs[row["on_pair"]].update(brake_mm=row["brake_mm"])
            if not pairs[row["on_pair"]].get("binding_model"):
                pairs[row["on_pair"]]["binding_model"] = row["model"]
    boots = {row["tag"]: dict(row) for row in _table(folder, "boots")}
    holes: dict[str, dict[str, Any]] = {}
    for row in _table(folder, "holes"):
        holes.setdefault(row["pair_tag"], {}).setdefault("holes", []).append(row)
    return {"ski": pairs, "boot": boots, "hole": holes}


def as_shown(
    answer: dict[str, Any], verdicts: Iterable[str] = ("good", "note")
) -> dict[str, dict[str, dict[str, Any]]]:
    """The same of an import's answer: what stands in its rows as taken."""
    taken: dict[str, dict[str, dict[str, Any]]] = {"ski": {}, "boot": {}, "hole": {}}
    for row in answer.get("rows", []):
        if row["verdict"] not in verdicts or row["kind"] not in taken or row.get("left_out"):
            continue
        if row["kind"] == "hole":
            taken["hole"].setdefault(row["values"].get("pair_tag"), {}).setdefault("holes", []).append(
                row["values"]
            )
        else:
            taken[row["kind"]].setdefault(row["tag"], {}).update(
                {k: v for k, v in row["values"].items() if v is not None}
            )
    return taken


@dataclass
class Result:
    case: Case
    written: Written
    dry: dict[str, Any]
    applied: bool
    found: list[Found] = field(default_factory=list)
    questions: int = 0
    fault: str = ""


def run(case: Case, folder: Path, *, typed: bool = True) -> Result:
    """Write the file, import it dry and into a fresh ledger, read that back, and judge.

    ``typed``: by the commands, as a user does; else by the functions that they call, which takes half the time.
    """
    draft = case.draft()
    out = written(draft, folder / "stock")
    dry, said = (_typed if typed else _called)(out.path, folder)
    if not dry or dry.get("outcome") == "refuse":
        result = Result(case, out, dry, False, fault=said[:600])
        worth = any(row.want is Want.TAKEN for table in draft.tables.values() for row in table.rows)
        if worth:
            result.found.append(
                Found(Harm.FAULT, out.path.name, "", "", "", "", _messages(dry) or said[:300])
            )
        return result
    ledger = in_ledger(folder / "back") if (folder / "back" / "pairs.csv").exists() else None
    if ledger is not None and not any(ledger.values()):
        ledger = None
    result = Result(case, out, dry, ledger is not None)
    result.questions = len(dry.get("questions", ())) or sum(
        f["severity"] in ("question", "bad") for f in dry["findings"]
    )
    result.found = list(judged(draft, out, dry, ledger))
    return result


def _typed(path: Path, folder: Path) -> tuple[dict[str, Any], str]:
    """What the dry run says as a program reads it, and as it stands on the screen."""
    door = FrontDoor(folder)
    said = door("import", str(path), "--json", may_fault=True)
    try:
        dry: dict[str, Any] = said.json
    except ValueError:
        return {}, said.all
    door("import", str(path), "--apply", "--json", may_fault=True)
    if (folder / "mountbook.db").exists():
        door("export", "back", may_fault=True)
    return dry, said.all


def _called(path: Path, folder: Path) -> tuple[dict[str, Any], str]:
    try:
        proposal = look_at(None, [path], today=TODAY)
    except MountbookError as fault:
        return {}, str(fault)
    made = folder / "mountbook.db"
    done = apply(made, proposal, ledger=None, by=HEAD, now=NOW, shop="The shop", zone="Europe/Vienna")
    if done.applied and made.exists():
        with Ledger.open(made) as ledger:
            write_export(ledger, folder / "back", None, at_entry=None)
    return json.loads(json.dumps(proposal.report())), ""


def _messages(dry: dict[str, Any], many: int = 2) -> str:
    return " | ".join(f"[{f['severity']} {f['code']}] {f['message']}" for f in dry.get("findings", ())[:many])


class Said:
    """What an answer says of a place, and whether it asks."""

    def __init__(self, dry: dict[str, Any]) -> None:
        self.findings = dry.get("findings", ())
        self.questions = dry.get("questions", ())

    def of(
        self,
        sheet: str,
        row: int | None,
        column: str | None,
        tag: str,
        shown: Any,
        *,
        asks: bool,
        head: int = 0,
    ) -> list[str]:
        """``head``: the row of the table's header; what is said of it holds for the column, or the table."""
        severities = ("question", "bad") if asks else ("note", "question", "bad")
        out = []
        text = str(shown).strip() if shown not in (None, "") else ""
        for f in self.findings:
            if f["severity"] not in severities:
                continue
            here = f.get("sheet") in (sheet, None, "")
            whole = here and f.get("row") in (None, head) and not f.get("column")
            by_row = (
                here
                and row is not None
                and f.get("row") == row
                and (not column or f.get("column") in (column, None, ""))
            )
            by_column = here and column and f.get("column") == column and f.get("row") in (None, head)
            by_word = (
                here
                and text
                and str(f.get("raw") or "").strip() == text
                and (not column or f.get("column") in (column, None, ""))
            )
            by_tag = tag and f.get("tag") == tag and not column
            if whole or by_row or by_column or by_word or by_tag:
                out.append(f"[{f['severity']} {f['code']}] {f['message']}")
        out += [f"[question] {q['text']}" for q in self.questions if text and f"'{text}'" in q["text"]]
        return out


def judged(draft: Draft, out: Written, dry: dict[str, Any], ledger: dict[str, Any] | None) -> Iterator[Found]:
    said = Said(dry)
    taken = ledger if ledger is not None else as_shown(dry)
    wanted: dict[str, set[str]] = {"ski": set(), "boot": set()}
    for table in draft.tables.values():
        twice = {
            row.tag
            for row in table.rows
            if row.want is Want.ASKED and sum(other.tag == row.tag for other in table.rows) > 1
        }
        for row in table.rows:
            wanted[table.kind].add(row.tag)
            if row.want is not Want.LEFT:
                yield from _row(table, row, out, said, taken, twice=row.tag in twice)
    yield from _holes(draft, said, taken)
    for kind in ("ski", "boot"):
        for tag in taken[kind]:
            if tag not in wanted[kind]:
                where = next((r for r in dry["rows"] if r["tag"] == tag), {})
                yield Found(
                    Harm.EXTRA,
                    f"{kind} {tag}",
                    "",
                    where.get("row"),
                    None,
                    taken[kind][tag].get("model"),
                    _messages({"findings": [f for f in dry["findings"] if f.get("tag") == tag]}),
                )
    if ledger is not None:
        yield from _shown_lost(dry, ledger)


def _row(
    table: Table, row: Row, out: Written, said: Said, taken: dict[str, Any], *, twice: bool
) -> Iterator[Found]:
    sheet, at = out.rows[id(row)]
    thing = f"{table.kind} {row.tag}"
    head = out.rows[id(table)][1]
    asks_row = said.of(sheet, at, None, row.tag, None, asks=True, head=head)
    got = taken[table.kind].get(row.tag)
    if row.want is Want.ASKED and not asks_row:
        if got is not None:
            yield Found(
                Harm.LEAVING,
                thing,
                "",
                row.why,
                None,
                got.get("model"),
                "; ".join(said.of(sheet, at, None, row.tag, None, asks=False))[:300],
            )
        else:
            yield Found(Harm.DROPPED, thing, "", row.why, None, None, "")
    if twice:
        return
    for key in table.headers:
        if key == "tag" or key not in row.cells:
            continue
        cell = row.cells[key]
        place = out.cells.get((id(row), key))
        column = place[2] if place else None
        value = None if got is None else _plain(got.get(key))
        truth = _plain(cell.truth)
        words = said.of(sheet, at, column, row.tag, cell.shown, asks=False, head=head)
        asks = [word for word in words if not word.startswith("[note")]
        text = " ".join(words)[:400]
        named = any(str(cell.shown) in word for word in words)
        if cell.truth == "\0any":
            continue
        if value is not None and value != truth:
            if cell.want in (Want.LEFT, Want.ASKED) and cell.truth is None:
                shown = cell.shown in (None, "", "  ") or cell.want is Want.LEFT
                harm = Harm.INVENTED if shown else Harm.WRONG
                yield Found(
                    Harm.WRONG_SAID if named and not shown else harm,
                    thing,
                    key,
                    cell.shown,
                    None,
                    got.get(key),
                    text,
                )
            else:
                yield Found(
                    Harm.WRONG_SAID if named else Harm.WRONG,
                    thing,
                    key,
                    cell.shown,
                    cell.truth,
                    got.get(key),
                    text,
                )
        elif (
            value is None
            and cell.want is Want.ASKED
            and cell.shown not in (None, "")
            and not asks
            and not asks_row
        ) or (
            value is None
            and truth is not None
            and not asks
            and not asks_row
            and place
            and cell.shown is not None
        ):
            yield Found(
                Harm.DROPPED_SAID if words else Harm.DROPPED, thing, key, cell.shown, cell.truth, None, text
            )
        elif cell.want is Want.TAKEN and asks and truth is not None and row.want is Want.TAKEN:
            yield Found(
                Harm.NEEDLESS, thing, key, cell.shown, cell.truth, got and got.get(key), " ".join(asks)[:300]
            )


def _hole(row: dict[str, Any]) -> tuple[Any, ...]:
    return tuple(
        _plain(row.get(key))
        for key in ("ski", "x_mm", "y_mm", "diameter_mm", "depth_mm", "state", "knowledge")
    )


def _holes(draft: Draft, said: Said, taken: dict[str, Any]) -> Iterator[Found]:
    name = draft.names["hole"]
    soft = {"\0any"}
    for tag, at in taken["hole"].items():
        words = (
            said.of(name, None, None, str(tag), None, asks=False)
            + [f["message"] for f in said.findings if f.get("sheet") == name][:2]
        )
        true = [hole for hole in draft.holes if hole["pair_tag"] == tag]
        for hole in at["holes"]:
            value = _hole(hole)
            if value[0] == "both":
                continue
            like = [
                t
                for t in true
                if all(
                    g == w or t[k] in soft or (t[k] is None)
                    for g, w, k in zip(
                        value,
                        _hole(t),
                        ("ski", "x_mm", "y_mm", "diameter_mm", "depth_mm", "state", "knowledge"),
                        strict=True,
                    )
                )
            ]
            if not like or draft.holes_want is Want.ASKED:
                near = [_hole(t)[1:3] for t in true][:3]
                yield Found(
                    Harm.WRONG_SAID if words else Harm.WRONG,
                    f"hole of {tag}",
                    "x_mm, y_mm",
                    value,
                    near,
                    value[1:3],
                    " ".join(words)[:300],
                )
                break
    asked = any(
        f["severity"] in ("question", "bad") and f.get("sheet") == name for f in said.findings
    ) or any(name in str(q) for q in said.questions)
    if draft.holes_want is not Want.ASKED:
        for tag in sorted({hole["pair_tag"] for hole in draft.holes}):
            true = [hole for hole in draft.holes if hole["pair_tag"] == tag]
            got = taken["hole"].get(tag, {}).get("holes", [])
            if len(got) < len(true) and not asked and len(got) != len(true) / 2:
                words = [f["message"] for f in said.findings if f.get("sheet") == name or f.get("tag") == tag]
                yield Found(
                    Harm.DROPPED_SAID if words else Harm.DROPPED,
                    f"holes of {tag}",
                    "",
                    f"{len(true)} holes",
                    len(true),
                    len(got),
                    " ".join(words)[:300],
                )
            elif asked and draft.holes_want is Want.TAKEN and got is not None and len(got) < len(true):
                yield Found(Harm.NEEDLESS, f"holes of {tag}", "", "", len(true), len(got), "")
    elif draft.hole_grid and not asked:
        yield Found(
            Harm.DROPPED,
            "holes",
            "",
            "doubtful holes",
            None,
            None,
            " ".join(f["message"] for f in said.findings if f.get("sheet") == name)[:300],
        )


def _shown_lost(dry: dict[str, Any], ledger: dict[str, Any]) -> Iterator[Found]:
    shown = as_shown(dry)
    for kind in ("ski", "boot"):
        for tag, values in shown[kind].items():
            got = ledger[kind].get(tag)
            if got is None:
                yield Found(Harm.SHOWN_LOST, f"{kind} {tag}", "", values, None, None, "the whole row")
                continue
            for key, value in values.items():
                if key in ("inspected_on", "ski", "notes", "toe_stands_mm", "heel_stands_mm"):
                    continue
                if _plain(got.get(key)) != _plain(value) and str(value) not in (got.get("notes") or ""):
                    yield Found(Harm.SHOWN_LOST, f"{kind} {tag}", key, value, None, got.get(key), "")
    for tag, at in shown["hole"].items():
        many = sum(2 if _plain(hole.get("ski")) == "both" else 1 for hole in at["holes"])
        if many > len(ledger["hole"].get(tag, {}).get("holes", ())):
            yield Found(
                Harm.SHOWN_LOST,
                f"holes of {tag}",
                "",
                many,
                None,
                len(ledger["hole"].get(tag, {}).get("holes", ())),
                "",
            )


def run_all(cases: Iterable[Case]) -> Iterator[Result]:
    for case in cases:
        with tempfile.TemporaryDirectory() as folder:
            yield run(case, Path(folder), typed=False)
