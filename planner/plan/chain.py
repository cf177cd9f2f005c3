"""A chain of shops as values: the shops, its vans' runs, what moves between them, and a plan for all.

With the words for what is proved of such a plan. And its file of shops and vans (TOML), and chain.json, its
plan: as `CHAIN.md` promises both. And each shop's fleet as it is once the things of such a plan have moved.
"""

import json
import re
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any, Final

from fleet.base.errors import BadInput, or_bad_input
from fleet.base.program import program
from fleet.base.units import counted
from fleet.facts.boots import Boot
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Binding, Pair
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.plan.objective import gap_percent
from planner.plan.plan_file import in_cents, in_money
from planner.plan.values import Plan


class VanThing(StrEnum):
    """The things that a van takes along: skis with what is on them, boots, and loose bindings for a pair."""

    PAIR = "pair"
    BOOT = "boot"
    BINDINGS = "pair of bindings"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainShop:
    """A shop of the chain. ``minutes_limit``: of its own bench; ``budget_cents``: for parts and for what vans
    bring it, in hundredths of its money; None: as much as it takes.
    """

    name: str
    ledger: Path
    minutes_limit: int | None = None
    budget_cents: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VanRun:
    """A van's way from one shop to another on a day. ``room``: how many of each thing. For each thing that it
    takes along: ``minutes``, and ``price_cents``, which the shop that it reaches pays.
    """

    name: str
    leaves: str
    reaches: str
    day: str
    room: Mapping[VanThing, int]
    minutes: int
    price_cents: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainMove:
    """A thing on a run. ``names``: the tag of a pair or of boots, or the ids of two bindings of one sort."""

    run: str
    thing: VanThing
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """The shops and the runs between them, in the order of their file."""

    shops: tuple[ChainShop, ...]
    runs: tuple[VanRun, ...]

    def run(self, name: str) -> VanRun:
        """The run of that name. Raises KeyError."""
        return {run.name: run for run in self.runs}[name]

    def ends(self, moves: Iterable[ChainMove]) -> set[str]:
        """Return the shops that any of these leaves or reaches."""
        return {name for move in moves for run in [self.run(move.run)] for name in (run.leaves, run.reaches)}

    def paid_cents(self, moves: Iterable[ChainMove]) -> dict[str, int]:
        """Return what each shop pays for what comes to it, in hundredths."""
        paid = dict.fromkeys((shop.name for shop in self.shops), 0)
        for run in map(self.run, (move.run for move in moves)):
            paid[run.reaches] += run.price_cents
        return paid

    def parts_limits_cents(self, moves: Iterable[ChainMove]) -> dict[str, int | None]:
        """Return what each shop has left for parts once it has paid for what comes; None: no limit."""
        paid = self.paid_cents(moves)
        return {
            shop.name: None if shop.budget_cents is None else shop.budget_cents - paid[shop.name]
            for shop in self.shops
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainLevel:
    """A level of the chain's objective, to be small: its value, and what no plan can better (None: nothing
    proved).
    """

    name: str
    value: int
    bound: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainPlan:
    """A proposal for all shops. ``plans``: by shop, each for its fleet as it is once everything has moved."""

    made_at: str
    moves: tuple[ChainMove, ...]
    plans: Mapping[str, Plan]
    levels: tuple[ChainLevel, ...]
    stays: tuple[tuple[str, str, str], ...] = ()
    """(shop, thing, why): what no van may take, though somebody might think so."""

    @property
    def proved(self) -> bool:
        """Return whether no plan of the chain is better, level by level."""
        return all(level.bound == level.value for level in self.levels)

    @property
    def gap_percent(self) -> float:
        """The gap of the first level that is not proved; 0 where all are."""
        missed = [gap_percent(each.value, each.bound) for each in self.levels if each.bound != each.value]
        return missed[0] if missed else 0.0


def loads(chain: Chain, moves: Iterable[ChainMove]) -> dict[str, Counter[VanThing]]:
    """The number of each thing that every run takes along."""
    found: dict[str, Counter[VanThing]] = {run.name: Counter() for run in chain.runs}
    for move in moves:
        found[move.run][move.thing] += 1
    return found


_WORDS: Final = {
    VanThing.PAIR: ("pair of skis", "pairs of skis"),
    VanThing.BOOT: ("pair of boots", "pairs of boots"),
    VanThing.BINDINGS: ("pair of bindings", "pairs of bindings"),
}


def load_text(load: Mapping[VanThing, int]) -> str:
    """``2 pairs of skis, 1 pair of boots``; ``nothing`` for an empty van."""
    return (
        ", ".join(counted(n, *_WORDS[thing]) for thing in VanThing if (n := load.get(thing, 0))) or "nothing"
    )


_LEVEL_WORDS = {
    "mount_worth": ("worth of the mounts drilled", "point"),
    "drilled": ("drilling", "hole"),
    "minutes": ("bench time with the vans'", "minute"),
}


def result_of(plan: ChainPlan) -> str:
    """``proved best``, or how far from the best it is at most."""
    if plan.proved:
        return "proved best: no plan of the chain serves more, drills less or takes less time, in that order"
    return f"best found, at most {plan.gap_percent:g} % from the best"


def left_open(plan: ChainPlan) -> Iterator[str]:
    """A line for each level not proved; each is about plans that are no worse at the levels before."""
    for level in plan.levels:
        if level.bound != level.value:
            yield _open_line(level)


def _open_line(level: ChainLevel) -> str:
    served = level.name.startswith("priority")
    words, unit = _LEVEL_WORDS.get(level.name, ("things moved", "thing"))
    if served:
        words, unit = level.name.removesuffix(" not served"), "set"
    found = f"{words}: {counted(abs(level.value), unit)}, not proved"
    if level.bound is None:
        return f"{found}; no bound was found"
    than = "no more than" if served else "no less than"
    best = counted(-level.bound if served else max(level.bound, 0), unit)
    return f"{found}; the best is {than} {best} ({gap_percent(level.value, level.bound):g} %)"


CHAIN_FILE: Final = "chain.json"
_FEWEST, _MOST = 2, 20
_ROOM: Final = {"pairs": VanThing.PAIR, "boots": VanThing.BOOT, "bindings": VanThing.BINDINGS}
_KEYS: Final = {
    "shop": frozenset({"name", "ledger", "minutes", "budget"}),
    "van": frozenset({"name", "from", "to", "day", "minutes", "price", *_ROOM}),
}
_LARGEST: Final = 10_000
_NAME: Final = re.compile(r"\w[\w .,'-]{0,59}")
"""A shop's plan has a folder of its name."""


def read_chain(file: Path) -> Chain:
    """The chain of a file. Raises BadInput with the place in it, and what to write there."""
    with or_bad_input(
        f"{file} cannot be read:",
        cure="see `mountbook chain plan --help`",
        of=(OSError, UnicodeDecodeError, tomllib.TOMLDecodeError),
    ):
        data = tomllib.loads(file.read_text(encoding="utf-8"), parse_float=Decimal)
    if unknown := sorted(set(data) - set(_KEYS)):
        raise BadInput(f"{file.name}: {unknown[0]!r} is unknown", cure="it has [[shop]] and [[van]] tables")
    shops = tuple(_shop(file, n, row) for n, row in enumerate(_rows(file, data, "shop"), start=1))
    if not _FEWEST <= len(shops) <= _MOST:
        raise BadInput(f"{file.name} names {len(shops)} shops", cure=f"a chain has {_FEWEST} to {_MOST}")
    _once(file, "shop", [shop.name for shop in shops])
    _once(file, "ledger", [str(shop.ledger) for shop in shops])
    names = {shop.name for shop in shops}
    runs = tuple(_run(file, n, row, names) for n, row in enumerate(_rows(file, data, "van"), start=1))
    _once(file, "van", [run.name for run in runs])
    return Chain(shops=shops, runs=runs)


def _rows(file: Path, data: Mapping[str, Any], table: str) -> list[dict[str, Any]]:
    rows = data.get(table, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise BadInput(f"{file.name}: {table!r} is no list of tables", cure=f"write [[{table}]] above each")
    return rows


class _Row:
    """One table of the file, read key by key."""

    def __init__(self, file: Path, table: str, number: int, row: Mapping[str, Any]) -> None:
        self.place, self.row = f"{file.name}, {table} {number}", row
        if unknown := sorted(set(row) - _KEYS[table]):
            raise BadInput(f"{self.place}: {unknown[0]!r} is unknown", cure=f"it has {_listed(_KEYS[table])}")

    def text(self, key: str) -> str:
        """A name. Raises BadInput where there is none."""
        found = self.row.get(key)
        name = found.strip() if isinstance(found, str) else ""
        if not name or (key != "ledger" and (name != found or not _NAME.fullmatch(name))):
            cure = f'write {key} = "...", with letters, digits and blanks'
            raise BadInput(f"{self.place}: {key} is {found!r}", cure=cure)
        return name

    def count(self, key: str) -> int | None:
        """A whole number from 0 up; None where it is left out."""
        cure = f"a whole number from 0 to {_LARGEST}"
        found: int | None = self._checked(key, lambda n: type(n) is int and 0 <= n <= _LARGEST, cure)
        return found

    def cents(self, key: str) -> int | None:
        """An amount of money from 0 up, in hundredths; None where it is left out."""
        cure = f"write {key} = 250 or {key} = 99.50"
        found = self._checked(key, _is_money, cure, "{}, which is no amount of money")
        return None if found is None else int(found * 100)

    def _checked(self, key: str, is_good: Callable[[Any], bool], cure: str, words: str = "{!r}") -> Any:
        found = self.row.get(key)
        if found is not None and not is_good(found):
            raise BadInput(f"{self.place}: {key} is {words.format(found)}", cure=cure)
        return found


def _is_money(said: Any) -> bool:
    known = type(said) in (int, Decimal) and Decimal(said).is_finite()
    return known and 0 <= said <= _LARGEST * 100 and not said * 100 % 1


def _shop(file: Path, number: int, row: Mapping[str, Any]) -> ChainShop:
    said = _Row(file, "shop", number, row)
    ledger = (file.resolve().parent / said.text("ledger")).resolve()
    return ChainShop(
        name=said.text("name"),
        ledger=ledger,
        minutes_limit=said.count("minutes"),
        budget_cents=said.cents("budget"),
    )


def _run(file: Path, number: int, row: Mapping[str, Any], shops: set[str]) -> VanRun:
    said = _Row(file, "van", number, row)
    leaves, reaches = said.text("from"), said.text("to")
    for name in (leaves, reaches):
        if name not in shops:
            raise BadInput(f"{said.place}: there is no shop {name}", cure=f"one of: {_listed(shops)}")
    if leaves == reaches:
        raise BadInput(f"{said.place}: it goes from {leaves} to {leaves}", cure="name two shops")
    day = row.get("day")
    if not isinstance(day, date) or isinstance(day, datetime):
        raise BadInput(f"{said.place}: day is {day!r}", cure="write it like day = 2026-11-30")
    minutes = said.count("minutes")
    if minutes is None:
        raise BadInput(f"{said.place}: what a thing that moves costs is not said", cure="write minutes = 5")
    return VanRun(
        name=said.text("name") if "name" in row else f"{leaves} to {reaches}, {day.isoformat()}",
        leaves=leaves,
        reaches=reaches,
        day=day.isoformat(),
        room={thing: said.count(key) or 0 for key, thing in _ROOM.items()},
        minutes=minutes,
        price_cents=said.cents("price") or 0,
    )


def _listed(names: set[str] | frozenset[str]) -> str:
    return ", ".join(sorted(names))


def _once(file: Path, what: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise BadInput(f"{file.name} has {what} {name} twice", cure="give each a name of its own, once")


def chain_plan_to_json(chain: Chain, plan: ChainPlan) -> dict[str, Any]:
    """The content of chain.json. Each shop's own plan stands in the folder of its name."""
    return {
        "program": program(),
        "made_at": plan.made_at,
        "shops": [in_money(asdict(shop) | {"ledger": str(shop.ledger)}) for shop in chain.shops],
        "runs": [
            in_money(asdict(run) | {"room": {key: run.room.get(thing, 0) for key, thing in _ROOM.items()}})
            for run in chain.runs
        ],
        "paid": {name: cents / 100 for name, cents in chain.paid_cents(plan.moves).items()},
        "status": "proved best" if plan.proved else "best found",
        "gap_percent": plan.gap_percent,
        "levels": [asdict(level) for level in plan.levels],
        "moves": [
            {"run": move.run, "thing": move.thing.value, "names": list(move.names)} for move in plan.moves
        ],
        "stays": [{"shop": shop, "thing": thing, "why": why} for shop, thing, why in plan.stays],
        "ledgers": {
            name: {"entry": each.ledger_entry, "head": each.ledger_head} for name, each in plan.plans.items()
        },
    }


def chain_plan_text(chain: Chain, plan: ChainPlan, **instead: str) -> str:
    """The text of chain.json; ``instead``: what it says otherwise."""
    return json.dumps(chain_plan_to_json(chain, plan) | instead, ensure_ascii=False, indent=2) + "\n"


def way_home_text(
    chain: Chain, moves: tuple[ChainMove, ...], stays: tuple[tuple[str, str, str], ...], made_at: str
) -> str:
    """The text of chain.json where things only go home: no shop is planned, and nothing is claimed."""
    plan = ChainPlan(made_at=made_at, moves=moves, plans={}, levels=(), stays=stays)
    return chain_plan_text(chain, plan, status="way home")


def read_moves(folder: Path) -> tuple[Chain, tuple[ChainMove, ...]]:
    """The chain and its moves as a folder of `chain plan` has them. Raises BadInput."""
    file = folder / CHAIN_FILE if folder.is_dir() else folder
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        chain = Chain(
            shops=tuple(
                ChainShop(**in_cents(shop) | {"ledger": Path(shop["ledger"])}) for shop in data["shops"]
            ),
            runs=tuple(
                VanRun(**in_cents(run) | {"room": {thing: run["room"][key] for key, thing in _ROOM.items()}})
                for run in data["runs"]
            ),
        )
        moves = tuple(
            ChainMove(run=m["run"], thing=VanThing(m["thing"]), names=tuple(m["names"]))
            for m in data["moves"]
        )
    except FileNotFoundError as fault:
        cure = "make one: mountbook chain plan FILE --out FOLDER"
        raise BadInput(f"there is no {CHAIN_FILE} in {folder}", cure=cure) from fault
    except (OSError, UnicodeDecodeError, ValueError, KeyError, TypeError, AttributeError) as fault:
        raise BadInput(f"{file} is no plan of a chain: {fault}", cure="make it again") from fault
    return chain, moves


_FROM: Final = " (from "


def as_received(pair: Pair, *, mounted: bool) -> Pair:
    """The pair as another shop's ledger has it: nobody there knows for which sole its binding stands."""
    return replace(
        pair,
        place=Place.BACK if mounted else Place.FLAT,
        mounts=tuple(
            replace(mount, stands=(), still_set=False, set_again=True, set_for_um=None, set_words="")
            for mount in pair.mounts
        ),
    )


def boots_as_received(boot: Boot) -> Boot:
    """The boots with what their model is for said of themselves: the other ledger may say nothing of it."""
    said = Kind(boot.model_kind) if boot.model_kind else None
    return replace(boot, kind=boot.kind or said, model_kind="")


def with_received(fleet: Fleet, senders: Iterable[tuple[Fleet, VanThing, tuple[str, ...]]]) -> Fleet:
    """The fleet with what comes from other shops."""
    pairs, boots, bindings = dict(fleet.pairs), dict(fleet.boots), dict(fleet.bindings)
    for sender, thing, names in senders:
        came: list[Binding] = []
        if thing is VanThing.PAIR:
            on = sender.bindings_on(names[0])
            bindings = {name: b for name, b in bindings.items() if b.on_pair != names[0]}  # of when it left
            pairs[names[0]] = as_received(sender.pairs[names[0]], mounted=bool(on))
            came = list(on.values())
        elif thing is VanThing.BOOT:
            boots[names[0]] = boots_as_received(sender.boots[names[0]])
        else:
            came = [sender.bindings[name] for name in names]
        for binding in came:
            name = id_there(binding.binding_id, sender.shop, fleet.shop)
            bindings[name] = replace(binding, binding_id=name)
    return replace(
        fleet,
        pairs=dict(sorted(pairs.items())),
        boots=dict(sorted(boots.items())),
        bindings=dict(sorted(bindings.items())),
    )


def id_there(binding_id: str, shop: str, there: str) -> str:
    """The id of a binding of ``shop`` in the shop ``there``: the one it had there before, else with its shop
    added, because the stock there may have one of that name.
    """
    known, before, _ = binding_id.partition(f"{_FROM}{there})")
    return known if before else f"{binding_id}{_FROM}{shop})"


def first_shop(binding_id: str) -> str:
    """The shop that a binding came from first, by its id here; "" for one of the shop's own."""
    return binding_id.partition(_FROM)[2].partition(")")[0]


def without_sent(fleet: Fleet, sent: Iterable[tuple[VanThing, tuple[str, ...]]]) -> Fleet:
    """The fleet without what was sent: pairs and boots are on the way, loose bindings gone."""
    pairs, boots, bindings = dict(fleet.pairs), dict(fleet.boots), dict(fleet.bindings)
    for thing, names in sent:
        for name in names:
            if thing is VanThing.PAIR:
                pairs[name] = replace(pairs[name], place=Place.IN_TRANSIT)
            elif thing is VanThing.BOOT:
                boots[name] = replace(boots[name], place=Place.IN_TRANSIT)
            else:
                del bindings[name]
    return replace(fleet, pairs=pairs, boots=boots, bindings=bindings)


def after_moves(fleets: Mapping[str, Fleet], chain: Chain, moves: Iterable[ChainMove]) -> dict[str, Fleet]:
    """Every shop's fleet once everything has moved, by the shop's name in the chain."""
    sent: dict[str, list[tuple[VanThing, tuple[str, ...]]]] = {name: [] for name in fleets}
    come: dict[str, list[tuple[Fleet, VanThing, tuple[str, ...]]]] = {name: [] for name in fleets}
    for move in moves:
        run = chain.run(move.run)
        sent[run.leaves].append((move.thing, move.names))
        come[run.reaches].append((fleets[run.leaves], move.thing, move.names))
    return {
        name: with_received(without_sent(fleet, sent[name]), come[name]) for name, fleet in fleets.items()
    }
