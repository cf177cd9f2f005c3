"""Answers as the shop would give them: each question of an import, answered from what is true of the draft."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection
from copy import deepcopy
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final
from urllib.parse import unquote

from fleet.base.errors import BadInput
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.answers import remembered
from planner.exchange.intake import apply, look_at
from tests.import_habits.judging import NOW, Case, _plain
from tests.import_habits.shop import Cell, Draft, Row, Table, Want
from tests.import_habits.writing import Written, written
from tests.imports.books import TODAY
from tests.odd_data.front_door import HEAD

LATER = ""


@dataclass
class Shop:
    """Somebody who knows the draft."""

    draft: Draft
    out: Written
    cells: dict[tuple[str, int, str], tuple[Table, Row, str, Cell]] = field(default_factory=dict)
    rows: dict[tuple[str, int], tuple[Table, Row]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for table in self.draft.tables.values():
            for row in table.rows:
                sheet, at = self.out.rows[id(row)]
                self.rows[sheet, at] = (table, row)
                for key in table.headers:
                    if place := self.out.cells.get((id(row), key)):
                        self.cells[place] = (table, row, key, row.cells[key])

    def answer(self, question: dict[str, Any]) -> str:
        """Return the answer; "" where this shop would put it off."""
        about, *parts = question["id"].split("/")
        parts = [unquote(part) for part in parts]
        places = question.get("places", ())
        known = [
            self.cells[place] for p in places if (place := (p["sheet"], p["row"], p["column"])) in self.cells
        ]
        rows = [self.rows[p["sheet"], p["row"]][1] for p in places if (p["sheet"], p["row"]) in self.rows]
        offered = [proposal["answer"] for proposal in question.get("proposals", ())]
        return str(
            getattr(self, f"_{about.replace('-', '_')}", self._row)(parts, known, rows, offered, places)
        )

    def _word(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        truths = {cell.truth for _, _, _, cell in known}
        if len(truths) == 1 and (truth := truths.pop()) not in (None, "\0any"):
            return str(truth)
        return "not known" if "not known" in offered else "leave out"

    def _column(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        """Return what the column holds, by its place; a header of holes by its place in the row."""
        for place in places:
            for (sheet, _, column), (_, _, key, _) in self.cells.items():
                if (sheet, column) == (place["sheet"], place["column"]):
                    return key
            if place["sheet"] == self.draft.names["hole"] and place["column"] in "ABCDEFGH":
                keys = ("pair_tag", "ski", "x_mm", "y_mm", "diameter_mm", "depth_mm", "state", "knowledge")
                return keys["ABCDEFGH".index(place["column"])]
        return "leave out"

    def _twice(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        for table in self.draft.tables.values():
            if parts[1] in table.headers:
                wanted = " ".join(table.headers[parts[1]].split()).casefold()
                return next((o for o in offered if wanted in o.casefold()), offered[0] if offered else "")
        return offered[0] if offered else ""

    def _all(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        truths = {str(row.cells[parts[1]].truth) for row in rows if parts[1] in row.cells}
        if len(truths) == 1 and (truth := truths.pop()) != "None":
            return truth
        return next((o for o in offered if o.startswith("=")), LATER)

    def _blank(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        return "not known" if "not known" in offered else "leave out"

    def _unit(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        for _, _, key, cell in known:
            try:
                ratio = float(str(cell.shown).replace(",", ".")) / cell.truth
            except (TypeError, ValueError, ZeroDivisionError):
                continue
            base = 10 if key == "length_cm" or key == "mondopoint" else 1
            for unit, per in (("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4)):
                if abs(ratio * per / base - 1) < 0.01:
                    return unit
        return LATER

    def _day_order(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        return offered[0] if offered else LATER

    def _direction(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        return LATER

    def _table(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        for name, sheet in self.draft.names.items():
            if sheet.casefold() == parts[0]:
                return {"gone": "ski"}.get(name, name)
        return "leave out"

    def _tag(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        good = all(row.want is Want.TAKEN for row in rows)
        return "with zeros" if "with zeros" in offered and not good else "right" if good else "leave out"

    def _check(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        if known and all(_plain(cell.shown) == _plain(cell.truth) for _, _, _, cell in known):
            return "right" if "right" in offered else "not known"
        return "not known" if "not known" in offered else "leave out" if "leave out" in offered else "right"

    def _keep(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        return "leave out"

    def _row(self, parts: Any, known: Any, rows: Any, offered: Any, places: Any) -> str:
        if any(row.want is not Want.TAKEN for row in rows):
            return "leave out"
        for _, _, key, cell in known:
            if cell.truth not in (None, "\0any"):
                return f"{key}={cell.truth}"
            if "not known" in offered:
                return "not known"
        return "leave out"


@dataclass
class Answered:
    """``lost``: good rows that are not in the ledger after every question was answered."""

    case: Case
    given: dict[str, str]
    open: list[str]
    lost: list[str]
    said: str = ""


def answered(case: Case, folder: Path, *, rounds: int = 9) -> Answered:
    """Import, answer what is asked as the shop knows it, again until nothing new is asked; then apply."""
    draft = case.draft()
    out = written(draft, folder / "stock")
    shop, given = Shop(draft, out), dict[str, str]()
    said, dropped = "", set[str]()
    proposal = look_at(None, [out.path], today=TODAY)
    for _ in range(rounds):
        new = {
            q["id"]: a
            for q in proposal.report()["questions"]
            if q["id"] not in given and q["id"] not in dropped and (a := shop.answer(q))
        }
        if not new:
            break
        given.update(new)
        try:
            proposal = look_at(None, [out.path], today=TODAY, answers=given)
        except BadInput as fault:  # another answer settled it already
            said = fault.sentence
            moot = re.search(r"asks (\S+)", said)
            if moot is None or given.pop(moot[1], None) is None:
                break
            dropped.add(moot[1])
            proposal = look_at(None, [out.path], today=TODAY, answers=given)
    made = folder / "mountbook.db"
    apply(made, proposal, ledger=None, by=HEAD, now=NOW, shop="The shop", zone="Europe/Vienna")
    known: dict[str, Collection[str]] = {"ski": (), "boot": ()}
    if made.exists():
        with Ledger.open(made) as ledger:
            fleet = read_fleet(ledger.connection)
            known = {"ski": fleet.pairs, "boot": fleet.boots}
    lost = [
        f"{table.kind} {row.tag}"
        for table in draft.tables.values()
        for row in table.rows
        if row.want is Want.TAKEN and row.tag not in known[table.kind]
    ]
    questions = proposal.report()["questions"]
    still = [f"{q['id']}: {q['text']}" for q in questions if q["id"] not in given]
    refused = [f"{q['id']} answered {given[q['id']]!r}: {q['text']}" for q in questions if q["id"] in given]
    return Answered(case, given, [*still, *refused], lost, said)


def asked_again(made: Answered, folder: Path, *, anew: bool = False) -> list[str]:
    """Questions that were answered for a shop's first file and that its second one asks again.

    The second file is the first with two more things of each kind; ``anew``: it has none of its things, but
    others, made by the same habits. What is asked about other things alone is no repetition.
    """
    case = replace(made.case, seed=made.case.seed + 1) if anew else made.case
    draft = case.draft()
    others = set[int]()
    for table in draft.tables.values():
        plain = [row for row in table.rows if row.want is Want.TAKEN and not row.why]
        new = table.rows if anew else [deepcopy(row) for row in plain[:2]]
        table.rows = table.rows if anew else [*table.rows, *new]
        for row in new:
            others.add(id(row))
            row.tag = re.sub(r"\d", "9", row.tag, count=1)
            if "tag" in row.cells:
                row.cells["tag"] = replace(row.cells["tag"], shown=row.tag, truth=row.tag)
    (folder / "again").mkdir(exist_ok=True)
    out = written(draft, folder / "again" / "stock")
    places = {out.rows[number] for number in others if number in out.rows}
    if not (folder / "mountbook.db").exists():
        return []
    with Ledger.open(folder / "mountbook.db") as ledger:
        asked = look_at(ledger, [out.path], today=TODAY).report()["questions"]
    return [
        f"{q['id']}: {q['text']}"
        for q in asked
        if q["id"] in made.given
        and (remembered(q["id"]) or not (anew or {(p["sheet"], p["row"]) for p in q["places"]} <= places))
    ]


MOST: Final = 6
"""Answers for the workbook of a whole shop."""


def main() -> None:
    """``python -m tests.import_habits.answering [MIXED [CASE ...]]``: what answers bring in, and how many."""
    import sys
    import tempfile

    from tests.import_habits.judging import alone_cases, mixed_cases

    many = int(sys.argv[1]) if len(sys.argv) > 1 else 0
    named = set(sys.argv[2:])
    files, lost, repeated = Counter[int](), 0, 0
    for case in [each for each in [*alone_cases(), *mixed_cases(many)] if not named or each.name in named]:
        with tempfile.TemporaryDirectory() as folder:
            made = answered(case, Path(folder))
            again = [*asked_again(made, Path(folder)), *asked_again(made, Path(folder), anew=True)]
        files[len(made.given)] += 1
        lost += len(made.lost)
        repeated += len(again)
        if made.lost or again or len(made.given) > MOST:
            print(
                f"- {case.name}: {len(made.given)} answers, {len(made.lost)} good rows not in; asked again: {again}"
            )
            print(f"    open: {json.dumps(made.open[:3], ensure_ascii=False)[:500]} {made.said}")
            print(f"    given: {json.dumps(dict(list(made.given.items())[:8]), ensure_ascii=False)[:600]}")
    print("\n| answers | " + " | ".join(map(str, sorted(files))) + " |")
    print("|---" * (len(files) + 1) + "|")
    print("| files | " + " | ".join(str(files[number]) for number in sorted(files)) + " |")
    total = sum(number * count for number, count in files.items())
    print(
        f"\n{total} answers in all, {lost} good rows that no answer brought in, {repeated} questions asked again"
    )


if __name__ == "__main__":
    main()
