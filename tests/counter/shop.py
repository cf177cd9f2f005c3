"""A small invented hire shop in a real ledger, and a person at its counter with a clock that moves on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, Self

from fleet.facts.holes import Side
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName, pattern_to_body
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place, Standing, read_standing
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.rules.clearance import OwnBoot, read_case
from fleet.rules.counter import Done, take_back, take_out
from fleet.rules.looks import Found, ListUsed, LookKind, pieces_of, record_look

ZONE = "Europe/Vienna"
MORNING = datetime(2026, 12, 27, 7, 0, tzinfo=UTC)
STAFF = (
    ("Ida Fennweg", "head technician", "2027-05-31"),
    ("Jory Malkin", "technician", "2027-05-31"),
    ("Sanne Oder", "technician", "2027-05-31"),
    ("Wim Tarrow", "manager", "2027-05-31"),
    ("Nell Abres", "counter", "2027-05-31"),
    ("Old Timer", "technician", "2026-12-26"),
)
IDA, JORY, SANNE, WIM, NELL, OLD = (name for name, _, _ in STAFF)


def lark(name: str = "Lark 4") -> Pattern:
    """An invented pattern: four toe holes, four heel holes, 10 mm of heel travel each way."""
    return Pattern(
        name=name,
        binding_model=f"{name} binding",
        pieces=(
            Piece(
                name=PieceName.TOE,
                follows=Follows.TOE,
                holes=_holes((-10, 18), (-10, -18), (-45, 20), (-45, -20)),
            ),
            Piece(
                name=PieceName.HEEL,
                follows=Follows.HEEL,
                holes=_holes((15, 18), (15, -18), (55, 18), (55, -18)),
                travel_back_um=10_000,
                travel_forward_um=10_000,
            ),
        ),
    )


def _holes(*places: tuple[int, int]) -> tuple[PatternHole, ...]:
    return tuple(PatternHole(x_um=x * 1000, y_um=y * 1000) for x, y in places)


class Shop:
    """The ledger and the hands in it. Every action is a transaction of its own, a minute after the last."""

    def __init__(self, ledger: Ledger, *, now: datetime = MORNING) -> None:
        self.now = now
        self.ledger = ledger

    @classmethod
    def new(cls, path: Path) -> Self:
        return cls(Ledger.create(path, shop="The Invented Shop", zone=ZONE, by=WIM, now=MORNING))

    def tick(self, *, minutes: int = 1) -> datetime:
        self.now += timedelta(minutes=minutes)
        return self.now

    @contextmanager
    def desk(self, by: str = NELL, *, at: datetime | None = None, minutes: int = 1) -> Iterator[Desk]:
        now = self.tick(minutes=minutes)
        with self.ledger.transaction(by=by, now=now) as tx:
            yield Desk(tx=tx, by=by, now=now, zone=ZONE, stated=at)

    def enter(self, what: str, body: dict[str, Any], *, by: str = WIM) -> int:
        with self.desk(by) as desk:
            return desk.enter(what, body)

    def furnish(self) -> None:
        """Staff, pattern, fits, boots and five pairs: P-1 to P-4 alpine, T-1 telemark; nothing is passed.

        Each pair's binding was set for 305 mm by Nell.
        """
        for name, role, until in STAFF:
            self.enter("staff listed", {"name": name, "role": role, "valid_until": until})
        self.enter("pattern recorded", pattern_to_body(lark()))
        self.enter("pattern recorded", pattern_to_body(lark("Other 4")))
        self.enter(
            "fit declared",
            {"sole_type": "alpine A", "pattern": "Lark 4", "binding_sheet": "L-1", "boot_sheet": "S-1"},
        )
        for tag, bsl, sole in (
            ("B-305", 305, "alpine A"),
            ("B-310", 310, "alpine A"),
            ("B-335", 335, "alpine A"),
            ("B-TOUR", 305, "touring"),
            ("B-NONE", None, "alpine A"),
        ):
            self.boot(tag, bsl, sole)
        for tag, length, kind in (
            ("P-1", 1700, "alpine"),
            ("P-2", 1720, "alpine"),
            ("P-3", 1750, "alpine"),
            ("P-4", 1760, "alpine"),
            ("T-1", 1700, "telemark"),
        ):
            self.pair(tag, length_mm=length, kind=kind)
            self.set_binding(tag, 305)
        self.policy("out_without_boot", "yes")  # so that tests of other rules need no boot

    def policy(self, name: str, value: str) -> None:
        """The shop's rule, with the unit of its default."""
        unit = default_policy().setting(name).unit
        said = {"name": name, "value": value, "unit": unit, "origin": "the test", "since": "2026-12-27"}
        self.enter("policy set", said)

    def set_binding(self, tag: str, bsl_mm: int, *, by: str = NELL) -> None:
        """Somebody set it for a boot with that sole, boot in."""
        with self.desk(by, minutes=0) as desk:
            desk.enter("binding set", {"tag": tag, "bsl_um": bsl_mm * 1000, "boot": None})

    def boot(self, tag: str, bsl_mm: float | None, sole: str) -> None:
        self.enter(
            "boot recorded",
            {
                "tag": tag,
                "model": "Invented boot",
                "mondopoint_mm": 265,
                "bsl_um": None if bsl_mm is None else round(bsl_mm * 1000),
                "bsl_measured": "printed",
                "sole_type": sole,
                "season": "",
                "pin_um": None,
                "kind": None,
                "wear": "",
                "sole_measured_on": "",
            },
        )

    def pair(self, tag: str, *, length_mm: int = 1700, kind: str = "alpine", mounted: bool = True) -> None:
        with self.desk(WIM, minutes=0) as desk:
            ski = {
                "mark_from_tail_um": 800_000,
                "zone_back_um": 300_000,
                "zone_front_um": 300_000,
                "zone_half_width_um": 40_000,
            }
            desk.enter(
                "pair recorded",
                {
                    "tag": tag,
                    "model": "Invented ski",
                    "kind": kind,
                    "length_mm": length_mm,
                    "waist_um": 90_000,
                    "construction": "no metal",
                    "rack": "R-1",
                    "earlier_mounts": 0,
                    "skis": {"A": ski, "B": ski},
                },
            )
            if not mounted:
                return
            desk.enter(
                "mount recorded",
                {
                    "tag": tag,
                    "pattern": "Lark 4",
                    "bsl_um": 305_000,
                    "offset_um": 0,
                    "mounted_on": "2026-10-01",
                    "removed_on": None,
                    "drilled": True,
                    "slides": [],
                },
            )
            for side in Side:
                desk.enter("binding recorded", binding_body(f"{tag}/{side.value}", on_pair=tag, on_ski=side))

    # what people do

    def out(
        self,
        *tags: str,
        boot: str | OwnBoot | None = None,
        set_now: bool = False,
        due: date | None = None,
        by: str = NELL,
        at: datetime | None = None,
    ) -> list[Done]:
        with self.desk(by, at=at) as desk:
            return take_out(desk, tags, boot=boot, set_now=set_now, due=due)

    def back(self, *tags: str, said: str = "", by: str = NELL, at: datetime | None = None) -> list[Done]:
        with self.desk(by, at=at) as desk:
            return take_back(desk, tags, said=said)

    def look(
        self,
        tag: str,
        *,
        by: str = IDA,
        at: datetime | None = None,
        found: dict[str, str] | None = None,
        seen: tuple[Side, ...] = tuple(Side),
        kind: LookKind | None = None,
        list_used: ListUsed | None = None,
    ) -> Done:
        """A look at the sides ``seen``, not moved but for ``found`` ({"B heel": "spins"})."""
        with self.desk(by, at=at) as desk:
            pieces = pieces_of(read_case(desk.connection, tag))
            words = {
                side: {
                    piece: Found((found or {}).get(f"{side.value} {piece}", "not moved")) for piece in pieces
                }
                for side in seen
            }
            return record_look(desk, tag, words, kind=kind, list_used=list_used)

    def ready(self, *tags: str, by: str = IDA) -> None:
        for tag in tags:
            self.look(tag, by=by, kind=LookKind.SEASON_PREP)

    def standing(self, tag: str) -> Standing:
        return read_standing(self.ledger.connection, tag)

    def place(self, tag: str) -> Place:
        return self.standing(tag).place

    @property
    def today(self) -> date:
        return self.now.date()

    def dump(self) -> list[str]:
        """Every row of the file as text, to see that a refusal changed nothing."""
        return list(self.ledger.connection.iterdump())


def binding_body(
    binding_id: str,
    *,
    on_pair: str | None = None,
    on_ski: Side | None = None,
    serial: str = "1000",
    pattern: str = "Lark 4",
    season: str = "2025",
) -> dict[str, Any]:
    return {
        "binding_id": binding_id,
        "model": f"{pattern} binding",
        "pattern": pattern,
        "brake_um": 95_000,
        "season": season,
        "serial_toe": serial,
        "serial_heel": serial,
        "kind": None,
        "on_pair": on_pair,
        "on_ski": on_ski.value if on_ski else None,
    }
