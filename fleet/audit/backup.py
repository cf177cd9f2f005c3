"""Backups: copies of the ledger that were audited before they count, and the way back.

Rebuild: derive the state again from sound entries, where only the derived tables were changed by hand. A
restore would lose every entry since the backup; the entries are all there. The file as it was found is kept
beside it, because somebody will want to know what was changed, and an entry says it happened.

Copying a live file with any other tool can catch it between two writes; SQLite's own online backup
does not. A copy gets its name only when the full audit found it sound, and older copies are dropped
only then: a good backup never gives way to a bad one.
"""

import contextlib
import os
import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field, fields
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from fleet.audit.carry_over import Carried, carry_over
from fleet.audit.checkpoint import checkpoint_of
from fleet.audit.full import audit_file, audit_since
from fleet.audit.since_copy import read_replaced_file
from fleet.base.days import day_at, shop_day
from fleet.base.entries import Head, utc_text
from fleet.base.errors import BadInput, LedgerFault, Refused
from fleet.base.files import SQLITE_BESIDE, drop, fresh_beside, name_new, sync_file, sync_folder
from fleet.checks.derived import empty_state
from fleet.checks.findings import AuditReport, AuditSeverity, Progress
from fleet.events import derive
from fleet.events.corrections import LedgerRestored, StateRebuilt
from fleet.events.event import LEFT_OUT
from fleet.facts.order_numbers import numbers_nobody_knows, order_number
from fleet.facts.staff import full_name
from fleet.ledger.desk import decider
from fleet.ledger.ledger import Ledger, read_entries
from fleet.ledger.migrations.bring_up import bring_up, derive_anew
from fleet.rules.recheck import racks_words
from fleet.tables.connection import connect, in_words, reading
from fleet.tables.file_kind import check_kind
from fleet.tables.snapshot import read_policy, read_staff
from fleet.tables.sqlite_faults import SQLITE_FAULTS, ledger_fault

