"""The whole fleet as one frozen value, read from the state tables: what the planner thinks about."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from fleet.base.entries import Head, name_key
from fleet.base.errors import Refused
from fleet.base.near_names import nearest
from fleet.facts.binding_kinds import COLUMNS, BindingKinds, KindStep, default_kinds
from fleet.facts.carried import STOP_COLUMNS, stops_of
from fleet.facts.equipment import (
    Binding,
    Boot,
    Construction,
    Fit,
    InspectedArea,
    Kind,
    Mount,
    Pair,
    PieceSlide,
    Place,
    Ski,
    StatedMount,
    Wish,
)
from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.patterns import Pattern
from fleet.facts.patterns_body import pattern_from_body
from fleet.facts.policy import Policy, Setting, default_policy
from fleet.facts.recalls import Recall, read_recalls
from fleet.facts.staff import Role, Staff
from fleet.facts.standing import read_standings
from fleet.tables.connection import reading

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """Everything a plan may depend on, as of one head. Mappings are by tag, id or name, sorted."""

    shop: str
    zone: str
    head: Head
    policy: Policy
    staff: Mapping[str, Staff]
    pairs: Mapping[str, Pair]
    boots: Mapping[str, Boot]
    bindings: Mapping[str, Binding]
    patterns: Mapping[str, Pattern]
    fits: tuple[Fit, ...]
    wishes: tuple[Wish, ...]
    recalls: tuple[Recall, ...] = ()
    """The open ones."""
    unseen: frozenset[str] = frozenset()
    """Tags of pairs that are not here, of which a restore tells that hands were at them since."""
    kinds: BindingKinds = field(default_factory=default_kinds)
    stopped: Mapping[str, str] = field(default_factory=dict)
    """Tag -> why the bench stopped, for pairs that a head technician has not let go again."""

    def where(self, tag: str) -> str:
        """The pair's place in a word, with what was stopped at the bench: ``hold: WO-… was stopped: …``."""
        place = self.pairs[tag].place.value
        return f"{place}: {self.stopped[tag]}" if tag in self.stopped else place

    def pair(self, tag: str) -> Pair:
        """The pair, or Refused with the nearest tag."""
        return _found(self.pairs, tag, "pair")

    def boot(self, tag: str) -> Boot:
        """The boot, or Refused with the nearest tag."""
        return _found(self.boots, tag, "boot")

    def pattern(self, name: str) -> Pattern:
        """The pattern, or Refused with the nearest name."""
        return _found(self.patterns, name, "pattern")

    def bindings_on(self, tag: str) -> dict[Side, Binding]:
        """The bindings on a pair's skis."""
        return {b.on_ski: b for b in self.bindings.values() if b.on_pair == tag and b.on_ski is not None}


def _found(things: Mapping[str, _T], name: str, what: str) -> _T:
    found = things.get(name)
    if found is None:
        near = nearest(name, things)
        raise Refused(
            f"there is no {what} {name} in the ledger",
            cure=f"did you mean {near}?" if near else f"check the {what}",
        )
    return found


def read_fleet(connection: sqlite3.Connection) -> Fleet:
    """The fleet as the state tables say it at one moment, in canonical order."""
    with reading(connection):
        return _read_fleet(connection)


def _read_fleet(connection: sqlite3.Connection) -> Fleet:
    shop, zone = connection.execute("SELECT name, zone FROM shop").fetchone()
    head = Head(*connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone())
    return Fleet(
        shop=shop,
        zone=zone,
        head=head,
        policy=read_policy(connection),
        staff=read_staff(connection),
        pairs=read_pairs(connection),
        boots=read_boots(connection),
        bindings=read_bindings(connection),
        patterns=read_patterns(connection),
        fits=read_fits(connection),
        recalls=read_recalls(connection),
        kinds=read_kinds(connection),
        wishes=tuple(
            Wish(
                wish=r[0],
                kind=Kind(r[1]),
                length_min_mm=r[2],
                length_max_mm=r[3],
                mondopoint_min_mm=r[4],
                mondopoint_max_mm=r[5],
                quantity=r[6],
                priority=r[7],
            )
            for r in connection.execute(
                "SELECT wish, kind, length_min_mm, length_max_mm, mondopoint_min_mm, mondopoint_max_mm,"
                " quantity, priority FROM wanted ORDER BY wish"
            )
        ),
        unseen=frozenset(
            row[0]
            for row in connection.execute("SELECT tag, body FROM waiting_stop")
            if json.loads(row[1]).get("unseen")
        ),
        stopped={each.tag: each.stop_why for each in read_standings(connection, where="stop_entry > 0")},
    )


