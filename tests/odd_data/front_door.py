"""mountbook as its user types it: one folder, one command after the other, and no fault of the program."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import ExitStack, chdir, closing, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

from fleet.tables.connection import trust
from fleet.tables.layout import LATCH
from imports.headers import Table
from tests.imports.books import (
    BINDING,
    BOOT,
    FIT,
    HOLE,
    MOUNTED,
    SKI,
    STAFF,
    T4H4,
    WANTED,
    Rows,
    table_rows,
    write_book,
)

HEAD, SECOND, MANAGER = "Mara Oberlin", "Jory Malkin", "Wim Tarrow"
BARE = SKI | {"inspected": "bare", "inspected_on": date(2026, 10, 20)}
WITH_BINDING = MOUNTED | {"inspected": "bare", "inspected_on": date(2026, 10, 20)}
TRAVELS = [
    row | {"pattern": "Tr5", "binding_model": "Travel 5", "travel_back_mm": 15, "travel_forward_mm": 15}
    for row in T4H4
]
"""The teaching pattern with travel on both pieces: a binding that serves another sole without a screw."""
PEOPLE = [
    STAFF,
    STAFF | {"name": SECOND, "role": "technician"},
    STAFF | {"name": MANAGER, "role": "manager"},
]


def holes_of(tag: str, bsl_mm: int = 305, sides: str = "AB") -> list[dict[str, Any]]:
    """The eight screws of a T4/H4 mount on the mark, measured here."""
    found = []
    for side in sides:
        for row in T4H4:
            end = bsl_mm / 2 if row["piece"] == "toe" else -bsl_mm / 2
            known = {"x_mm": end + row["x_mm"], "y_mm": row["y_mm"], "state": "screwed"}
            found.append(HOLE | {"pair_tag": tag, "ski": side, "knowledge": "measured here"} | known)
    return found


def in_micrometres(said: Any) -> Iterator[str]:
    """Keys of whole micrometres, which are the ledger's own: only the body of an entry is shown as it is."""
    if isinstance(said, list):
        for each in said:
            yield from in_micrometres(each)
    elif isinstance(said, dict):
        for key, value in said.items():
            if key.endswith("_um"):
                yield key
            if key != "body":
                yield from in_micrometres(value)


@dataclass(frozen=True)
class Said:
    """What a command answered."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)

    @property
    def all(self) -> str:
        return self.out + self.err


@dataclass
class FrontDoor:
    """The command line in that folder; a minute passes with every command."""

    folder: Path
    now: datetime = field(default_factory=lambda: datetime.fromisoformat("2026-11-25T08:00:00+01:00"))

    def __call__(self, *typed: str, given: str | bytes = "", by: str = HEAD, may_fault: bool = False) -> Said:
        """Type it. Whatever was typed: exit code 0 or 1 and a sentence, never a traceback, never a fault."""
        from planner.cli.main import main

        self.now += timedelta(minutes=1)
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
        raw = given.encode() if isinstance(given, str) else given
        told = {"MOUNTBOOK_NOW": self.now.isoformat(), "MOUNTBOOK_BY": by}
        with ExitStack() as so:
            so.enter_context(chdir(self.folder))
            so.enter_context(patch.dict(os.environ, told))
            so.enter_context(patch.object(sys, "argv", ["mountbook", *typed]))
            so.enter_context(patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(raw), encoding="utf-8")))
            so.enter_context(redirect_stdout(out))
            so.enter_context(redirect_stderr(err))
            code = 0
            try:
                main()
            except SystemExit as end:
                code = int(end.code or 0)
        said = Said(code, *(stream.buffer.getvalue().decode() for stream in (out, err)))  # type: ignore[attr-defined]
        if not may_fault:
            assert "a fault of the program itself" not in said.all, (typed, said.all)
        assert "Traceback" not in said.all, (typed, said.all)
        assert code in (0, 1), (typed, said.all)
        if "--json" in typed and said.out.startswith("{"):
            assert not list(in_micrometres(said.json)), (typed, "a program reads millimetres")
        assert said.all.strip() or code == 0, typed
        return said

    def begin(self, **sheets: Rows | list[dict[str, Any]]) -> Said:
        """Take in the small shop, its sheets replaced where others are given; nothing may be in doubt."""
        said = self.take_in(**sheets)
        assert said.code == 0, said.all
        return said

    def take_in(self, *more: str, **sheets: Any) -> Said:
        """Write own.xlsx and import it."""
        rows: dict[str, list[dict[str, Any]]] = {
            "Skis": [BARE | {"tag": f"K-{n:03}"} for n in range(1, 4)],
            "Boots": [BOOT | {"tag": f"B-{n}", "bsl_mm": 305} for n in range(210, 216)],
            "Bindings": [BINDING | {"quantity": 10}],
            "Patterns": [*T4H4, *TRAVELS],
            "Holes": [],
            "Fits": [FIT, FIT | {"pattern": "Tr5"}],
            "Wanted": [WANTED],
            "Staff": PEOPLE,
        } | sheets
        of = dict(zip(rows, (Table.SKI, Table.BOOT, Table.BINDING, Table.PATTERN, Table.HOLE, Table.FIT,
                             Table.WANTED, Table.STAFF), strict=True))  # fmt: skip
        write_book(self.folder / "own.xlsx", {name: table_rows(of[name], *rows[name]) for name in rows})
        return self("import", "own.xlsx", "--apply", "--zone", "Europe/Vienna", "--shop", "The shop", *more)

    def spoil(self, statement: str) -> None:
        """Change a state table behind the ledger's back: a record that nobody can read any more."""
        with closing(sqlite3.connect(self.folder / "mountbook.db")) as ledger, ledger:
            ledger.create_function(LATCH, 0, lambda: 1)
            trust(ledger)
            assert ledger.execute(statement).rowcount, statement

    def plan_json(self, folder: str = "p") -> Any:
        return json.loads((self.folder / folder / "plan.json").read_text(encoding="utf-8"))

    def pages(self, name: str) -> list[str]:
        """The text of each page of a PDF, line breaks as spaces."""
        import pymupdf

        with pymupdf.open(self.folder / name) as read:
            return [" ".join(page.get_text().split()) for page in read]