_PAGES_AT_ONCE = 2048


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """One backup. ``new`` is False where a sound copy of the same head stood there already."""

    path: Path
    head: Head
    new: bool
    dropped: tuple[Path, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the JSON object of `mountbook backup --json`."""
        return {
            "backup": str(self.path),
            "head": str(self.head),
            "new": self.new,
            "dropped": [str(path) for path in self.dropped],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored(Carried):
    """The result of a restore. ``kept`` is the path of the replaced file, if there was one.

    ``passes``: "stand", or "void" where the replaced file cannot tell what came after the backup. ``gone``:
    entries of the replaced file that are in this ledger no more, by kind.

    ``racks``: the number of pairs of each rack. ``orders``: by month the number after which work orders go
    on: it and those below may stand on older sheets.
    """

    path: Path
    backup_head: Head
    replaced_head: Head | None
    kept: Path | None
    passes: str
    gone: Mapping[str, int]
    racks: Mapping[str, int] = field(default_factory=dict)
    orders: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the JSON object of `mountbook restore --json`."""
        return {
            "ledger": str(self.path),
            "backup_head": str(self.backup_head),
            "replaced_head": str(self.replaced_head) if self.replaced_head else None,
            "kept": str(self.kept) if self.kept else None,
            "passes": self.passes,
            "carried": [{"tag": pair.tag, "words": pair.words} for pair in self.carried],
            "recalls": list(self.recalls),
            "staff": list(self.staff),
            "gone": dict(self.gone),
            "removed": list(self.removed),
            "orders_after": list(self.orders),
        }

    def lines(self) -> Iterator[str]:
        """Yield lines for a person: the restore, the facts carried over, and the pairs to look at."""
        yield f"{self.path} is the backup of entry {self.backup_head} now"
        if self.kept is not None:
            was = f", which ended at entry {self.replaced_head}" if self.replaced_head else ""
            yield f"  the file before it{was}, is kept as {self.kept}"
        if self.carried or self.recalls or self.staff:
            yield "carried over from that file, because it happened after the backup:"
        for pair in self.carried:
            yield f"  {pair.tag}  {pair.words}"
        for recall in self.recalls:
            yield f"  recall {recall} is open"
        for name in self.staff:
            yield f"  {name}: role and date as listed there"
        for mark in self.removed:
            yield f"  {mark}: that name was taken out of the replaced file, and is taken out again"
        if self.gone:
            kinds = ", ".join(f"{number} {what}" for what, number in self.gone.items())
            yield f"not in this ledger any more: {kinds}"
        if self.passes == "void" or not {"load sent", "load taken in"}.isdisjoint(self.gone):
            yield "what vans took or brought since is entered again: mountbook chain receive FOLDER --run RUN"
        for number in self.orders if self.passes != "void" else ():
            yield f"work orders go on after {number}: the numbers up to it were used in that file"
        if self.passes == "void":
            yield "nobody can tell what came after the backup: every pass in it is void"
            yield "  names taken out after the backup are in it again: mountbook redact --person NAME"
            yield f"  work orders of this month go on after {self.orders[-1]}:"
            yield "    a lower number may stand on a sheet that nobody knows of"
            yield "  look at each pair before it goes out, and for holes that were drilled since"
            yield f"  look rack by rack: mountbook recheck print --rack RACK ({racks_words(self.racks)})"
            yield f"  (if the newest printed sheet says {self.backup_head}, restore again with --head)"


def backup(path: Path, folder: Path, *, now: datetime, keep: int, progress: Progress | None = None) -> Backup:
    """Copy the ledger into the folder, audit the copy, then drop all but the ``keep`` newest.

    Raises LedgerFault, leaving every older copy alone, if the ledger cannot be read, the folder cannot
    be written, or the copy is not sound.
    """
    if keep < 1:
        raise BadInput("at least one backup is kept", cure="use --keep 1 or more")
    check_kind(path)
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as fault:
        raise LedgerFault(
            f"cannot make the folder {folder}: {fault.strerror}", cure="name a folder that may be written"
        ) from fault
    beside = fresh_beside(folder / f"{path.stem}-copy.db")
    try:
        head = _copy(path, beside, progress)
        standing = _sound_copy_of(path.stem, folder, head, now=now)
        if standing is not None:
            return Backup(path=standing, head=head, new=False)
        _must_be_sound(
            _audited(path, beside, now=now, progress=progress), "the copy", "older backups were kept"
        )
        target = folder / f"{path.stem}-{_compact(now)}-{str(head).replace(':', '-')}.db"
        name_new(beside, target)
    finally:
        drop(beside)
    return Backup(path=target, head=head, new=True, dropped=_rotate(path.stem, folder, keep=keep, new=target))


def _audited(path: Path, copy: Path, *, now: datetime, progress: Progress | None) -> AuditReport:
    """Audit a copy: every entry and page of it, and the state on from the ledger's checkpoint."""
    checkpoint = checkpoint_of(path)
    report = audit_since(copy, now=now, checkpoint=checkpoint, whole=True, progress=progress)
    if report is None:
        report = audit_file(copy, now=now, checkpoint=checkpoint, progress=progress)
    return report


def restore(
    backup_path: Path,
    path: Path,
    *,
    by: str,
    now: datetime,
    printed: Head | None = None,
    progress: Progress | None = None,
) -> Restored:
    """Put a backup in the ledger's place. The old file is kept beside it under another name.

    Signed by a manager, with none in date by a head technician. The backup is copied and audited first; then
    an entry ``ledger restored`` is made in the copy, so that everybody sees where history was taken up again,
    and what the replaced file knows to stop a ski is entered after it (`fleet.audit.carry_over`); only then
    are names changed. Where that file cannot tell what came after it no pass counts, unless ``printed``, the
    head of the newest sheet, is the backup's own. Raises MountbookError, with the old file in its place,
    for anything that goes wrong before.
    """
    path = path.resolve()  # a link stays a link: what it points to is replaced
    if path == backup_path.resolve():
        raise BadInput(f"{backup_path} is the ledger in use", cure="name a backup")
    check_kind(backup_path)
    beside = fresh_beside(path)
    try:
        with _alone(path) as file:
            backup_head = _copy(backup_path, beside, progress)
            _must_be_sound(
                audit_file(beside, now=now, progress=progress), str(backup_path), "nothing was replaced"
            )
            if printed is not None and not backup_head.full.startswith(printed.full):
                raise BadInput(
                    f"the printed head {printed} is not the newest entry of this copy: {backup_head}",
                    cure="restore a newer copy, or leave --head out and look at every pair",
                )
            with Ledger.open(beside) as copy:
                replaced = read_replaced_file(file, copy.connection, copy_head=backup_head)
                shown = printed is not None and (
                    replaced.head is None or replaced.head.seq <= backup_head.seq
                )
                passes = "stand" if replaced.complete or shown else "void"
                staff = replaced.staff if replaced.complete else read_staff(copy.connection)
                if staff:
                    today = day_at(now, copy.zone)
                    by = full_name(staff, by, today=today)
                    decider(staff, by, days=[today], what="restore the ledger")
                with copy.transaction(by=by, now=now) as transaction:
                    ended_at = str(replaced.head) if replaced.head else None
                    numbers = replaced.numbers if passes == "stand" else _above_all(copy, now=now)
                    transaction.enter(
                        LedgerRestored(
                            head=str(backup_head),
                            replaced=ended_at,
                            passes=passes,
                            orders=dict(numbers) or LEFT_OUT,
                        )
                    )
                    carried = carry_over(transaction, replaced, zone=copy.zone, path=copy.path)
                query = "SELECT rack, count(*) FROM pair WHERE rack > '' GROUP BY rack ORDER BY rack"
                racks = dict(copy.connection.execute(query).fetchall())
            sync_file(beside)
            kept = _swap(beside, path, now=now)
            checkpoint_of(path).unlink(missing_ok=True)  # it speaks of the file that was replaced
    finally:
        drop(beside)
    return Restored(
        path=path,
        backup_head=backup_head,
        replaced_head=replaced.head,
        kept=kept,
        passes=passes,
        gone=replaced.gone,
        **{each.name: getattr(carried, each.name) for each in fields(carried)},
        racks=racks,
        orders=tuple(order_number(month, number) for month, number in sorted(numbers.items())),
    )


def _above_all(copy: Ledger, *, now: datetime) -> dict[str, int]:
    """Return a number by month above all that the lost file may have given to orders."""
    (newest,) = copy.connection.execute("SELECT max(recorded_at_utc) FROM entries").fetchone()
    return numbers_nobody_knows(newest, utc_text(now), zone=copy.zone)


def copy_as_found(path: Path, *, now: datetime) -> Path:
    """Copy the ledger as it is now, sound or not, beside it under a free name; return the path."""
    target = _free_name(path, now=now)
    beside = fresh_beside(target)
    try:
        _copy(path, beside, None)
        name_new(beside, target)
    finally:
        drop(beside)
    return target


def default_folder(ledger: Ledger) -> Path:
    """Return the folder that the shop has set, else ``backups`` beside the ledger (on the same disk: say
    so).
    """
    return folder_named(ledger, read_policy(ledger.connection).word("backup_folder") or BESIDE)


BESIDE: Final = "backups"
"""The folder beside the ledger where copies go until the shop names another disk."""


def folder_named(ledger: Ledger, named: str) -> Path:
    """Return a folder as a policy names it: from the ledger's own folder on, wherever a command is typed."""
    return ledger.path.resolve().parent / named


def default_keep(ledger: Ledger) -> int:
    """Return the number of backups that the shop keeps."""
    return max(1, read_policy(ledger.connection).count("backup_keep"))


def copy_of_today(ledger: Ledger, *, now: datetime) -> Backup | None:
    """Make the automatic copy: the first command of a day makes one, if the shop has set a folder.

    None where no folder is set or today's copy is there. Raises MountbookError where it fails; that
    never stops the command, whose work is in the ledger.
    """
    row = ledger.connection.execute("SELECT value FROM policy WHERE name = 'backup_folder'").fetchone()
    if row is None or not row[0]:
        return None
    zone, folder = ledger.zone, folder_named(ledger, row[0])
    today = day_at(now, zone)
    for made_at, _, _ in _dated(folder, ledger.path.stem)[:1]:
        if shop_day(made_at, zone) >= today:
            return None
    return backup(ledger.path, folder, now=now, keep=default_keep(ledger))


def backups_in(folder: Path, stem: str) -> list[Path]:
    """Return the backups of a ledger of that name, newest first, by the time and entry in their names."""
    return [path for _, _, path in _dated(folder, stem)]


def _dated(folder: Path, stem: str) -> list[tuple[str, int, Path]]:
    if not folder.is_dir():
        return []
    pattern = re.compile(re.escape(stem) + r"-(\d{8}T\d{6}Z)-(\d+)-[0-9a-f]{8}\.db")
    matches = [(pattern.fullmatch(path.name), path) for path in folder.iterdir()]
    return sorted(
        (
            (match[1], int(match[2]), path)
            for match, path in matches
            if match and path.is_file() and not path.is_symlink()
        ),
        reverse=True,
    )


def _compact(now: datetime) -> str:
    return re.sub(r"[-:]|\.\d+", "", utc_text(now))


def _copy(source: Path, target: Path, progress: Progress | None) -> Head:
    def report(_: int, remaining: int, total: int) -> None:
        if progress is not None and total:
            progress(f"copying: {100 * (total - remaining) // total} %")

    with (
        in_words(source),
        contextlib.closing(connect(source)) as connection,
        contextlib.closing(sqlite3.connect(os.fspath(target.absolute()), isolation_level=None)) as copy,
        reading(connection),  # one moment: no writer makes the copy begin again
    ):
        row = connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
        if row is None:
            raise LedgerFault(f"{source} holds no entry", cure="name a ledger or a backup of one")
        try:
            connection.backup(copy, pages=_PAGES_AT_ONCE, progress=report)
        except sqlite3.Error as fault:
            if fault.sqlite_errorcode == sqlite3.SQLITE_FULL:
                raise ledger_fault(fault, target.parent) from fault
            raise
    return Head(*row)


def _must_be_sound(report: AuditReport, what: str, comfort: str) -> None:
    if not report.sound:
        first = next(f for f in report.findings if f.severity is AuditSeverity.BAD)
        raise LedgerFault(f"{what} is not sound: {first.sentence}", cure=f"{comfort}; see `mountbook audit`")


def _sound_copy_of(stem: str, folder: Path, head: Head, *, now: datetime) -> Path | None:
    ending = f"-{str(head).replace(':', '-')}.db"
    for path in backups_in(folder, stem):
        if path.name.endswith(ending):
            with contextlib.suppress(LedgerFault):
                if audit_file(path, now=now).sound:
                    return path
    return None


def _rotate(stem: str, folder: Path, *, keep: int, new: Path) -> tuple[Path, ...]:
    """Drop the oldest beyond ``keep``; the one just made is never among them, whatever its clock said."""
    older = [path for path in backups_in(folder, stem) if path != new][keep - 1 :]
    for path in older:
        path.unlink(missing_ok=True)
    return tuple(older)


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[sqlite3.Connection | None]:
    """Lock the file to be replaced, so that no counter enters anything; yield it for reading.

    A file that is too damaged to be locked is replaced all the same: that is what a restore is for.
    """
    if not path.exists():
        yield None
        return
    with contextlib.ExitStack() as held:
        connection: sqlite3.Connection | None = None
        try:
            connection = held.enter_context(contextlib.closing(connect(path)))
            connection.execute("BEGIN EXCLUSIVE")
        except SQLITE_FAULTS as fault:
            if (getattr(fault, "sqlite_errorname", None) or "").startswith("SQLITE_BUSY"):
                raise LedgerFault(
                    f"another program is using {path}", cure="close it everywhere and do it again"
                ) from fault
            connection = None
        yield connection


def _free_name(path: Path, *, now: datetime) -> Path:
    name = path.with_name(f"{path.name}.before-{_compact(now)}")
    number = 1
    while os.path.lexists(name):
        number += 1
        name = path.with_name(f"{path.name}.before-{_compact(now)}-{number}")
    return name


def _swap(beside: Path, path: Path, *, now: datetime) -> Path | None:
    """Rename the old file and move the new one in, with no moment without a ledger in between."""
    if not path.exists():
        name_new(beside, path)
        return None
    kept = _free_name(path, now=now)
    beside.chmod(path.stat().st_mode & 0o777)
    for ending in SQLITE_BESIDE:  # of a file too damaged to be recovered: must not meet the new one
        leftover = path.with_name(path.name + ending)
        if leftover.exists():
            leftover.rename(kept.with_name(kept.name + ending))
    try:
        os.link(path, kept)
    except OSError:  # a file system without links
        path.rename(kept)
    beside.replace(path)
    sync_folder(path.parent)
    return kept


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
