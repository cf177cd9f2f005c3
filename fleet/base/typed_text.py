"""Texts that people type into the fields of an entry: kept with its note, so that they can be blanked.

The body, its hash and the derived tables hold only the text's place, ``text of entry 812: origin``. What is
kept of the note is then the record separator and a JSON object (RFC 7464): the note, and the texts by place.
"""

import json
import re
import sqlite3
from collections.abc import Mapping
from typing import Any, Final

_RECORD: Final = "\x1e"
HAS_TEXTS: Final = "text GLOB char(30) || '*'"
"""Of a row of `notes`: whether typed texts are kept in it."""
_HAS_NOTES: Final = "SELECT 1 FROM sqlite_schema WHERE name = 'notes'"
_PLACE: Final = re.compile(r"text of entry (\d+): ([a-z_.0-9]+)")


def place_of(seq: int, field: str) -> str:
    """Return what the body says instead of the text."""
    return f"text of entry {seq}: {field}"


def is_place(text: object) -> bool:
    """Return whether the text is the place of another."""
    return isinstance(text, str) and _PLACE.fullmatch(text) is not None


def kept_text(note: str, texts: Mapping[str, str]) -> str:
    """Return what is kept apart from an entry: its note, with the typed texts where there are any."""
    if not texts and not note.startswith(_RECORD):
        return note
    return _RECORD + json.dumps({"note": note, "texts": texts}, ensure_ascii=False, sort_keys=True)


def note_in(kept: str | None) -> str | None:
    """Return the note of what is kept; None where there is none."""
    return _read(kept)["note"] or None if kept is not None and kept.startswith(_RECORD) else kept


def texts_in(value: Any, kept: str | None, blanked_by: int | None) -> Any:
    """Return a value of an entry's body with its own texts in their places; ``kept`` is None once blanked."""
    if isinstance(value, dict):
        return {key: texts_in(inner, kept, blanked_by) for key, inner in value.items()}
    if isinstance(value, list):
        return [texts_in(inner, kept, blanked_by) for inner in value]
    found = _PLACE.fullmatch(value) if isinstance(value, str) else None
    if found is None or (kept is None and blanked_by is None):
        return value
    return f"(blanked by entry {blanked_by})" if kept is None else _read(kept)["texts"].get(found[2], value)


def said(connection: sqlite3.Connection, value: Any) -> Any:
    """Return a value of the derived tables with the texts in their places, each from its own entry.

    Tables derived again in memory, to be compared, have no notes: the place stands for the text there.
    """
    if isinstance(value, dict):
        return {key: said(connection, inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [said(connection, inner) for inner in value]
    found = _PLACE.fullmatch(value) if isinstance(value, str) else None
    if found is None or not connection.execute(_HAS_NOTES).fetchone():
        return value
    row = connection.execute("SELECT text, redacted_by FROM notes WHERE seq = ?", (int(found[1]),)).fetchone()
    return texts_in(value, *row) if row else value


def _read(kept: str) -> dict[str, Any]:
    if not kept.startswith(_RECORD):
        return {"note": kept, "texts": {}}
    read: dict[str, Any] = json.loads(kept[1:])
    return read
