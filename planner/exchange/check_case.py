#!/usr/bin/env python3
"""Check a case.json and its case.proof.json without the program or the ledger that made them.

It needs Python 3.11 and nothing else; where the library `cryptography` is there too, the signature is
checked. It says what the files show, what they cannot show, and what is not right, in that order. Exit code
0: nothing is wrong; 1: something is; 2: wrong usage.

Example: python check_case.py case.json --head "HEAD 1285:A3F920C1..."
"""

import argparse
import hashlib
import hmac
import json
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

_JSON = json.JSONEncoder(sort_keys=True, ensure_ascii=False, separators=(",", ":"))
_PRINTED = re.compile(r"\s*(?:HEAD\s+)?(\d{1,15})\s*:\s*([0-9a-fA-F]{8,64})\s*")
_LEFT_OUT = re.compile(r"left out here \((.*)\)", re.DOTALL)
_PERSON = re.compile(r"person \d+ \(.*\)")
_NEVER_SHOWN = {"zone", "note_hash", "hash"}
_OF_OTHER_PAIRS = {"stock counted": {"not_seen", "unexpected"}}
"""By kind of entry: lists of which a case shows what they say of its own pair, and no proof covers that."""
_CANNOT = (
    "that what people entered was true, or that they entered all that happened",
    "that the case has every entry about the pair: only the shop's ledger can (mountbook case-check)",
    "who the numbered persons are, and that their numbers and roles are right",
    "texts, which are left out, and that the program that drew the state of the skis was right",
    "at what hour an entry was written: the shop's own clock says so",
)


@dataclass
class Report:
    """The findings of a check, each as a sentence."""

    shows: list[str] = field(default_factory=list)
    cannot: list[str] = field(default_factory=lambda: list(_CANNOT))
    wrong: list[str] = field(default_factory=list)

    def lines(self) -> Iterator[str]:
        """Yield the report, a sentence a line."""
        for title, sentences in (
            ("What this shows", self.shows),
            ("What it cannot show", self.cannot),
            ("What is not right", self.wrong or ["nothing was found"]),
        ):
            yield f"{title}:"
            yield from (f"  - {sentence}" for sentence in sentences)


@dataclass(frozen=True)
class OutsideHead:
    """A head that came another way than the case. ``signed``: the whole signed line; None if printed."""

    entry: int
    hash: str
    signed: dict[str, Any] | None = None


def check(data: bytes, proof: Any, heads: Sequence[OutsideHead] = (), key: str = "") -> Report:
    """Check the bytes of case.json against a proof, as read from its file, and heads from outside."""
    report = Report()
    try:
        case = json.loads(data)
        rows = [*case["history"], *case["entered_later"]]
        _ = [(row["seq"], row["what"], row["body"].items()) for row in rows]
    except (ValueError, KeyError, TypeError, AttributeError):
        report.wrong.append("case.json cannot be read as a case: it was changed, or it is another file")
        return report
    try:
        _check_all(report, data, case, proof, heads, key)
    except (ValueError, KeyError, TypeError, AttributeError, IndexError) as fault:
        report.wrong.append(f"the proof cannot be read: it was changed ({fault!r})")
    return report


def _check_all(
    report: Report, data: bytes, case: Any, proof: Any, heads: Sequence[OutsideHead], key: str
) -> None:
    head = proof["head"]
    _signature(report, head, key, "the head in the proof")
    _made(report, data, proof)
    _order(report, case)
    _entries(report, [*case["history"], *case["entered_later"]], proof)
    for one in heads:
        _outside(report, proof, one, key)
    if not heads:
        report.cannot.append(
            "that these files were not made up as a whole: nothing from outside was given. A line of the"
            " shop's witness, or the code on any sheet printed before, is given with --head"
        )