def read_policy(connection: sqlite3.Connection) -> Policy:
    """The defaults, overridden by what the ledger has set."""
    settings = dict(default_policy().settings)
    for name, value, unit, origin, since in connection.execute(
        "SELECT name, value, unit, origin, since FROM policy ORDER BY name"
    ):
        settings[name] = Setting(name=name, value=value, unit=unit, origin=origin, since=since)
    return Policy(settings)


def read_patterns(connection: sqlite3.Connection) -> dict[str, Pattern]:
    """All patterns by name."""
    return {
        name: pattern_from_body(json.loads(body))
        for name, body in connection.execute("SELECT name, body FROM pattern ORDER BY name")
    }


def read_kinds(connection: sqlite3.Connection) -> BindingKinds:
    """The kinds of binding and their steps: those of the program, overridden by the shop's own."""
    query = f"SELECT {', '.join(COLUMNS)} FROM kind_step ORDER BY entry"
    own = [KindStep(**dict(zip(COLUMNS, row, strict=True))) for row in connection.execute(query)]
    return default_kinds().with_rows(own)


def read_staff(connection: sqlite3.Connection) -> dict[str, Staff]:
    """The staff list by name. Spellings of one name are one person: the newest counts."""
    rows = connection.execute("SELECT name, role, valid_until FROM staff ORDER BY entry")
    newest = {
        name_key(name): Staff(name=name, role=Role(role), valid_until=date.fromisoformat(until))
        for name, role, until in rows
    }
    return {person.name: person for person in sorted(newest.values(), key=lambda person: person.name)}


def read_pairs(connection: sqlite3.Connection, tag: str | None = None) -> dict[str, Pair]:
    """All pairs by tag, or just one, with skis, holes, areas and mounts."""
    only, args = (" WHERE tag = ?", (tag,)) if tag is not None else ("", ())
    holes: dict[tuple[str, str], list[Hole]] = defaultdict(list)
    for row in connection.execute(
        "SELECT tag, side, hole_id, x_um, y_um, diameter_um, depth_um, state, knowledge, entry"
        f" FROM hole{only} ORDER BY tag, side, x_um DESC, y_um, hole_id",
        args,
    ):
        holes[row[0], row[1]].append(
            Hole(
                hole_id=row[2],
                x_um=row[3],
                y_um=row[4],
                diameter_um=row[5],
                depth_um=row[6],
                state=HoleState(row[7]),
                knowledge=Knowledge(row[8]),
                entry=row[9],
            )
        )
    areas: dict[tuple[str, str], list[InspectedArea]] = defaultdict(list)
    for row in connection.execute(
        f"SELECT tag, side, from_um, to_um, how, on_day, by, entry FROM area{only} ORDER BY entry, side", args
    ):
        areas[row[0], row[1]].append(
            InspectedArea(from_um=row[2], to_um=row[3], how=row[4], on=row[5], by=row[6], entry=row[7])
        )
    skis: dict[str, dict[Side, Ski]] = defaultdict(dict)
    for row in connection.execute(
        "SELECT tag, side, mark_from_tail_um, zone_back_um, zone_front_um, zone_half_width_um,"
        f" holes_numbered_to, closed_entry, closed_at, closed_why FROM ski{only} ORDER BY tag, side",
        args,
    ):
        skis[row[0]][Side(row[1])] = Ski(
            side=Side(row[1]),
            mark_from_tail_um=row[2],
            zone_back_um=row[3],
            zone_front_um=row[4],
            zone_half_width_um=row[5],
            inspected=tuple(areas[row[0], row[1]]),
            holes=tuple(holes[row[0], row[1]]),
            holes_numbered_to=row[6],
            closed_entry=row[7],
            closed_at=row[8],
            closed_why=row[9],
        )
    mounts: dict[str, list[Mount]] = defaultdict(list)
    for row in connection.execute(
        "SELECT tag, pattern, bsl_um, offset_um, mounted_on, removed_on, drilled, slides, entry,"
        " set_for_um IS bsl_um, set_for_entry IS NOT mount.entry"
        f" FROM mount JOIN standing USING (tag){only} ORDER BY mount_id",
        args,
    ):
        mounts[row[0]].append(
            Mount(
                pattern=row[1],
                bsl_um=row[2],
                offset_um=row[3],
                mounted_on=row[4],
                removed_on=row[5],
                drilled=bool(row[6]),
                slides=tuple(PieceSlide(**s) for s in json.loads(row[7])["slides"]),
                entry=row[8],
                still_set=bool(row[9]),
                set_again=bool(row[10]),
            )
        )
    stated: dict[str, list[StatedMount]] = defaultdict(list)
    for row in connection.execute(
        "SELECT tag, binding_model, bsl_um, offset_um, mounted_on, removed_on, entry"
        f" FROM stated_mount{only} ORDER BY entry",
        args,
    ):
        stated[row[0]].append(
            StatedMount(
                binding_model=row[1],
                bsl_um=row[2],
                offset_um=row[3],
                mounted_on=row[4],
                removed_on=row[5],
                entry=row[6],
            )
        )
    return {
        row[0]: Pair(
            tag=row[0],
            model=row[1],
            kind=Kind(row[2]),
            length_mm=row[3],
            waist_um=row[4],
            construction=Construction(row[5]) if row[5] else None,
            rack=row[6],
            earlier_mounts=row[7],
            reference_from_tail_um=row[8],
            entry=row[9],
            place=Place(row[10]),
            stops=stops_of(dict(zip(STOP_COLUMNS, row[12:], strict=True))),
            skis=skis[row[0]],
            mounts=tuple(mounts[row[0]]),
            stated=tuple(stated[row[0]]),
            earlier_at_least=row[11],
        )
        for row in connection.execute(
            "SELECT tag, model, kind, length_mm, waist_um, construction, rack, earlier_mounts,"
            " reference_from_tail_um, pair.entry, place, earlier_at_least,"
            f" {', '.join(STOP_COLUMNS)} FROM pair JOIN standing USING (tag)"
            f"{only} ORDER BY tag",
            args,
        )
    }


