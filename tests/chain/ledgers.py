"""Ledgers of the small chains on disk, each made from an export of its fleet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path

from fleet.tables.snapshot import Fleet
from planner.exchange.export.folder import write_part
from planner.exchange.export.tables import TABLES
from planner.exchange.intake import apply, look_at
from planner.plan.chain import Chain

BEGUN = datetime(2026, 11, 16, 9, tzinfo=UTC)
MANAGER = "Wim Tarrowby"


def ledger_of(fleet: Fleet, path: Path, folder: Path) -> Path:
    """A new ledger with all that the fleet has."""
    write_part(fleet, folder, {table.name for table in TABLES})
    proposal = look_at(None, [folder], today=date(2026, 11, 16))
    assert proposal.outcome == "import", proposal.report()["findings"]
    apply(path, proposal, ledger=None, by=MANAGER, now=BEGUN, shop=fleet.shop, zone="UTC")
    return path


def on_disk(fleets: Mapping[str, Fleet], chain: Chain, folder: Path) -> Path:
    """The ledgers of a chain, and the file that names them."""
    lines = []
    for shop in chain.shops:
        ledger_of(fleets[shop.name], folder / f"{shop.name}.db", folder / "made" / shop.name)
        lines += ["[[shop]]", f'name = "{shop.name}"', f'ledger = "{shop.name}.db"']
        lines += [] if shop.minutes_limit is None else [f"minutes = {shop.minutes_limit}"]
    for run in chain.runs:
        lines += ["[[van]]", f'from = "{run.leaves}"', f'to = "{run.reaches}"', f"day = {run.day}"]
        lines += [f"minutes = {run.minutes}"]
        keys = ("pairs", "boots", "bindings")
        lines += [f"{key} = {room}" for key, room in zip(keys, run.room.values(), strict=True)]
    file = folder / "chain.toml"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file