def _signature(report: Report, head: dict[str, Any], key: str, name: str) -> None:
    if not head["signature"]:
        report.cannot.append(f"which machine made {name}: it bears no signature")
        return
    if key and head["key"] != key:
        report.wrong.append(f"{name} bears the key {head['key'][:8]}, not the one that was given")
        return
    try:
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    except ImportError:
        report.cannot.append(
            f"that the signature of {name} fits: NOT CHECKED, because the library `cryptography` is not here"
        )
        return
    facts = ("mountbook head", head["shop"], head["ledger"], str(head["entry"]), head["hash"], head["at"])
    root = (head["root"],) if head.get("root") else ()
    try:
        public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(head["key"]))
        public.verify(bytes.fromhex(head["signature"]), "\n".join((*facts, head["key"], *root)).encode())
    except (InvalidSignature, ValueError):
        report.wrong.append(f"{name} bears a signature that does not fit: it was changed")
        return
    whose = "" if key else "; whose key that is, the shop has to say by another way"
    report.shows.append(f"{name} was signed with the key {head['key'][:8]}{whose}")


def _made(report: Report, data: bytes, proof: Any) -> None:
    """Compare case.json with the hash in the entry that names it."""
    head, made = proof["head"], proof["made"]
    number = made["entry"]["seq"]
    digest = hashlib.sha256(data).hexdigest()
    if made["entry"]["what"] != "case made" or not _in_tree(made["entry"], made, head):
        report.wrong.append(f"entry {number}, which is to name case.json, is not in the tree of the head")
    elif made["entry"]["body"]["sha256"] != digest:
        report.wrong.append(
            f"case.json is not the file that entry {number} names: it was changed since, or is another case"
        )
    else:
        report.shows.append(f"case.json is, byte for byte, the file that entry {number} of the ledger names")


def _order(report: Report, case: Any) -> None:
    for part in ("history", "entered_later"):
        numbers = [row["seq"] for row in case[part]]
        for one, other in pairwise(numbers):
            if one == other:
                report.wrong.append(f"entry {one} stands twice in case.json")
            elif one > other:
                report.wrong.append(
                    f"entry {other} stands after entry {one} in case.json: the order was changed"
                )


def _entries(report: Report, rows: Sequence[Any], proof: Any) -> None:
    """Look for every entry, as case.json tells it, in the ledger's tree."""
    proofs = {one["seq"]: one for one in proof["entries"]}
    good = 0
    for row in rows:
        one = proofs.get(row["seq"])
        if one is None:
            report.wrong.append(f"entry {row['seq']} has no proof: it was added to case.json")
        elif not _in_tree(row, one, proof["head"]):
            report.wrong.append(
                f"entry {row['seq']} is not in the ledger as case.json tells it: one of them was changed"
            )
        else:
            faults = list(_not_proved(row, one["opening"]))
            report.wrong += faults
            good += not faults
            report.cannot += _of_others(row)
    told = {row["seq"] for row in rows}
    report.wrong += [
        f"entry {seq} is missing in case.json: it was dropped" for seq in proofs if seq not in told
    ]
    report.shows.append(
        f"{good} of {len(rows)} entries in case.json stand in the ledger as told, each at its number, in the"
        f" tree of {proof['head']['entry']} entries"
    )


def _of_others(row: Any) -> Iterator[str]:
    names = sorted(_OF_OTHER_PAIRS.get(row["what"], set()) & set(row["body"]))
    if names:
        yield f"entry {row['seq']}: what is told of {' and '.join(names)}, which name other pairs too"


def _not_proved(row: Any, opening: Any) -> Iterator[str]:
    """Name what an entry shows without proof, and what it hides though it is nobody's name."""
    may_differ = _OF_OTHER_PAIRS.get(row["what"], set())
    for place, hidden in _hidden(opening, ()):
        if place[0] in _NEVER_SHOWN or (place[0] == "body" and len(place) > 1 and place[1] in may_differ):
            continue
        shown: Any = row
        for name in place:
            shown = shown[int(name)] if isinstance(shown, list) else shown.get(name, "")
        if not (isinstance(shown, str) and (_PERSON.fullmatch(shown) or _LEFT_OUT.fullmatch(shown))):
            where = " ".join(place)
            yield f"entry {row['seq']}: its {where} is told without proof ({hidden[:8]}): it was changed"


