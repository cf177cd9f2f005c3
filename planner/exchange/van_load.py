"""A van's load as files: what the sending shop's ledger says of each thing, sealed, and taken in elsewhere.

Each thing has a folder of its own, written and read like any export: with holes, mounts, notes and stops.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final, cast

from fleet.base.days import day_at
from fleet.base.errors import Refused
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from planner.exchange.comes_home import as_of_home, bindings_as_known
from planner.exchange.export.folder import DESCRIPTOR, write_part
from planner.exchange.export.whole_file import write_whole
from planner.exchange.intake import apply, look_at
from planner.plan.chain import VanThing, boots_as_received, id_there

LOAD_FILE: Final = "load.json"
_TABLES: Final = frozenset({"pairs", "skis", "areas", "holes", "mounts", "bindings", "boots"})


def write_load(
    fleet: Fleet, folder: Path, things: Iterable[tuple[VanThing, tuple[str, ...]]], *, there: str
) -> str:
    """Write what the ledger says of these things, and return the hash that seals all of it.

    ``there``: the shop that they go to, as its ledger calls itself.
    """
    seals = {}
    for thing, names in things:
        write_part(_only(fleet, thing, names, there), folder / names[0], _TABLES)
        seals[names[0]] = _hash(folder / names[0] / DESCRIPTOR)
    text = json.dumps(seals, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
    write_whole(folder / LOAD_FILE, text.encode())
    return hashlib.sha256(text.encode()).hexdigest()


def _only(fleet: Fleet, thing: VanThing, names: tuple[str, ...], there: str) -> Fleet:
    """The fleet with one thing in it: a pair with its bindings, boots, or bindings."""
    kept = fleet.bindings_on(names[0]).values() if thing is VanThing.PAIR else ()
    own = {b.binding_id for b in kept} | (set(names) if thing is VanThing.BINDINGS else set())
    ids = {name: id_there(name, fleet.shop, there) for name in sorted(own)}
    return replace(
        fleet,
        pairs={names[0]: fleet.pairs[names[0]]} if thing is VanThing.PAIR else {},
        boots={names[0]: boots_as_received(fleet.boots[names[0]])} if thing is VanThing.BOOT else {},
        bindings={new: replace(fleet.bindings[name], binding_id=new) for name, new in ids.items()},
        notes=tuple(
            replace(note, binding_id=ids[note.binding_id]) if note.binding_id in ids else note
            for note in fleet.notes
        ),
    )


def check_load(folder: Path, sha256: str) -> None:
    """Raises Refused unless every file is as it was when the van left."""
    seals = _read(folder / LOAD_FILE)
    if _hash(folder / LOAD_FILE) != sha256:
        raise Refused(f"{folder / LOAD_FILE} is not the one that was sent", cure="fetch it from there again")
    for name, seal in seals.items():
        said = _read(folder / name / DESCRIPTOR)
        files = {each["path"]: each["hash"] for each in said["resources"]}
        whole = all(f"sha256:{_hash(folder / name / path)}" == digest for path, digest in files.items())
        if _hash(folder / name / DESCRIPTOR) != seal or not whole:
            raise Refused(f"what goes along with {name} was changed", cure="fetch it from there again")


def bring_in(ledger: Ledger, folder: Path, name: str, *, other: str, by: str, now: datetime) -> None:
    """Enter all that goes along with a thing. Raises Refused where anything of it is in question.

    ``other``: the shop that it comes from, as its ledger calls itself.
    """
    today, fleet = day_at(now, ledger.zone), read_fleet(ledger.connection)
    proposal = look_at(ledger, [folder / name], today=today, as_new=name)
    if proposal.outcome != "import":
        asked = [f for f in proposal.findings if f.severity in ("question", "bad")]
        why = asked[0].message if asked else "nothing in it is understood"
        raise Refused(f"{name} is not taken in: {why}", cure=f"look at it: mountbook import {folder / name}")
    came_home = name in fleet.pairs or name in fleet.boots
    entries = proposal.entries if not came_home else as_of_home(fleet, proposal.entries, other=other)
    proposal = replace(proposal, entries=bindings_as_known(fleet, entries))
    apply(ledger.path, proposal, ledger=ledger, by=by, now=now, shop="", zone=ledger.zone, strict=True)


def _read(path: Path) -> Mapping[str, Any]:
    try:
        return cast(Mapping[str, Any], json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError) as fault:
        raise Refused(f"{path} cannot be read: {fault}", cure="fetch it from the other shop again") from fault


def _hash(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as fault:
        raise Refused(f"{path} cannot be read: {fault}", cure="fetch it from the other shop again") from fault
