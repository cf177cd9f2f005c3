"""The audits that nobody has to think of: each day what was entered since, each week every entry.

They begin with the first audit or backup of a ledger, which leaves a checkpoint. The first command of a day
that is not at the counter looks for as long as it may; closing the evening reads the rest. A day found sound
ends with a signed head beside the backups and in the witness folder, and so does each backup.
"""

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Final

from fleet.audit.backup import default_folder, folder_named
from fleet.audit.checkpoint import checkpoint_of, newest_audit
from fleet.audit.entry_tree import entry_tree
from fleet.audit.full import audit_file, audit_since
from fleet.audit.heads import KeptHead, head_line, heads_in, keep_head, machine_key
from fleet.base.days import day_at
from fleet.base.entries import Head
from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.checks.findings import AuditPart, AuditReport, Progress, grouped
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_policy


def audit_of_today(ledger: Ledger, *, now: datetime, enough: Callable[[], bool]) -> AuditReport | None:
    """Audit what was entered since the last audit, as long as it may; None where none was ever made."""
    return audit_since(
        ledger.path,
        now=now,
        checkpoint=checkpoint_of(ledger.path),
        kept=list(kept_heads(ledger)),
        enough=enough,
    )


def audit_of_the_evening(
    ledger: Ledger, *, now: datetime, progress: Progress | None = None
) -> AuditReport | None:
    """Audit the rest of the day; every entry where that is due. None where no audit was ever made."""
    checkpoint, kept = checkpoint_of(ledger.path), list(kept_heads(ledger))
    newest = newest_audit(checkpoint)
    if newest is None:
        return None
    days = read_policy(ledger.connection).count("audit_full_days")
    if (day_at(now, ledger.zone) - day_at(newest.full_at, ledger.zone)).days >= days:
        return audit_file(ledger.path, now=now, checkpoint=checkpoint, kept=kept, progress=progress)
    return audit_since(ledger.path, now=now, checkpoint=checkpoint, kept=kept, progress=progress)


def head_folders(ledger: Ledger) -> list[Path]:
    """Return the folders that keep signed heads: that of the backups, where there is one, and the witness."""
    policy, backups = read_policy(ledger.connection), default_folder(ledger)
    has_backups = policy.word("backup_folder") or backups.is_dir()
    witness = policy.word("witness_folder")
    return [*([backups] if has_backups else []), *([folder_named(ledger, witness)] if witness else [])]


def kept_heads(ledger: Ledger) -> Iterator[KeptHead]:
    """Yield the heads of this ledger that lie in those folders; a folder that is not there today has none."""
    for folder in head_folders(ledger):
        try:
            yield from heads_in(folder, ledger=first_hash(ledger))
        except OSError:
            continue


def sign_head(
    ledger: Ledger, head: Head, *, now: datetime, key: Path, beside: Path | None = None
) -> list[str]:
    """Keep the signed head in each folder, and ``beside`` a backup; return the failures in words."""
    folders = [*dict.fromkeys([*head_folders(ledger), *([beside] if beside else [])])]
    if not folders:
        return []
    try:
        line = head_line(
            head, shop=ledger.shop, ledger=first_hash(ledger), now=now, key=machine_key(key),
            root=_root(ledger, head),
        )  # fmt: skip
    except BadInput as fault:
        return [f"no head was signed today: {fault.sentence}; {fault.cure}"]
    failed = []
    for folder in folders:
        try:
            keep_head(folder, line)
        except OSError as fault:
            failed.append(f"no head was kept in {folder} today: {fault.strerror}")
    return failed


_LEAVES_A_DAY: Final = 10_000
"""So many entries are added to the tree when a head is signed: a second's work. A longer ledger that has no
tree yet gets it over some days, or from its first case; its heads until then bear no root."""


def _root(ledger: Ledger, head: Head) -> str:
    """Return the root of the tree up to this head; empty where it is not known today."""
    with entry_tree(ledger) as tree:
        if tree is None or (not tree.grow(most=_LEAVES_A_DAY) and tree.size < head.seq):
            return ""
        return tree.root(head.seq)


def first_hash(ledger: Ledger) -> str:
    """Return the hash of the first entry, which tells one ledger from another whatever its shop is called."""
    return str(ledger.connection.execute("SELECT hash FROM entries WHERE seq = 1").fetchone()[0])


def notes_of(report: AuditReport) -> Iterator[str]:
    """Yield the lines for whoever happens to sit there: what is wrong, and what waits; nothing else."""
    found = grouped(report.findings)
    for finding in found:
        if finding.part in (AuditPart.FILE, AuditPart.RULES):
            yield f"today's audit: {finding.sentence}"
    asked = sum(finding.part is AuditPart.QUESTIONS for finding in found)
    if asked:
        yield f"today's audit has {counted(asked, 'question')} to answer: mountbook audit"
    if report.left:
        left = counted(report.left, "entry", "entries")
        yield f"{left} not audited yet: mountbook recheck close reads them, or mountbook audit --since-last"
