"""The whole fleet as one frozen value, read from the state tables: what the planner thinks about."""

import json
import sqlite3
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from operator import itemgetter
from typing import Any, TypeVar

from fleet.base.entries import Head, name_key
from fleet.base.errors import Refused, did_you_mean
from fleet.base.grouping import grouped
from fleet.base.typed_text import said
from fleet.facts.binding_kinds import COLUMNS, BindingKinds, KindStep, default_kinds
from fleet.facts.boots import Boot, BootFacts
from fleet.facts.carried import ORDER, PEOPLE, STOP_COLUMNS, people_of, stops_of
from fleet.facts.columns import facts_from_row
from fleet.facts.gates import BindingModel
from fleet.facts.holes import (
    Hole,
    HoleFacts,
    Mount,
    MountFacts,
    PieceSlide,
    Side,
    StatedMount,
    StatedMountFacts,
)
from fleet.facts.notes import OPEN_QUESTION, Note
from fleet.facts.pairs import AreaFacts, Binding, InspectedArea, Pair, Ski, SkiFacts
from fleet.facts.patterns import Fit, Pattern, pattern_from_body
from fleet.facts.policy import Policy, Setting, default_policy
from fleet.facts.recalls import Recall, read_recalls
from fleet.facts.staff import Staff
from fleet.facts.standing import REMOVED, Place, read_standings, setting_from
from fleet.facts.tags import tag_order
from fleet.facts.wishes import Wish, WishFacts
from fleet.tables.connection import AMONG, among, read_shop, reading

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """Everything a plan may depend on, as of one head. Mappings are by tag, id or name, sorted.

    Its patterns leave what its policy says of each piece's travel.

    ``recalls``: the open ones. ``unseen``: Tags of pairs that are not here, of which a restore tells that
    hands were at them since. ``stopped``: Tag -> why the bench stopped, for pairs that a head technician has
    not let go again. ``ordered``: Tag -> the open work orders that count on the pair, in words.
    ``newest_at``: the newest moment at which a pair changed its place, as UTC text; "" while there is none.
    An export sets it no later than its own clock. ``notes``: those that stand, and those that were ended.
    ``gone``: bindings that left the stock, by id. ``renamed``: Tag that a pair had -> the one that it has.
    ``lent``: names of things that a van took and that may come home under them; asked for by a chain only.
    """

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
    unseen: frozenset[str] = frozenset()
    models: Mapping[str, BindingModel] = field(default_factory=dict)
    kinds: BindingKinds = field(default_factory=default_kinds)
    stopped: Mapping[str, str] = field(default_factory=dict)
    ordered: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    newest_at: str = ""
    notes: tuple[Note, ...] = ()
    gone: Mapping[str, Binding] = field(default_factory=dict)
    renamed: Mapping[str, str] = field(default_factory=dict)
    lent: frozenset[str] = frozenset()
    # tag -> its bindings: made where it is first asked for, since every set of a plan asks
    _on: dict[str, dict[Side, Binding]] = field(default_factory=dict, init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        reserve_um = self.policy.optional_um("travel_reserve_mm") or 0
        left = {name: pattern.leaving(reserve_um) for name, pattern in self.patterns.items()}
        object.__setattr__(self, "patterns", left)

    def where(self, tag: str) -> str:
        """The pair's place in words, with what was stopped at the bench: ``on hold: WO-… was stopped: …``;
        and what a note on it proposes.
        """
        pair = self.pairs[tag]
        place = pair.place.words
        asked = f", and a note on it asks: {pair.asks}? (mountbook note {tag})" if pair.asks else ""
        return (f"{place}: {self.stopped[tag]}" if tag in self.stopped else place) + asked

    def pair(self, tag: str) -> Pair:
        """The pair, by its tag today or an earlier one; or Refused with the nearest tag."""
        return _found(self.pairs, self.renamed.get(tag, tag), "pair")

    def boot(self, tag: str) -> Boot:
        """The boot, or Refused with the nearest tag."""
        return _found(self.boots, tag, "boot")

    def pattern(self, name: str) -> Pattern:
        """The pattern, or Refused with the nearest name."""
        return _found(self.patterns, name, "pattern")

    def bindings_on(self, tag: str) -> dict[Side, Binding]:
        """The bindings on a pair's skis."""
        if not self._on:
            for binding in self.bindings.values():
                if binding.on_pair is not None and binding.on_ski is not None:
                    self._on.setdefault(binding.on_pair, {})[binding.on_ski] = binding
        return self._on.get(tag, {}).copy()


def _found(things: Mapping[str, _T], name: str, what: str) -> _T:
    found = things.get(name)
    if found is None:
        raise Refused(
            f"there is no {what} {name} in the ledger", cure=did_you_mean(name, things, f"check the {what}")
        )
    return found


def read_fleet(
    connection: sqlite3.Connection,
    *,
    pairs: Collection[str] | None = None,
    boots: Collection[str] | None = None,
) -> Fleet:
    """The fleet as the state tables say it at one moment, in canonical order.

    ``pairs`` and ``boots``: of them only these, with the bindings on these pairs, for who draws one pair and
    does not think about the shop.
    """
    with reading(connection):
        shop, zone = read_shop(connection)
        head = Head(*connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone())
        return Fleet(
            shop=shop,
            zone=zone,
            head=head,
            policy=read_policy(connection),
            staff=read_staff(connection),
            pairs={} if pairs == () else read_pairs(connection, *pairs or ()),
            boots={} if boots == () else read_boots(connection, *boots or ()),
            bindings={} if pairs == () else read_bindings(connection, *pairs or ()),
            patterns=read_patterns(connection),
            fits=read_fits(connection),
            recalls=read_recalls(connection),
            models=read_models(connection),
            kinds=read_kinds(connection),
            wishes=tuple(
                Wish(**facts_from_row(WishFacts, row))
                for row in rows_by_name(connection, "SELECT * FROM wanted ORDER BY wish")
            ),
            unseen=frozenset(
                row[0]
                for row in connection.execute("SELECT tag, body FROM waiting_stop")
                if json.loads(row[1]).get("unseen")
            ),
            ordered=_ordered(connection),
            newest_at=connection.execute("SELECT coalesce(max(place_at), '') FROM standing").fetchone()[0],
            stopped={each.tag: each.stop_why for each in read_standings(connection, where="stop_entry > 0")},
            notes=read_notes(connection),
            renamed=dict(connection.execute("SELECT old, new FROM renamed")),
            gone=read_bindings(connection, gone=True),
        )


def _ordered(connection: sqlite3.Connection) -> dict[str, tuple[str, ...]]:
    orders: dict[str, tuple[str, ...]] = {}
    for number, revision, *tags in connection.execute(
        "SELECT number, revision, tag, giver FROM work_order WHERE state = 'open' ORDER BY number"
    ):
        for tag in filter(None, tags):
            orders[tag] = (*orders.get(tag, ()), f"{ORDER}{number} {revision}")
    return orders


def read_policy(connection: sqlite3.Connection) -> Policy:
    """The defaults, overridden by what the ledger has set."""
    settings = dict(default_policy().settings)
    query = "SELECT name, value, unit, origin, since FROM policy ORDER BY name"
    for row in rows_by_name(connection, query):
        settings[row["name"]] = Setting(**said(connection, row))
    return Policy(settings)


def newest_setting(connection: sqlite3.Connection, *names: str) -> int:
    """Return the newest entry that set one of these settings; 0 where the program's own still count."""
    query = f"SELECT coalesce(max(entry), 0) FROM policy WHERE name {AMONG}"
    return int(connection.execute(query, among(names)).fetchone()[0])


def read_patterns(connection: sqlite3.Connection, *names: str) -> dict[str, Pattern]:
    """All patterns by name, or only these, with what the stock and the shop say their models are for."""
    only, args = _only("name", names)
    kinds: dict[str, set[str]] = defaultdict(set)
    for model, kind in connection.execute(
        "SELECT model, kind FROM model_kind WHERE thing = 'binding'"
        " UNION SELECT model, kind FROM binding WHERE kind IS NOT NULL AND gone_entry = 0"
    ):
        kinds[model].add(kind)
    return {
        name: replace(
            pattern_from_body(said(connection, json.loads(body))), model_kinds=frozenset(kinds.get(model, ()))
        )
        for name, model, body in connection.execute(
            f"SELECT name, binding_model, body FROM pattern{only} ORDER BY name", args
        )
    }


def read_models(connection: sqlite3.Connection) -> dict[str, BindingModel]:
    """The facts that the shop has stated of binding models, by name."""
    return {
        model: BindingModel(
            model=model,
            standard=standard,
            unsupported_since=None if since is None else date.fromisoformat(since),
            origin=said(connection, origin),
        )
        for model, standard, since, origin in connection.execute(
            "SELECT model, standard, unsupported_since, origin FROM binding_model ORDER BY model"
        )
    }


def read_kinds(connection: sqlite3.Connection) -> BindingKinds:
    """The kinds of binding and their steps: those of the program, overridden by the shop's own."""
    query = f"SELECT {', '.join(COLUMNS)} FROM kind_step ORDER BY entry"
    own = [KindStep(**said(connection, row)) for row in rows_by_name(connection, query)]
    return default_kinds().with_rows(own)


def read_staff(connection: sqlite3.Connection) -> dict[str, Staff]:
    """The staff list by name. Spellings of one name are one person: the newest counts."""
    rows = rows_by_name(connection, "SELECT * FROM staff ORDER BY entry")
    people = (Staff(**facts_from_row(Staff, row)) for row in rows)
    newest = {name_key(person.name): person for person in people}
    return {person.name: person for person in sorted(newest.values(), key=lambda person: person.name)}


def rows_by_name(
    connection: sqlite3.Connection, query: str, args: tuple[object, ...] = ()
) -> Iterator[dict[str, Any]]:
    """Rows by the names of their columns, never by position."""
    cursor = connection.execute(query, args)
    names = [column[0] for column in cursor.description]
    return (dict(zip(names, row, strict=True)) for row in cursor)


def _only(column: str, names: Sequence[str]) -> tuple[str, tuple[object, ...]]:
    return (f" WHERE {column} {AMONG}", among(names)) if names else ("", ())


def read_pairs(connection: sqlite3.Connection, *tags: str) -> dict[str, Pair]:
    """All pairs by tag, or just these, with skis, holes, areas and mounts."""
    only, args = _only("tag", tags)
    holes = grouped(
        rows_by_name(
            connection, f"SELECT * FROM hole{only} ORDER BY tag, side, x_um DESC, y_um, hole_id", args
        ),
        itemgetter("tag", "side"),
    )
    areas = grouped(
        rows_by_name(connection, f"SELECT * FROM area{only} ORDER BY entry, side", args),
        itemgetter("tag", "side"),
    )
    skis: dict[str, dict[Side, Ski]] = defaultdict(dict)
    for row in rows_by_name(connection, f"SELECT * FROM ski{only} ORDER BY tag, side", args):
        side, of = Side(row["side"]), (row["tag"], row["side"])
        skis[row["tag"]][side] = Ski(
            **facts_from_row(SkiFacts, row),
            side=side,
            inspected=tuple(
                InspectedArea(**facts_from_row(AreaFacts, area), by=area["by"], entry=area["entry"])
                for area in areas.get(of, ())
            ),
            holes=tuple(
                Hole(**facts_from_row(HoleFacts, hole), entry=hole["entry"]) for hole in holes.get(of, ())
            ),
            **{name: row[name] for name in ("holes_numbered_to", "closed_entry", "closed_at", "closed_why")},
        )
    mounts: dict[str, list[Mount]] = defaultdict(list)
    for row in rows_by_name(
        connection,
        f"SELECT mount.*, stands FROM mount JOIN standing USING (tag){only} ORDER BY mount_id",
        args,
    ):
        places = json.loads(row["slides"])
        slides, stands = (
            tuple(PieceSlide(**s) for s in places.get(name, ())) for name in ("slides", "stands")
        )
        now = setting_from(row["stands"])
        set_again = now.when.entry != row["entry"]
        mount = Mount(
            **facts_from_row(MountFacts, row),
            slides=slides,
            stands=() if set_again else stands,
            still_set=now.bsl_um == row["bsl_um"],
            set_again=set_again,
            set_for_um=now.bsl_um,
            set_words=now.where_they_differ,
            entry=row["entry"],
        )
        mounts[row["tag"]].append(mount)
    stated = grouped(
        rows_by_name(connection, f"SELECT * FROM stated_mount{only} ORDER BY entry", args), itemgetter("tag")
    )
    asks = dict(
        connection.execute(
            "SELECT coalesce(thing_note.tag, on_pair), min(proposes) FROM thing_note"
            f" LEFT JOIN binding USING (binding_id) WHERE {OPEN_QUESTION} GROUP BY 1"
        )
    )
    return {
        row["tag"]: Pair(
            **facts_from_row(Pair, row),
            asks=asks.get(row["tag"], ""),
            place=Place(row["place"]),
            stops=stops_of(row),
            hands=people_of(row),
            glued=tuple((adhesive, row["glued_at"]) for adhesive in json.loads(row["glued_with"])),
            skis=skis[row["tag"]],
            mounts=tuple(mounts[row["tag"]]),
            stated=tuple(
                StatedMount(**facts_from_row(StatedMountFacts, each), entry=each["entry"])
                for each in stated.get(row["tag"], ())
            ),
            earlier_at_least=row["earlier_at_least"],
            entry=row["entry"],
        )
        for row in _by_tag(
            rows_by_name(
                connection,
                f"SELECT pair.*, place, glued_at, glued_with, {', '.join((*STOP_COLUMNS, *PEOPLE))} FROM pair"
                f" JOIN standing USING (tag){only}",
                args,
            )
        )
    }


def _by_tag(rows: Iterator[dict[str, Any]]) -> list[dict[str, Any]]:
    return sorted(rows, key=lambda row: tag_order(row["tag"]))


def read_boots(connection: sqlite3.Connection, *tags: str) -> dict[str, Boot]:
    """All boots by tag, or only those asked for, with where they are and what stops them."""
    only, args = _only("tag", tags)
    query = (
        "SELECT boot.*, notes.text AS hold_note, model_kind.kind AS said_kind,"
        f" (SELECT min(proposes) FROM thing_note WHERE boot = boot.tag AND {OPEN_QUESTION}) AS asks,"
        " iif(whereabouts <> 'shop', whereabouts, iif((SELECT max(out_entry) FROM standing"
        " WHERE place = 'out' AND out_boot = boot.tag) > back_entry, 'out',"
        " iif(hold_entry, 'hold', 'ready'))) AS place"
        " FROM boot LEFT JOIN notes ON seq = hold_entry"
        " LEFT JOIN model_kind ON thing = 'boot' AND model_kind.model = boot.model"
        f"{only}"
    )
    return {
        row["tag"]: Boot(
            **facts_from_row(BootFacts, row),
            place=Place(row["place"]),
            hold_entry=row["hold_entry"],
            hold_why=(row["hold_note"] or REMOVED) if row["hold_entry"] else "",
            model_kind=row["said_kind"] or "",
            asks=row["asks"] or "",
            entry=row["entry"],
        )
        for row in _by_tag(rows_by_name(connection, query, args))
    }


def read_notes(
    connection: sqlite3.Connection, *, where: str = "", args: tuple[object, ...] = ()
) -> tuple[Note, ...]:
    """The notes on things, oldest first. ``where`` is a condition written in code, never taken from data."""
    clause = f" WHERE {where}" if where else ""
    return tuple(
        Note(**row | {"side": Side(row["side"]) if row["side"] else None})
        for row in rows_by_name(
            connection,
            "SELECT thing_note.*, text FROM thing_note LEFT JOIN notes ON seq = entry"
            f"{clause} ORDER BY entry",
            args,
        )
    )


def read_fits(connection: sqlite3.Connection, sole_type: str | None = None) -> tuple[Fit, ...]:
    """Return what both makers declared, for every sole or only for that one."""
    only, args = _only("sole_type", () if sole_type is None else (sole_type,))
    return tuple(
        Fit(**facts_from_row(Fit, said(connection, row)))
        for row in rows_by_name(connection, f"SELECT * FROM fit{only} ORDER BY sole_type, pattern", args)
    )


def read_bindings(
    connection: sqlite3.Connection, *on_pairs: str, ids: Collection[str] = (), gone: bool = False
) -> dict[str, Binding]:
    """All bindings by id, those in stock and those on skis, or only those on these pairs or with one of these
    ids; none that left, or with ``gone`` those only.
    """
    only, args = "", (*among(on_pairs), *among(ids))
    if on_pairs or ids:
        only = f" AND (on_pair {AMONG} OR binding_id {AMONG})"
    query = (
        "SELECT *, (SELECT min(proposes) FROM thing_note"
        f" WHERE thing_note.binding_id = binding.binding_id AND {OPEN_QUESTION}) AS asks"
        f" FROM binding WHERE (gone_entry > 0) = {int(gone)}{only} ORDER BY binding_id"
    )
    return {
        row["binding_id"]: Binding(**facts_from_row(Binding, row), entry=row["entry"], asks=row["asks"] or "")
        for row in rows_by_name(connection, query, args if only else ())
    }
