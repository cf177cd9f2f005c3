"""Values sealed part by part: one digest for all, and any part of it can be shown without the others.

Each part has a key of its own, made from that of the whole by its name (HMAC-SHA256, RFC 2104), and is hashed
together with it: a part that is not shown cannot be found by trying, however few values it may have.
`planner/exchange/check_case.py` computes the same from what is shown, and shares no line with this.
"""

import hashlib
import hmac
from collections.abc import Iterator
from json.encoder import encode_basestring
from typing import Any, Final

Opening = dict[str, Any]
"""``key`` of a part shown whole, ``parts`` of one shown in part, ``hidden`` digest of one that is not."""
_PLAIN: Final = b"\2"
_WITHIN: Final = b"\3"
_OBJECT: Final = b"\4"
_LIST: Final = b"\5"
_WORDS: Final = {True: "true", False: "false", None: "null"}


def part_key(key: bytes, name: str) -> bytes:
    """Return the key of a part."""
    return hmac.digest(key, name.encode(), "sha256")


def sealed(value: Any, key: bytes) -> bytes:
    """Return the digest of an object or a list."""
    kind = _OBJECT if isinstance(value, dict) else _LIST
    return hashlib.sha256(kind + b"".join(_sealed_part(*part) for part in _parts(value, key))).digest()


def opening(value: Any, shown: Any, key: bytes) -> Opening:
    """Return what opens of an object or a list as much as ``shown`` says truly; the rest stays hidden."""
    if shown == value:
        return {"key": key.hex()}
    within = dict(_parts_by_name(shown))
    parts: Opening = {}
    for name, inner, inner_key in _parts(value, key):
        told = within.get(name, _NOT_SHOWN)
        if told == inner and type(told) is type(inner):
            parts[name] = {"key": inner_key.hex()}
        elif _alike(inner, told):
            parts[name] = opening(inner, told, inner_key)
        else:
            parts[name] = {"hidden": _sealed_part(name, inner, inner_key).hex()}
    return {"parts": parts}


_NOT_SHOWN: Final = object()


def _alike(value: Any, shown: Any) -> bool:
    """Return whether both are objects, or lists of one length: shown part by part."""
    if isinstance(value, list):
        return isinstance(shown, list) and len(shown) == len(value)
    return isinstance(value, dict) and isinstance(shown, dict)


def _parts_by_name(value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        yield from sorted(value.items())
    else:
        yield from ((str(number), each) for number, each in enumerate(value))


def _parts(value: Any, key: bytes) -> Iterator[tuple[str, Any, bytes]]:
    for name, inner in _parts_by_name(value):
        yield name, inner, part_key(key, name)


def _sealed_part(name: str, value: Any, key: bytes) -> bytes:
    if isinstance(value, dict | list):
        said = _WITHIN + encode_basestring(name).encode() + sealed(value, key)
    else:
        said = _PLAIN + key + f"[{encode_basestring(name)},{_as_json(value)}]".encode()
    return hashlib.sha256(said).digest()


def _as_json(value: str | int | None) -> str:
    """Return a text, a whole number, true, false or null as JSON writes it; all that an entry holds."""
    if isinstance(value, str):
        return str(encode_basestring(value))
    return _WORDS[value] if value is None or isinstance(value, bool) else repr(value)
