"""Signed heads: the newest entry of each day, signed by the machine, kept where the ledger does not lie.

One line a head in ``mountbook-heads.jsonl``, beside the backups and in the witness folder, which may be
another machine's: it needs room for heads only, never for the ledger. Whoever changes the ledger after that
day, cuts its end off, or puts an older copy in its place cannot change the lines there, and the audit that
reads them says so. The signature (Ed25519, RFC 8032) says which machine wrote a line; a line that somebody
made up bears another machine's key or none that fits.

A head printed on paper is an anchor, too. It shows whether the file still contains what was printed. It
proves nothing else: not who changed the file, not that what was entered was true, and with eight hexadecimal
digits it is a comparison of 32 bits, plenty against accidents and hasty hands.
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import msgspec

from fleet.base.entries import Head, fact_in, utc_text
from fleet.base.errors import BadInput, or_bad_input
from fleet.base.files import in_settings
from fleet.checks.findings import AuditFinding, bad, note

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

HEADS_FILE: Final = "mountbook-heads.jsonl"


class HeadLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """One line of a file of heads.

    ``ledger`` is the hash of its first entry; ``key`` and ``signature`` are hexadecimal. ``root``: that of
    the tree of so many entries (`fleet.audit.entry_tree`); empty in older lines.
    """

    shop: str
    ledger: str
    entry: int
    hash: str
    at: str
    key: str
    signature: str
    root: str = ""

    def signed_text(self) -> bytes:
        """Return the bytes that are signed: all but the signature, one fact a line."""
        facts = ["mountbook head", self.shop, self.ledger, str(self.entry), self.hash, self.at, self.key]
        return "\n".join([*facts, self.root] if self.root else facts).encode()


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptHead:
    """A head found in a file. ``fault``: why it cannot count, in words; empty if nothing is wrong."""

    head: Head
    place: str
    fault: str = ""


def machine_key(path: Path) -> Ed25519PrivateKey:
    """Return this machine's key, made at its first use for this user's eyes only.

    Raises BadInput where the folder cannot be written, or where the file holds no key.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    with in_settings(path):
        if not path.exists():
            with contextlib.suppress(FileExistsError):  # another counter made it meanwhile
                handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
                with os.fdopen(handle, "wb") as file:
                    file.write(Ed25519PrivateKey.generate().private_bytes_raw())
        bits = path.read_bytes()
    with or_bad_input(f"{path} holds no key", cure="move it away: a new key is made"):
        return Ed25519PrivateKey.from_private_bytes(bits)


def head_line(
    head: Head, *, shop: str, ledger: str, now: datetime, key: Ed25519PrivateKey, root: str = ""
) -> HeadLine:
    """Return the signed line of a head."""
    line = HeadLine(
        shop=shop,
        ledger=ledger,
        entry=head.seq,
        hash=head.hash,
        at=utc_text(now),
        key=key.public_key().public_bytes_raw().hex(),
        signature="",
        root=root,
    )
    return msgspec.structs.replace(line, signature=key.sign(line.signed_text()).hex())


def keep_head(folder: Path, line: HeadLine) -> None:
    """Add a line to the folder's file and wait until it is on the disk; a head that stands there is not
    written again.

    Raises OSError where it cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    path = folder / HEADS_FILE
    if path.exists() and f'"hash":"{line.hash}"' in path.read_text(encoding="utf-8", errors="replace"):
        return
    with path.open("ab") as file:
        file.write(msgspec.json.encode(line) + b"\n")
        file.flush()
        os.fsync(file.fileno())


def heads_in(folder: Path, *, ledger: str) -> Iterator[KeptHead]:
    """Yield the heads of this ledger in a folder's file; none where there is no such file.

    A line that cannot be read is yielded too: it may have been this ledger's.
    """
    path = folder / HEADS_FILE
    if not path.is_file():
        return
    text = path.read_text(encoding="utf-8", errors="replace")
    for number, line in enumerate(text.splitlines(), start=1):
        place = f"{path}, line {number},"
        try:
            found = msgspec.json.decode(line, type=HeadLine)
        except msgspec.MsgspecError:
            nothing = Head(0, "")
            yield KeptHead(head=nothing, place=place, fault="is no line of a head: it was changed or cut off")
            continue
        if found.ledger == ledger:
            head = Head(found.entry, found.hash)
            yield KeptHead(head=head, place=place, fault=_signature_fault(found))


def _signature_fault(line: HeadLine) -> str:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(line.key))
        key.verify(bytes.fromhex(line.signature), line.signed_text())
    except (InvalidSignature, ValueError):
        return "bears a signature that does not fit: it was changed"
    return ""


def parse_head(text: str) -> Head:
    """Return the head typed as ``1284:a3f920c1``, or scanned from a sheet's code, in full."""
    match = re.fullmatch(r"\s*(?:HEAD\s+)?(\d{1,15})\s*:\s*([0-9a-fA-F]{8,64})\s*", text)
    if match is None:
        raise BadInput(
            f"{text!r} is not a printed head",
            cure="copy it from the sheet, like 1284:a3f920c1",
        )
    return Head(int(match[1]), match[2].lower())


def anchored(connection: sqlite3.Connection, printed: Head) -> tuple[str | None, list[AuditFinding]]:
    """Return the fate of the printed head in words, and a finding if it is not in the file."""
    row = connection.execute("SELECT hash FROM entries WHERE seq = ?", (printed.seq,)).fetchone()
    name = f"{printed.seq}:{printed.hash[:8]}"
    if row is not None and str(row[0]).startswith(printed.hash):
        return f"this file still contains the printed head {name}", []
    restored = _left_behind(connection, printed)
    if restored is not None:
        said = f"the printed head {name} was left behind by the restore of entry {restored}"
        return said, [note("head left behind", said, entry=restored)]
    if row is None:
        newest = connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0]
        said = f"the printed head {name} is not in this file, which ends at entry {newest}"
        return said, [bad("head missing", said, cure="find the file that the sheet was printed from")]
    said = (
        f"entry {printed.seq} of this file is not the one that was printed ({name}):"
        f" it, or one before it, was changed since"
    )
    return said, [bad("head differs", said, cure="compare with a backup made before the sheet was printed")]


def _left_behind(connection: sqlite3.Connection, printed: Head) -> int | None:
    """Return the entry of the restore that took the file back to before this head; None if there is none.

    A restore is signed and stands in the ledger with the newest entry of the copy and of the file that it
    replaced: the heads between the two are missing by its word, and by nobody else's.
    """
    for seq, body in connection.execute("SELECT seq, body FROM entries WHERE what = 'ledger restored'"):
        copy, replaced = fact_in(body, "head"), fact_in(body, "replaced")
        if copy and replaced and int(copy.split(":")[0]) < printed.seq <= int(replaced.split(":")[0]):
            return int(seq)
    return None


def compare_kept(
    connection: sqlite3.Connection, kept: Sequence[KeptHead]
) -> tuple[str | None, list[AuditFinding]]:
    """Return what became of many heads in one sentence, and a finding for each that is not in the file."""
    if not kept:
        return None, []
    findings, sound = list[AuditFinding](), list[int]()
    for one in kept:
        if one.fault:
            findings.append(
                bad("kept head", f"{one.place} {one.fault}", cure="look who could write there, and when")
            )
            continue
        _, wrong = anchored(connection, one.head)
        findings += [replace(found, sentence=f"{one.place}: {found.sentence}") for found in wrong]
        if not wrong:
            sound.append(one.head.seq)
    newest = f", the newest of them entry {max(sound)}" if sound else ""
    return f"kept heads in this file: {len(sound)} of {len(kept)}{newest}", findings
