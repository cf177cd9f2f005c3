"""What the invented shop owns, as tables: patterns, ski batches, boot models, stock, sets wanted.

Every name, hole and figure here is invented; no row copies a real product. Lengths in millimetres.
The hole distances within one binding keep those of ISO 8364 (tests/demo checks that).
"""

from __future__ import annotations

from dataclasses import dataclass

from fleet.base.units import mm_to_um
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName

Point = tuple[float, float]


def _piece(name: str, follows: str, points: tuple[Point, ...], back: float = 0, forward: float = 0) -> Piece:
    return Piece(
        name=PieceName(name),
        follows=Follows(follows),
        holes=tuple(PatternHole(x_um=mm_to_um(x), y_um=mm_to_um(y)) for x, y in points),
        travel_back_um=mm_to_um(back),
        travel_forward_um=mm_to_um(forward),
    )


def _pattern(name: str, model: str, bsl: tuple[int, int], kind: str, *pieces: Piece) -> Pattern:
    return Pattern(
        name=name,
        binding_model=model,
        pieces=pieces,
        bsl_min_um=mm_to_um(bsl[0]),
        bsl_max_um=mm_to_um(bsl[1]),
        binding_kind=kind,
    )


def _both_sides(*points: Point) -> tuple[Point, ...]:
    """Each point and its mirror across the centre line."""
    return tuple(p for x, y in points for p in ((x, y), (x, -y)))


