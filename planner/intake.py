"""Applying an import: the one place where a proposal becomes entries, all in one transaction."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from fleet.errors import BadInput
from fleet.ledger import Ledger
from fleet.snapshot import Fleet, read_fleet
from fleet.transaction import Transaction
from imports.leave_out import parse_leave_out
from imports.proposal import Proposal, propose
from imports.reading import read_files


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """An import tried or applied. ``opened`` is the zone of a ledger that this import began."""

    proposal: Proposal
    applied: bool
    opened: str | None = None


def look_at(
    ledger: Ledger | None,
    paths: Sequence[Path],
    *,
    leave_out: Sequence[str],
    columns: Sequence[str],
    today: date,
) -> Proposal:
    """A dry run: read the files and compare them with the ledger, if there is one. Writes nothing."""
    fleet = read_fleet(ledger.connection) if ledger else None
    reading = read_files(
        paths, today=today, policy=fleet.policy if fleet else None, columns=parse_columns(columns)
    )
    base = _base(ledger, fleet, reading.export_entry)
    return propose(reading, fleet, base=base, leave_out=parse_leave_out(leave_out))


def _base(ledger: Ledger | None, fleet: Fleet | None, entry: int | None) -> Fleet | None:
    """The fleet an export was written from, None where the ledger does not reach to it."""
    if ledger is None or fleet is None or entry is None or entry > fleet.head.seq:
        return None
    if entry == fleet.head.seq:
        return fleet
    from fleet.replay import fleet_at

    return fleet_at(ledger, entry)


def apply(
    path: Path, proposal: Proposal, *, ledger: Ledger | None, by: str, now: datetime, shop: str, zone: str
) -> Intake:
    """Write the proposed entries, all or nothing. Refuses while a question is open."""
    if proposal.outcome != "import":
        return Intake(proposal=proposal, applied=False)
    if not proposal.entries:
        return Intake(proposal=proposal, applied=True)
    if ledger is not None:
        with ledger.transaction(by=by, now=now) as transaction:
            _enter(transaction, proposal)
        return Intake(proposal=proposal, applied=True)
    with Ledger.create(
        path, shop=shop, zone=zone, by=by, now=now, first=lambda transaction: _enter(transaction, proposal)
    ):
        pass
    return Intake(proposal=proposal, applied=True, opened=zone)


def _enter(transaction: Transaction, proposal: Proposal) -> None:
    for what, body in proposal.entries:
        transaction.enter(what, body)


def parse_columns(texts: Sequence[str]) -> dict[str, str]:
    """``Ski Nr=tag`` -> {"Ski Nr": "tag"}; an empty key leaves the column out."""
    chosen = {}
    for text in texts:
        header, sign, key = text.rpartition("=")
        if not sign or not header.strip():
            raise BadInput(f"{text!r} is no mapping", cure='write it like --column "Ski Nr=tag"')
        from imports.fields import FIELDS

        if key.strip() and key.strip() not in FIELDS:
            raise BadInput(
                f"there is no value called {key.strip()!r}", cure="see the headers of `mountbook blank`"
            )
        chosen[header.strip()] = key.strip()
    return chosen


def machine_zone() -> str | None:
    """The machine's time zone name: TZ, else what /etc/localtime points to; None where neither says."""
    from zoneinfo import available_timezones

    known = available_timezones()
    named = os.environ.get("TZ", "").lstrip(":")
    if named in known:
        return named
    parts = Path("/etc/localtime").resolve().parts
    if "zoneinfo" in parts:
        name = "/".join(parts[parts.index("zoneinfo") + 1 :])
        if name in known:
            return name
    return None