def read_boots(connection: sqlite3.Connection, tag: str | None = None) -> dict[str, Boot]:
    """All boots by tag, or only the one asked for."""
    where, value = ("", ()) if tag is None else (" WHERE tag = ?", (tag,))
    return {
        row[0]: Boot(
            tag=row[0],
            model=row[1],
            mondopoint_mm=row[2],
            bsl_um=row[3],
            bsl_measured=row[4],
            sole_type=row[5],
            season=row[6],
            pin_um=row[7],
            entry=row[8],
        )
        for row in connection.execute(
            "SELECT tag, model, mondopoint_mm, bsl_um, bsl_measured, sole_type, season, pin_um, entry"
            f" FROM boot{where} ORDER BY tag",
            value,
        )
    }


def read_fits(connection: sqlite3.Connection, sole_type: str | None = None) -> tuple[Fit, ...]:
    """What both makers declared, for every sole or only for that one."""
    where, value = ("", ()) if sole_type is None else (" WHERE sole_type = ?", (sole_type,))
    return tuple(
        Fit(sole_type=row[0], pattern=row[1], binding_sheet=row[2], boot_sheet=row[3])
        for row in connection.execute(
            "SELECT sole_type, pattern, binding_sheet, boot_sheet FROM fit"
            f"{where} ORDER BY sole_type, pattern",
            value,
        )
    )


def read_bindings(connection: sqlite3.Connection, on_pair: str | None = None) -> dict[str, Binding]:
    """All bindings by id, those in stock and those on skis, or only those on one pair."""
    where, value = ("", ()) if on_pair is None else (" WHERE on_pair = ?", (on_pair,))
    return {
        row[0]: Binding(
            binding_id=row[0],
            model=row[1],
            pattern=row[2],
            brake_um=row[3],
            season=row[4],
            serial_toe=row[5],
            serial_heel=row[6],
            on_pair=row[7],
            on_ski=Side(row[8]) if row[8] else None,
            entry=row[9],
        )
        for row in connection.execute(
            "SELECT binding_id, model, pattern, brake_um, season, serial_toe, serial_heel, on_pair, on_ski,"
            f" entry FROM binding{where} ORDER BY binding_id",
            value,
        )
    }