def _hidden(opening: Any, place: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    if "hidden" in opening:
        yield place, opening["hidden"]
    for name, inner in opening.get("parts", {}).items():
        yield from _hidden(inner, (*place, name))


def _outside(report: Report, proof: Any, one: OutsideHead, key: str) -> None:
    """Hold the proof against a head that came another way."""
    head, name = proof["head"], f"the head {one.entry}:{one.hash[:8]} from outside"
    if one.signed is not None:
        _signature(report, one.signed, key, name)
        if one.signed["ledger"] != head["ledger"]:
            report.wrong.append(f"{name} is of another ledger than the case")
            return
    short = "" if len(one.hash) == 64 else "; it was compared by its first digits only"
    root = one.signed.get("root", "") if one.signed is not None else ""
    earlier = {each["entry"]: each for each in proof["earlier"]}.get(one.entry)
    sheet = {each["entry"]["seq"]: each for each in proof["sheets"]}.get(one.entry)
    if one.entry == head["entry"]:
        if head["hash"].startswith(one.hash) and root in ("", head["root"]):
            report.shows.append(f"{name} is the head that the proof leads to{short}")
        else:
            report.wrong.append(
                f"{name} is not the head in the proof: another ledger, or one of them was changed"
            )
    elif one.entry > head["entry"]:
        report.wrong.append(f"{name} is newer than the case: ask the shop for the case made again")
    elif root and earlier is not None:
        if earlier["root"] == root and _consistent(
            one.entry, head["entry"], root, head["root"], earlier["proof"]
        ):
            report.shows.append(
                f"the first {one.entry} entries, all of them, are those that the ledger had when {name} was"
                " signed"
            )
        else:
            report.wrong.append(
                f"{name} is not of the ledger that made the case, or entries before it were changed since"
            )
    elif sheet is not None:
        if sheet["entry"]["hash"].startswith(one.hash) and _in_tree(sheet["entry"], sheet, head):
            report.shows.append(f"entry {one.entry} of the tree bears the hash of {name}{short}")
        else:
            report.wrong.append(f"{name} is not that of entry {one.entry} of the ledger that made the case")
    else:
        report.wrong.append(
            f"{name} is older than the case, and the proof does not lead to it: ask the shop for"
            f" `mountbook case ... --head {one.entry}:{one.hash}`"
        )


def _in_tree(shown: Any, one: Any, head: dict[str, Any]) -> bool:
    """RFC 9162, 2.1.3.2, for the leaf of an entry as it is shown."""
    index, last = shown["seq"] - 1, head["entry"] - 1
    if not 0 <= index <= last:
        return False
    leaf = hashlib.sha256(b"\0" + _sealed(_told(shown), one["opening"])).digest()
    found = _climbed(index, last, leaf, [bytes.fromhex(text) for text in one["path"]])
    return found is not None and found[1].hex() == str(head["root"])


def _consistent(first: int, second: int, first_root: str, second_root: str, proof: Sequence[str]) -> bool:
    """RFC 9162, 2.1.4.2."""
    path = [bytes.fromhex(text) for text in proof]
    if first == second:
        return not path and first_root == second_root
    if not path or not 0 < first < second:
        return False
    if first & (first - 1) == 0:
        path.insert(0, bytes.fromhex(first_root))
    index, last = first - 1, second - 1
    while index & 1:
        index, last = index >> 1, last >> 1
    found = _climbed(index, last, path[0], path[1:])
    return found is not None and (found[0].hex(), found[1].hex()) == (first_root, second_root)


def _climbed(index: int, last: int, node: bytes, path: Sequence[bytes]) -> tuple[bytes, bytes] | None:
    """Return the roots to which a path leads from a node, as both rules of RFC 9162 climb: the one over what
    stands left of the node alone, and the one over all; None where the path has another length.
    """
    left = whole = node
    for other in path:
        if last == 0:
            return None
        if index & 1 or index == last:
            left, whole = _node(other, left), _node(other, whole)
            while index and not index & 1:
                index, last = index >> 1, last >> 1
        else:
            whole = _node(whole, other)
        index, last = index >> 1, last >> 1
    return (left, whole) if last == 0 else None


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\1" + left + right).digest()


def _told(value: Any) -> Any:
    """Return what is shown, with the places that the ledger has where a case says that it left a text out."""
    if isinstance(value, dict):
        return {name: _told(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_told(inner) for inner in value]
    found = _LEFT_OUT.fullmatch(value) if isinstance(value, str) else None
    return found[1] if found else value


def _sealed(shown: Any, opening: Any) -> bytes:
    """Return the digest of an object or a list, of whose parts those that are hidden are given as digests."""
    kind = b"\4" if isinstance(shown, dict) else b"\5"
    if "key" in opening:
        key = bytes.fromhex(opening["key"])
        parts = [
            _sealed_part(name, inner, {"key": hmac.digest(key, name.encode(), "sha256").hex()})
            for name, inner in _by_name(shown)
        ]
    else:
        within = dict(_by_name(shown))
        names = list(opening["parts"]) if kind == b"\5" else sorted(opening["parts"])
        parts = [_sealed_part(name, within.get(name), opening["parts"][name]) for name in names]
    return hashlib.sha256(kind + b"".join(parts)).digest()


def _by_name(value: Any) -> list[tuple[str, Any]]:
    return sorted(value.items()) if isinstance(value, dict) else [(str(n), v) for n, v in enumerate(value)]


def _sealed_part(name: str, shown: Any, opening: Any) -> bytes:
    if "hidden" in opening:
        return bytes.fromhex(opening["hidden"])
    if isinstance(shown, dict | list):
        said = b"\3" + _JSON.encode(name).encode() + _sealed(shown, opening)
    else:
        said = b"\2" + bytes.fromhex(opening["key"]) + _JSON.encode([name, shown]).encode()
    return hashlib.sha256(said).digest()


def outside_heads(text: str) -> list[OutsideHead]:
    """Return the heads in a printed line, or in signed lines. Raises ValueError where there is none."""
    found = []
    for line in filter(None, map(str.strip, text.splitlines())):
        printed = _PRINTED.fullmatch(line)
        if printed is not None:
            found.append(OutsideHead(int(printed[1]), printed[2].lower()))
            continue
        try:
            signed = json.loads(line)
            found.append(OutsideHead(int(signed["entry"]), str(signed["hash"]), signed))
        except (ValueError, KeyError, TypeError) as fault:
            raise ValueError(f"{line[:60]!r} is no head") from fault
    if not found:
        raise ValueError("there is no head in it")
    return found


def _given(text: str) -> list[OutsideHead]:
    path = Path(text)
    return outside_heads(path.read_text(encoding="utf-8") if ":" not in text or path.is_file() else text)


def main(arguments: Sequence[str] | None = None) -> int:
    """Check the files named on the command line, print the report, and return the exit code."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("case", type=Path, help="case.json")
    parser.add_argument("proof", type=Path, nargs="?", help="case.proof.json; else the one beside case.json")
    parser.add_argument(
        "--head",
        action="append",
        default=[],
        help="a printed line like 1285:a3f920c1, a signed line, or a file of such lines; may be repeated",
    )
    parser.add_argument(
        "--key", default="", help="the key that the shop's machine signs with, if you know it"
    )
    given = parser.parse_args(arguments)
    try:
        heads = [head for text in given.head for head in _given(text)]
        data = given.case.read_bytes()
        proof = json.loads((given.proof or given.case.with_name("case.proof.json")).read_bytes())
    except (OSError, ValueError) as fault:
        print(f"cannot be read: {fault}", file=sys.stderr)
        return 2
    report = check(data, proof, heads, given.key.lower())
    for line in report.lines():
        print(line)
    return 1 if report.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
