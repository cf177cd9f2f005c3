"""Rebuild: derive the state again from sound entries, where only the derived tables were changed by hand.

A restore would lose every entry since the backup; the entries are all there. The file as it was found
is kept beside it, because somebody will want to know what was changed, and an entry says it happened.
"""

from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fleet.audit.backup import copy_as_found
from fleet.audit.full import audit_file
from fleet.base.days import day_at
from fleet.base.errors import LedgerFault, Refused
from fleet.checks.derived import empty_state
from fleet.checks.findings import AuditSeverity, Progress
from fleet.events import derive
from fleet.events.corrections import StateRebuilt
from fleet.facts.staff import full_name
from fleet.ledger.ledger import Ledger, read_entries
from fleet.ledger.migrations.bring_up import bring_up, derive_anew
from fleet.ledger.signing import decider
from fleet.tables.connection import connect
from fleet.tables.snapshot import read_staff


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebuilt:
    """The result of a rebuild. ``rows`` differed; ``kept``: the file as found; ``entry``: its entry in the
    ledger.
    """

    rows: int
    kept: Path
    entry: int


def rebuild(path: Path, *, by: str, now: datetime, progress: Progress | None = None) -> Rebuilt:
    """Derive every table of the state again from the entries, in one transaction.

    Signed by a manager of the staff list as the entries say it, with none in date by a head technician.
    Raises Refused where nothing differs or the signature does not count, LedgerFault where more than the
    state is wrong.
    """
    report = audit_file(path, now=now, progress=progress)
    wrong = [finding for finding in report.findings if finding.severity is AuditSeverity.BAD]
    if not wrong:
        raise Refused(f"{path} needs no rebuilding: its state is what its entries say")
    if any(finding.code != "state differs" for finding in wrong):
        worst = next(finding for finding in wrong if finding.code != "state differs")
        raise LedgerFault(
            f"{path} cannot be rebuilt: {worst.sentence}", cure="mountbook restore the newest good backup"
        )
    by = _signer(path, by, now=now)
    kept = copy_as_found(path, now=now)
    with closing(connect(path)) as connection:
        bring_up(connection, path, mend=True)
    with Ledger.open(path) as ledger, ledger.transaction(by=by, now=now) as transaction:
        derive_anew(ledger.connection, path)
        entry = transaction.enter(StateRebuilt(rows=len(wrong)))
    return Rebuilt(rows=len(wrong), kept=kept, entry=entry)


def _signer(path: Path, by: str, *, now: datetime) -> str:
    """Return who signs, by the entries alone: the table of the staff may be the one changed by hand."""
    with closing(connect(path)) as file, closing(empty_state()) as state:
        zone = "UTC"
        for entry in read_entries(file):
            zone = entry.zone
            if entry.what == "staff listed":
                derive(state, entry)
        staff = read_staff(state)
    today = day_at(now, zone)
    by = full_name(staff, by, today=today)
    return decider(staff, by, days=[today], what="rebuild the state").name if staff else by