PATTERNS: tuple[Pattern, ...] = (
    # Two pieces, retail: the toe is fixed, the heel travels 28 mm in all.
    _pattern(
        "Corrie 4+4",
        "Corrie 11",
        (250, 360),
        "alpine two-piece",
        _piece("toe", "toe", _both_sides((-16, 17.5), (-47.5, 20.5))),
        _piece("heel", "heel", _both_sides((22, 15), (61, 18.5)), 14, 14),
    ),
    # For walking soles; its toe has the rectangle of the Corrie toe, 3 mm further back.
    _pattern(
        "Corrie Walk 4+4",
        "Corrie Walk 12",
        (260, 360),
        "alpine two-piece",
        _piece("toe", "toe", _both_sides((-19, 17.5), (-50.5, 20.5))),
        _piece("heel", "heel", _both_sides((17.5, 19), (52, 19)), 12, 12),
    ),
    # Rental track: both pieces travel, 84 mm of sole range in all.
    _pattern(
        "Hirefold 4+4",
        "Hirefold R",
        (255, 350),
        "alpine track",
        _piece("toe", "toe", _both_sides((-12.5, 14), (-58, 14)), 10, 10),
        _piece("heel", "heel", _both_sides((30, 14), (94, 14)), 32, 32),
    ),
    # One plate under the whole boot; distances within it never change with the sole.
    _pattern(
        "Plinth 6",
        "Plinth P",
        (275, 335),
        "plate or rail",
        _piece("plate", "centre", _both_sides((112, 16), (21.5, 20), (-96, 16))),
    ),
    # Touring frame.
    _pattern(
        "Tarn 4+4",
        "Tarn Frame",
        (250, 350),
        "touring frame",
        _piece("toe", "toe", _both_sides((-20, 15.5), (-52, 22))),
        _piece("heel", "heel", _both_sides((36, 16), (69, 16)), 11, 11),
    ),
    # Telemark, three screws at the toe, a heel bar with two that does not travel.
    _pattern(
        "Lerk 3+2",
        "Lerk Three",
        (235, 340),
        "telemark heel bar",
        _piece("toe", "toe", ((-21, 0), (-54, 19.5), (-54, -19.5))),
        _piece("heel", "heel", _both_sides((12.5, 13))),
    ),
    # Telemark with a cable: the heel guide takes 40 mm of sole range.
    _pattern(
        "Lerk Cable 4+2",
        "Lerk Cable",
        (235, 340),
        "telemark cable",
        _piece("toe", "toe", _both_sides((-24, 13.5), (-66, 18))),
        _piece("heel", "heel", _both_sides((40, 11.5)), 20, 20),
    ),
    # Junior, three and three, long travel.
    _pattern(
        "Pip 3+3",
        "Pip J",
        (200, 300),
        "junior",
        _piece("toe", "toe", ((-14, 11.5), (-14, -11.5), (-43, 0)), 4, 4),
        _piece("heel", "heel", ((20, 11.5), (20, -11.5), (57.5, 0)), 22, 22),
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SkiBatch:
    """Pairs of one model bought together. ``lengths``: (cm, how many pairs).

    ``histories`` are dealt out in turn to the pairs of the batch; their names are functions in
    `sample_fleet.histories`.
    """

    model: str
    kind: str
    waist_mm: int
    construction: str
    lengths: tuple[tuple[int, int], ...]
    histories: tuple[str, ...]
    pattern: str = ""
    brake_mm: int | None = None
    rack: str


SKI_BATCHES: tuple[SkiBatch, ...] = (
    SkiBatch(
        model="Marrow 72",
        kind="alpine",
        waist_mm=72,
        construction="no metal",
        lengths=((146, 7), (153, 9), (160, 10), (167, 9), (174, 5)),
        histories=("track_drilled_here", "track_drilled_here", "track_drilled_here", "track_measured"),
        pattern="Hirefold 4+4",
        brake_mm=80,
        rack="A",
    ),
    SkiBatch(
        model="Marrow 76 Ti",
        kind="alpine",
        waist_mm=76,
        construction="metal",
        lengths=((153, 5), (160, 8), (167, 9), (174, 8)),
        histories=("ours_from_new", "twice_ours", "ours_from_new", "walk_after_plain", "twice_ours"),
        pattern="Corrie 4+4",
        brake_mm=85,
        rack="B",
    ),
    SkiBatch(
        model="Sallow 82",
        kind="alpine",
        waist_mm=82,
        construction="no metal",
        lengths=((153, 4), (160, 6), (167, 7), (174, 5)),
        histories=(
            "bare_one_open",
            "bare_drops_in",
            "bare_plugged_and_open",
            "bare_three_sets",
            "bare_one_open",
            "bare_stripped",
            "bare_size_unmeasured",
        ),
        pattern="Corrie 4+4",
        rack="C",
    ),
    SkiBatch(
        model="Sallow 84 Ti",
        kind="alpine",
        waist_mm=84,
        construction="metal",
        lengths=((153, 3), (160, 3), (167, 3), (174, 3)),
        histories=("delivered_new",),
        rack="C",
    ),
    SkiBatch(
        model="Gilt 74",
        kind="alpine",
        waist_mm=74,
        construction="",
        lengths=((160, 3), (167, 5)),
        histories=("hotel_no_rows", "hotel_both"),
        pattern="Plinth 6",
        brake_mm=80,
        rack="D",
    ),
    SkiBatch(
        model="Fellrun 92",
        kind="touring",
        waist_mm=92,
        construction="no metal",
        lengths=((156, 4), (164, 6), (172, 4)),
        histories=("ours_from_new", "ours_from_new", "twice_ours"),
        pattern="Tarn 4+4",
        brake_mm=100,
        rack="E",
    ),
    SkiBatch(
        model="Fellrun 96",
        kind="touring",
        waist_mm=96,
        construction="no metal",
        lengths=((156, 3), (164, 5), (172, 4)),
        histories=("bare_one_open", "bare_drops_in", "bare_plugged_and_open"),
        pattern="Tarn 4+4",
        rack="E",
    ),
    SkiBatch(
        model="Fellrun 103",
        kind="touring",
        waist_mm=103,
        construction="no metal",
        lengths=((164, 3), (172, 3), (180, 2)),
        histories=("delivered_new",),
        rack="E",
    ),
    SkiBatch(
        model="Gilt Tour 95",
        kind="touring",
        waist_mm=95,
        construction="",
        lengths=((164, 4),),
        histories=("hotel_no_rows",),
        pattern="Tarn 4+4",
        brake_mm=100,
        rack="D",
    ),
    SkiBatch(
        model="Kneel 106",
        kind="telemark",
        waist_mm=106,
        construction="no metal",
        lengths=((162, 4), (170, 7), (178, 5)),
        histories=("ours_from_new", "twice_ours", "ours_from_new", "bare_one_open"),
        pattern="Lerk 3+2",
        brake_mm=120,
        rack="F",
    ),
    SkiBatch(
        model="Kneel 110",
        kind="telemark",
        waist_mm=110,
        construction="no metal",
        lengths=((162, 3), (170, 5), (178, 4)),
        histories=("ours_from_new", "bare_drops_in", "ours_from_new"),
        pattern="Lerk Cable 4+2",
        brake_mm=120,
        rack="F",
    ),
    SkiBatch(
        model="Kneel 112",
        kind="telemark",
        waist_mm=112,
        construction="metal",
        lengths=((170, 4), (178, 4)),
        histories=("delivered_new",),
        rack="F",
    ),
    SkiBatch(
        model="Wisp 62",
        kind="junior",
        waist_mm=62,
        construction="thin core",
        lengths=((100, 8), (110, 10), (120, 10), (130, 8), (140, 4)),
        histories=("ours_from_new", "ours_from_new", "twice_ours", "ours_from_new", "bare_one_open"),
        pattern="Pip 3+3",
        brake_mm=70,
        rack="G",
    ),
    SkiBatch(
        model="Wisp 64",
        kind="junior",
        waist_mm=64,
        construction="thin core",
        lengths=((120, 3), (130, 3), (140, 2)),
        histories=("delivered_new",),
        rack="G",
    ),
    SkiBatch(
        model="Gilt Kid 66",
        kind="junior",
        waist_mm=66,
        construction="",
        lengths=((110, 3), (120, 3)),
        histories=("hotel_both",),
        pattern="Pip 3+3",
        brake_mm=70,
        rack="D",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BootModel:
    """Boots of one model. The sole of shell s (whole cm) is ``sole_at_26_mm + per_shell_mm * (s - 26)``.

    ``duckbill_mm``: how much longer a 75 mm sole measures outside than it counts at the bench (common
    practice, no source); the boots sheet carries the outside length, as somebody would measure it.
    """

    model: str
    sole_type: str
    pairs: int
    sole_at_26_mm: int
    per_shell_mm: int
    measured: str
    sizes: str
    duckbill_mm: int = 0


BOOT_MODELS: tuple[BootModel, ...] = (
    BootModel(
        model="Harbour 90",
        sole_type="ISO 5355 A",
        pairs=74,
        sole_at_26_mm=305,
        per_shell_mm=10,
        measured="printed",
        sizes="adult",
    ),
    BootModel(
        model="Harbour 95 of 2025",
        sole_type="ISO 5355 A",
        pairs=38,
        sole_at_26_mm=299,
        per_shell_mm=10,
        measured="printed",
        sizes="adult",
    ),
    BootModel(
        model="Stroll 100",
        sole_type="ISO 23223",
        pairs=17,
        sole_at_26_mm=305,
        per_shell_mm=10,
        measured="printed",
        sizes="adult",
    ),
    BootModel(
        model="Stroll 105 of 2025",
        sole_type="ISO 23223",
        pairs=14,
        sole_at_26_mm=299,
        per_shell_mm=10,
        measured="measured",
        sizes="adult",
    ),
    BootModel(
        model="Skint 110",
        sole_type="ISO 9523",
        pairs=25,
        sole_at_26_mm=298,
        per_shell_mm=10,
        measured="printed",
        sizes="adult",
    ),
    BootModel(
        model="Skint 115 of 2025",
        sole_type="ISO 9523",
        pairs=13,
        sole_at_26_mm=306,
        per_shell_mm=10,
        measured="printed",
        sizes="adult",
    ),
    BootModel(
        model="Tread 75",
        sole_type="75 mm",
        pairs=24,
        sole_at_26_mm=302,
        per_shell_mm=10,
        measured="measured",
        duckbill_mm=10,
        sizes="adult",
    ),
    BootModel(
        model="Tread 75 L of 2025",
        sole_type="75 mm",
        pairs=9,
        sole_at_26_mm=315,
        per_shell_mm=10,
        measured="measured",
        duckbill_mm=10,
        sizes="adult",
    ),
    BootModel(
        model="Pup 50",
        sole_type="ISO 5355 C",
        pairs=38,
        sole_at_26_mm=305,
        per_shell_mm=10,
        measured="printed",
        sizes="junior",
    ),
    BootModel(
        model="Pup 60 of 2025",
        sole_type="ISO 5355 C",
        pairs=18,
        sole_at_26_mm=299,
        per_shell_mm=10,
        measured="printed",
        sizes="junior",
    ),
)

JUNIOR_SHELLS_MM: tuple[int, ...] = (185, 190, 195, 200, 205, 210, 215, 220, 225, 230, 235)
"""Invented: the open foot figures are of adults only."""

FITS: tuple[tuple[str, str, str, str], ...] = (
    ("ISO 5355 A", "Corrie 4+4", "Corrie maker's sheet C-11 2025", "Harbour maker's list 2025, page 3"),
    ("ISO 5355 A", "Corrie Walk 4+4", "Corrie maker's sheet CW-12 2025", "Harbour maker's list 2025, page 3"),
    ("ISO 5355 A", "Hirefold 4+4", "Hirefold hire sheet H-2 2024", "Harbour maker's list 2025, page 4"),
    ("ISO 5355 A", "Plinth 6", "Plinth sheet P-1 2021", "Harbour maker's list 2025, page 4"),
    ("ISO 23223", "Corrie Walk 4+4", "Corrie maker's sheet CW-12 2025", "Stroll maker's list 2025"),
    ("ISO 23223", "Hirefold 4+4", "Hirefold hire sheet H-2 2024", "Stroll maker's list 2025"),
    ("ISO 9523", "Tarn 4+4", "Tarn sheet T-5 2023", "Skint maker's list 2025"),
    ("75 mm", "Lerk 3+2", "Lerk sheet L-3 2022", "Tread maker's card 2025"),
    ("75 mm", "Lerk Cable 4+2", "Lerk sheet L-C 2022", "Tread maker's card 2025"),
    ("ISO 5355 C", "Pip 3+3", "Pip sheet J-1 2023", "Pup maker's list 2025"),
)
"""(sole type, pattern, binding maker's sheet, boot maker's sheet): only what both declared."""

STOCK: tuple[tuple[str, int, int, str], ...] = (
    ("Corrie 11", 6, 85, "2024"),
    ("Corrie 11", 5, 90, "2024"),
    ("Corrie Walk 12", 5, 85, "2025"),
    ("Corrie Walk 12", 9, 90, "2025"),
    ("Hirefold R", 5, 90, "2025"),
    ("Plinth P", 2, 80, "2021"),
    ("Tarn Frame", 7, 100, "2024"),
    ("Tarn Frame", 6, 105, "2025"),
    ("Lerk Three", 5, 120, "2023"),
    ("Lerk Cable", 8, 120, "2025"),
    ("Pip J", 13, 70, "2025"),
)
"""(binding model, pairs in stock, brake mm, season)."""

WANTED: tuple[tuple[str, str, int, int, str, str, int, int], ...] = (
    ("W-01", "alpine", 146, 153, "21.5", "24.5", 20, 1),
    ("W-02", "alpine", 153, 160, "24", "26", 24, 1),
    ("W-03", "alpine", 160, 167, "25.5", "27.5", 26, 1),
    ("W-04", "alpine", 167, 174, "27", "29.5", 22, 1),
    ("W-05", "alpine", 160, 174, "22", "30", 14, 2),
    ("W-06", "touring", 156, 164, "22.5", "25.5", 10, 1),
    ("W-07", "touring", 164, 172, "25.5", "28.5", 14, 1),
    ("W-08", "touring", 172, 180, "26", "30", 9, 2),
    ("W-09", "telemark", 162, 170, "22.5", "26", 12, 1),
    ("W-10", "telemark", 170, 178, "26", "29", 14, 1),
    ("W-11", "telemark", 178, 184, "30.5", "32", 2, 3),
    ("W-12", "junior", 100, 110, "18.5", "20", 15, 1),
    ("W-13", "junior", 110, 120, "20", "21.5", 15, 1),
    ("W-14", "junior", 120, 140, "21.5", "23.5", 22, 1),
)
"""(wish, kind, length from and to in cm, Mondopoint from and to in cm, sets, priority)."""
