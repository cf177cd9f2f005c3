"""The proof that goes with a case: each of its entries belongs to a signed head of the ledger.

`planner/exchange/check_case.py`, which is written out beside it, checks it without this program.
"""

import json
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import msgspec

from fleet.audit.daily import first_hash, kept_heads
from fleet.audit.entry_tree import EntryTree, entry_opening, entry_parts, entry_tree, sealing_key
from fleet.audit.heads import head_line, machine_key
from fleet.base.entries import Entry, Head
from fleet.base.errors import BadInput, LedgerFault, Refused
from fleet.base.typed_text import is_place
from fleet.events.settings import SealingBegun, new_sealing_key
from fleet.ledger.ledger import Ledger, read_entries

_MOST_HEADS: Final = 400
_BEFORE: Final = "left out here ("
_MADE: Final = ("seq", "at", "written_at", "what", "body")
_SHOWN: Final = (*_MADE, "by")


def case_proof(
    ledger: Ledger, data: bytes, made: int, *, sheets: Sequence[Head], now: datetime, key: Path
) -> bytes:
    """Return the proof of a case.json as JSON.

    ``made``: the entry that names its hash; ``sheets``: printed heads, which the proof leads to as well.
    """
    case = json.loads(data)
    rows = [*case["history"], *case["entered_later"]]
    entries = {row["seq"]: _written_entry(ledger, row["seq"]) for row in rows}
    last = _written_entry(ledger, made)
    with entry_tree(ledger) as tree:
        sealing = sealing_key(ledger.connection)
        if tree is None or sealing is None:
            raise LedgerFault("this ledger has no sealing key", cure="run the command once more")
        tree.grow()
        if not all(tree.holds(entry) for entry in entries.values()):
            tree.begin_again()
            tree.grow()

        def part(entry: Entry, shown: dict[str, Any]) -> dict[str, Any]:
            return {"opening": entry_opening(entry, shown, sealing), "path": tree.inclusion(entry.seq, made)}

        proof = {
            "about": "the proof of a case.json; check_case.py checks it",
            "head": _head(ledger, tree, last, now=now, key=key),
            "made": {"entry": _of(last, *_MADE)} | part(last, _of(last, *_MADE)),
            "entries": [
                {"seq": row["seq"]}
                | part(entries[row["seq"]], _as_entered({name: row[name] for name in _SHOWN}))
                for row in rows
            ],
            "earlier": list(_earlier(ledger, tree, made)),
            "sheets": [
                {"entry": shown} | part(entry, shown)
                for head in sheets
                for entry in (_written_entry(ledger, head.seq),)
                for shown in (_of(entry, "seq", "hash"),)
            ],
        }
    return (json.dumps(proof, ensure_ascii=False, separators=(",", ":"), sort_keys=True) + "\n").encode()


def _written_entry(ledger: Ledger, seq: int) -> Entry:
    (entry,) = read_entries(ledger.connection, after=seq - 1, until=seq, as_written=True)
    return entry


def left_out(place: str) -> str:
    """Return what a case says where a typed text stands in the ledger."""
    return f"{_BEFORE}{place})"


def _as_entered(value: Any) -> Any:
    """Return what is shown of an entry with the places as the ledger has them."""
    if isinstance(value, dict):
        return {name: _as_entered(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_as_entered(inner) for inner in value]
    if isinstance(value, str) and value.startswith(_BEFORE) and is_place(value[len(_BEFORE) : -1]):
        return value[len(_BEFORE) : -1]
    return value


def _of(entry: Entry, *names: str) -> dict[str, Any]:
    return {name: value for name, value in entry_parts(entry).items() if name in names}


def checked_heads(ledger: Ledger, heads: Sequence[Head]) -> Sequence[Head]:
    """Return the printed heads. Raises Refused for one that is not in this ledger."""
    for head in heads:
        row = ledger.connection.execute("SELECT hash FROM entries WHERE seq = ?", (head.seq,)).fetchone()
        if row is None or not str(row[0]).startswith(head.hash):
            raise Refused(
                f"the printed head {head} is not in this ledger", cure=f"see mountbook audit --head {head}"
            )
    return heads


def begin_sealing(ledger: Ledger, *, by: str, now: datetime) -> None:
    """Give an older ledger, which was begun without one, its sealing key by an entry of its own."""
    if sealing_key(ledger.connection) is None:
        with ledger.transaction(by=by, now=now) as transaction:
            transaction.enter(SealingBegun(), note=new_sealing_key())


def _head(ledger: Ledger, tree: EntryTree, last: Entry, *, now: datetime, key: Path) -> dict[str, Any]:
    """Return the signed head of the tree; without a signature where this machine can have no key."""
    head, root = Head(last.seq, last.hash), tree.root(last.seq)
    told: dict[str, Any] = {
        "shop": ledger.shop, "ledger": first_hash(ledger), "entry": head.seq, "hash": head.hash,
        "at": "", "key": "", "signature": "", "root": root,
    }  # fmt: skip
    try:
        line = head_line(
            head, shop=told["shop"], ledger=told["ledger"], now=now, key=machine_key(key), root=root
        )
    except BadInput:
        return told
    return told | msgspec.structs.asdict(line)


def _earlier(ledger: Ledger, tree: EntryTree, made: int) -> Iterator[dict[str, Any]]:
    """Yield a proof from each signed head that is kept elsewhere: its entries are the beginning of the tree.

    The hashes of those heads are left out: two that follow each other would let names be tried.
    """
    signed = {kept.head.seq for kept in kept_heads(ledger) if not kept.fault and 0 < kept.head.seq < made}
    for seq in sorted(signed)[-_MOST_HEADS:]:
        yield {"entry": seq, "root": tree.root(seq), "proof": tree.consistency(seq, made)}
