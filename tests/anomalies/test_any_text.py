"""Hypothesis on the JSON of entries, on names and on every text field: kept exactly, or refused."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings, strategies as st

from fleet.audit.full import audit_file
from fleet.base.entries import canonical_json, checked_name, entry_hash, note_digest
from fleet.base.errors import MountbookError
from fleet.base.shown_text import harmless
from fleet.ledger.history import pair_history
from fleet.ledger.ledger import Ledger
from planner.paper.ski_view.ski_words import pair_json, pair_lines

NOON = datetime(2026, 12, 28, 12, 0, tzinfo=UTC)

ANY_TEXT = st.text(st.characters(), max_size=40)  # surrogates, controls, everything
WHOLE = st.integers(-(2**53) + 1, 2**53 - 1)
JSON = st.recursive(
    st.none() | st.booleans() | WHOLE | st.text(max_size=20).filter(lambda text: "\0" not in text),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(max_size=8).filter(lambda text: "\0" not in text), inner, max_size=4)
    ),
    max_leaves=20,
)
BODIES = st.dictionaries(st.text(max_size=8).filter(lambda text: "\0" not in text), JSON, max_size=6)
THINGS = JSON | st.floats() | st.binary(max_size=3) | ANY_TEXT | st.integers() | st.datetimes()

quick = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@settings(max_examples=40, deadline=None)
@given(BODIES)
def test_a_body_reads_back_as_it_was_and_has_one_text(body: dict[str, Any]) -> None:
    text = canonical_json(body)
    assert json.loads(text) == body
    assert canonical_json(json.loads(text)) == text
    assert canonical_json(dict(reversed(list(body.items())))) == text


@given(st.dictionaries(ANY_TEXT, THINGS, max_size=4))
@example({"n": 2**53})
@example({"t": "\ud800"})
@example({"t": "\\u0000"})
def test_anything_at_all_is_kept_exactly_or_refused(body: dict[str, Any]) -> None:
    try:
        text = canonical_json(body)
    except ValueError:
        return
    assert json.loads(text.encode()) == body


def plainly(said: object) -> str:
    """The text as FORMATS writes it, by the reader and writer of Python itself."""
    return json.dumps(said, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


@settings(max_examples=60, deadline=None)
@given(BODIES)
def test_the_text_of_a_body_is_the_plain_one(body: dict[str, Any]) -> None:
    assert canonical_json(body) == plainly(body)


def test_every_character_has_the_plain_text_as_a_key_and_as_a_value_and_in_the_hash() -> None:
    every = [chr(code) for code in range(1, 0x110000) if not 0xD800 <= code < 0xE000]
    for start in range(0, len(every), 500):
        body: dict[str, Any] = {each: f"{each}a" for each in every[start : start + 500]}
        assert canonical_json(body) == plainly(body)
    said = dict.fromkeys(FIELDS, "".join(every))
    plain = [7, *list(said.values())[:6], None, said["prev_hash"]]
    digest = hashlib.sha256(plainly(plain).encode()).hexdigest()
    assert entry_hash(seq=7, note_hash=None, **said) == digest


@settings(max_examples=40, deadline=None)
@given(BODIES, BODIES)
def test_two_bodies_never_share_a_text(one: dict[str, Any], other: dict[str, Any]) -> None:
    """Python says 1 == True; a ledger must not."""
    if repr(_typed(one)) != repr(_typed(other)):
        assert canonical_json(one) != canonical_json(other)


def _typed(value: Any) -> Any:
    if isinstance(value, dict):
        return sorted((key, _typed(inner)) for key, inner in value.items())
    if isinstance(value, list):
        return [_typed(inner) for inner in value]
    return (type(value).__name__, value)


FIELDS = ("recorded_at_utc", "stated_at_utc", "zone", "by", "what", "body_json", "prev_hash")
CLEAN = st.text(max_size=20)


@given(st.fixed_dictionaries(dict.fromkeys(FIELDS, CLEAN)), st.sampled_from(FIELDS), CLEAN)
def test_the_hash_covers_every_field_and_no_text_can_slide_from_one_into_the_next(
    said: dict[str, str], field: str, other: str
) -> None:
    digest = entry_hash(seq=5, note_hash=None, **said)
    if other != said[field]:
        assert entry_hash(seq=5, note_hash=None, **(said | {field: other})) != digest
    moved = said | {"by": said["by"] + said["what"][:1], "what": said["what"][1:]}
    if moved != said:
        assert entry_hash(seq=5, note_hash=None, **moved) != digest
    assert entry_hash(seq=6, note_hash=None, **said) != digest
    assert entry_hash(seq=5, note_hash="", **said) != digest


@given(CLEAN, CLEAN)
def test_a_note_is_tied_to_its_salt(salt: str, text: str) -> None:
    assert note_digest(salt, text) != note_digest(salt + "0", text)


@given(ANY_TEXT)
def test_a_name_is_kept_in_one_form_or_refused(name: str) -> None:
    try:
        kept = checked_name(name)
    except ValueError:
        return
    assert checked_name(kept) == kept
    assert kept == kept.strip()
    assert kept.isprintable()


@pytest.fixture
def open_ledger(path: Path) -> Any:
    with Ledger.open(path) as ledger:
        ledger.connection.execute("PRAGMA synchronous = OFF")
        yield ledger


@quick
@given(by=ANY_TEXT, tag=ANY_TEXT, text=ANY_TEXT, note=ANY_TEXT)
@example(by="Ida", tag="'; DROP TABLE entries; --", text="=1+1", note="\x1b[2J")
@example(by="Ida", tag='"}', text="{{}}", note="%s %d {0}")
@example(by="Ida", tag="", text="", note="")
def test_every_text_of_a_pair_and_a_boot_is_kept_exactly_or_refused_and_the_audit_is_clean(
    open_ledger: Ledger, by: str, tag: str, text: str, note: str
) -> None:
    ski = dict.fromkeys(("mark_from_tail_um", "zone_back_um", "zone_front_um", "zone_half_width_um"))
    pair = {
        "tag": tag,
        "model": text,
        "kind": "alpine",
        "length_mm": 1700,
        "waist_um": None,
        "construction": None,
        "rack": text,
        "earlier_mounts": 0,
        "skis": {"A": ski, "B": ski},
    }
    boot = {
        "tag": tag,
        "model": text,
        "mondopoint_mm": None,
        "bsl_um": None,
        "bsl_measured": text,
        "sole_type": text,
        "season": text,
        "pin_um": None,
    }
    before = open_ledger.head
    try:
        with open_ledger.transaction(by=by, now=NOON) as tx:
            tx.enter("pair recorded", pair, note=note)
            tx.enter("boot recorded", boot, note=note)
            head = tx.head
    except MountbookError:
        assert open_ledger.head == before
        return
    assert open_ledger.head == head
    history = pair_history(open_ledger, tag)
    assert (history.pair.tag, history.pair.model, history.entries[-1].note) == (tag, text, note or None)
    lines = list(pair_lines(history))
    assert all("\x1b" not in harmless(line) for line in lines)
    assert json.loads(json.dumps(pair_json(history)))["model"] == text
    report = audit_file(open_ledger.path, now=NOON)
    assert report.sound, list(report.lines())


@quick
@given(what=ANY_TEXT, body=st.dictionaries(ANY_TEXT, THINGS, max_size=5))
def test_no_entry_of_any_shape_crashes_the_door(open_ledger: Ledger, what: str, body: dict[str, Any]) -> None:
    before = open_ledger.head
    with pytest.raises(MountbookError), open_ledger.transaction(by="Ida", now=NOON) as tx:
        tx.enter(what, body)
    assert open_ledger.head == before


@quick
@given(st.data())
def test_every_kind_of_entry_refuses_a_wrong_body_with_a_sentence(open_ledger: Ledger, data: Any) -> None:
    """Each kind the program knows, given a body that looks a little like its own."""
    from fleet.events import KINDS

    what = data.draw(st.sampled_from(sorted(KINDS)))
    keys = (
        "tag",
        "side",
        "holes",
        "changes",
        "entry",
        "what",
        "body",
        "hole_id",
        "number",
        "revision",
        "moved",
    )
    body = data.draw(
        st.dictionaries(st.sampled_from(keys), JSON | st.sampled_from(["P-1", "A", "P-1/A1"]), max_size=8)
    )
    before = open_ledger.head
    try:
        with open_ledger.transaction(by="Ida", now=NOON) as tx:
            tx.enter(what, body)
    except MountbookError:
        assert open_ledger.head == before
        return
    assert audit_file(open_ledger.path, now=NOON).sound
