"""Make the sample fleet's files again: `python -m sample_fleet.generate`. The same seed, the same files.

One workbook (fleet.xlsx) and its csv twins (csv/), and the mounts the holes came from (told_mounts.csv).
Foot lengths are distributed as the open figures in foot_lengths.csv; all else is invented.
"""

from __future__ import annotations

import csv
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

from fleet.base.units import mm_text, mm_to_um
from fleet.facts.holes import HoleState, Knowledge
from imports.headers import CLEAN_WORKBOOK
from imports.new_workbook import new_workbook
from sample_fleet.histories import BY_NAME, HISTORIES, SURVEY_ERROR_UM, Story, holes_um
from sample_fleet.invented import (
    BOOT_MODELS,
    FITS,
    JUNIOR_SHELLS_MM,
    PATTERNS,
    SKI_BATCHES,
    STOCK,
    WANTED,
    BootModel,
    SkiBatch,
)

if TYPE_CHECKING:
    from xlsxwriter import Workbook

HERE: Final = Path(__file__).parent
SEED: Final = 2610
LYING_MARK_UM: Final = 3_000
"""On one pair ski B's printed mark sits this much too far toward the tip."""
LYING_PAIR: Final = 72
"""Its number: a flat pair of the Sallow 82, surveyed bare, so that a plan may want it."""
FORWARD_UM: Final = 3_000
"""On one pair the old binding stood this much nearer the tip than the mark."""
FORWARD_PAIR: Final = 89
"""Its number: a flat pair of the Sallow 82, so that its old holes serve only with the boot centre moved."""
DRILL_MM: Final = {"no metal": "3.6", "metal": "4.1", "thin core": "3.6", "": ""}
DEPTH_MM: Final = {"no metal": "9", "metal": "9", "thin core": "7", "": ""}

Row = dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePair:
    """A pair of the story with its number, length and what happened to it."""

    number: int
    batch: SkiBatch
    length_cm: int
    story: Story

    @property
    def tag(self) -> str:
        """The asset tag."""
        return f"K-{self.number:03d}"

    @property
    def lying(self) -> bool:
        """Whether ski B's mark lies."""
        return self.number == LYING_PAIR

    @property
    def mark_from_tail_um(self) -> int:
        """Invented rule: the mark sits a little behind the middle of the ski."""
        return (self.length_cm * 4_460 + 20_000) // 500 * 500


def pairs(rng: random.Random) -> Iterator[OnePair]:
    """All pairs, batch by batch, lengths in the order the batch lists them."""
    number = 0
    for batch in SKI_BATCHES:
        turn = 0
        for length_cm, count in batch.lengths:
            for _ in range(count):
                number += 1
                name = batch.histories[turn % len(batch.histories)]
                turn += 1
                story = HISTORIES[name](batch, length_cm, rng)
                if number == FORWARD_PAIR:
                    story.mounts = [
                        replace(mount, offset_um=mount.offset_um + FORWARD_UM) for mount in story.mounts
                    ]
                yield OnePair(number=number, batch=batch, length_cm=length_cm, story=story)


def ski_rows(pair: OnePair) -> list[Row]:
    """One row a pair, or two for the pair whose marks differ."""
    sides = ["A", "B"] if pair.lying else [""]
    return [_ski_row(pair, side) for side in sides]


def _ski_row(pair: OnePair, side: str) -> Row:
    batch, story = pair.batch, pair.story
    now = story.mounts[-1] if story.mounts and story.mounts[-1].off is None else None
    shift = LYING_MARK_UM if side == "B" else 0
    half_width = batch.waist_mm // 2 - 1
    return {
        "tag": pair.tag,
        "model": batch.model,
        "kind": batch.kind,
        "ski": side,
        "length_cm": str(pair.length_cm),
        "waist_mm": str(batch.waist_mm),
        "construction": batch.construction,
        "mark_offset_mm": mm_text(now.offset_um - shift) if now else "",
        "mark_from_tail_mm": mm_text(pair.mark_from_tail_um + shift) if story.mark_known else "",
        "zone_back_mm": _zone(pair, 255, 190) if story.zone_known else "",
        "zone_front_mm": _zone(pair, 225, 175) if story.zone_known else "",
        "zone_half_width_mm": str(half_width) if story.zone_known else "",
        "inspected": story.inspected[0],
        "inspected_on": story.inspected[1],
        "binding_model": BY_NAME[now.pattern].binding_model if now else "",
        "brake_mm": str(batch.brake_mm or "none") if now else "",
        "bsl_mm": str(now.bsl_mm) if now else "",
        "mount_date": now.on if now else "",
        "earlier_mounts": str(len(story.mounts) - (now is not None)),
        "rack": f"{batch.rack}-{(pair.number - 1) % 24 + 1:02d}",
    }


def _zone(pair: OnePair, adult: int, junior: int) -> str:
    return str(junior if pair.batch.kind == "junior" else adult)


def hole_rows(pair: OnePair, rng: random.Random) -> list[Row]:
    """The holes of every told mount that somebody wrote down, ski by ski, newest mount first."""
    rows: list[Row] = []
    for mount in reversed(pair.story.mounts):
        if mount.known is None:
            continue
        points = holes_um(BY_NAME[mount.pattern], bsl_mm=mount.bsl_mm, offset_um=mount.offset_um)
        for side in ["both"] if pair.story.both else ["A", "B"]:
            for index, (x_um, y_um) in enumerate(points):
                state = mount.state
                if pair.story.stripped and side == "A" and index == 1 and mount is pair.story.mounts[-1]:
                    state = HoleState.STRIPPED
                shift = LYING_MARK_UM if pair.lying and side == "B" else 0
                dx, dy = _survey_error(rng) if mount.known is Knowledge.MEASURED_BARE else (0, 0)
                sized = pair.story.diameter_known
                rows.append(
                    {
                        "pair_tag": pair.tag,
                        "ski": side,
                        "x_mm": mm_text(x_um - shift + dx),
                        "y_mm": mm_text(y_um + dy),
                        "diameter_mm": DRILL_MM[pair.batch.construction] if sized else "",
                        "depth_mm": DEPTH_MM[pair.batch.construction] if sized else "",
                        "state": state.value,
                        "knowledge": mount.known.value,
                    }
                )
    return rows


def _survey_error(rng: random.Random) -> tuple[int, int]:
    steps = SURVEY_ERROR_UM // 100
    return rng.randint(-steps, steps) * 100, rng.randint(-steps, steps) * 100


def told_rows(pair: OnePair) -> list[Row]:
    """The mounts behind the holes: for the tests and for the curious, not part of the inventory."""
    return [
        {
            "pair_tag": pair.tag,
            "pattern": mount.pattern,
            "bsl_mm": str(mount.bsl_mm),
            "offset_mm": mm_text(mount.offset_um),
            "on": mount.on,
            "off": mount.off or "",
            "written_down": "yes" if mount.known else "no",
        }
        for mount in pair.story.mounts
    ]


def foot_lengths_mm(count: int) -> list[float]:
    """``count`` feet at evenly spaced quantiles of the open adult figures, men and women by their share.

    No luck is involved: evenly spaced quantiles follow a distribution better than any random draw.
    """
    feet: list[float] = []
    with (HERE / "foot_lengths.csv").open(encoding="utf-8", newline="") as file:
        groups = list(csv.DictReader(file))
    left = count
    for number, group in enumerate(groups):
        last = number == len(groups) - 1
        share = left if last else round(count * float(group["share_of_customers_percent"]) / 100)
        left -= share
        normal = NormalDist(float(group["foot_mean_mm"]), float(group["foot_sd_mm"]))
        feet += [normal.inv_cdf((i + 0.5) / share) for i in range(share)]
    return sorted(feet)


def boot_rows(rng: random.Random) -> list[Row]:
    """All boots, numbered model by model. Shell x.0 and x.5 share a sole (common practice, no source)."""
    rows: list[Row] = []
    for model in BOOT_MODELS:
        for shell_mm in _shells_mm(model, rng):
            sole = model.sole_at_26_mm + model.per_shell_mm * (shell_mm // 10 - 26)
            rows.append(
                {
                    "tag": f"B-{len(rows) + 1:03d}",
                    "model": model.model,
                    "mondopoint": mm_text(shell_mm * 100),
                    "bsl_mm": str(sole + model.duckbill_mm),
                    "bsl_measured": model.measured,
                    "sole_type": model.sole_type,
                }
            )
    return rows


def _shells_mm(model: BootModel, rng: random.Random) -> list[int]:
    """Mondopoint is the foot length (ISO 9407); shops stock half sizes, rounded to the nearest."""
    if model.sizes == "junior":
        return sorted(rng.choice(JUNIOR_SHELLS_MM) for _ in range(model.pairs))
    return [round(foot / 5) * 5 for foot in foot_lengths_mm(model.pairs)]


def pattern_rows() -> list[Row]:
    """One row a hole."""
    return [
        {
            "pattern": pattern.name,
            "binding_model": pattern.binding_model,
            "piece": piece.name.value,
            "follows": piece.follows.value,
            "x_mm": mm_text(hole.x_um),
            "y_mm": mm_text(hole.y_um),
            "diameter_mm": "",
            "travel_back_mm": mm_text(piece.travel_back_um),
            "travel_forward_mm": mm_text(piece.travel_forward_um),
            "bsl_min_mm": mm_text(pattern.bsl_min_um or 0),
            "bsl_max_mm": mm_text(pattern.bsl_max_um or 0),
            "binding_kind": pattern.binding_kind,
            "screw": piece.screw,
            "screw_origin": piece.screw_origin,
        }
        for pattern in PATTERNS
        for piece in pattern.pieces
        for hole in piece.holes
    ]


def staff_rows() -> list[Row]:
    """As staff.csv says."""
    with (HERE / "staff.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def tables() -> dict[str, list[Row]]:
    """Every sheet's rows, and ``told`` with the mounts behind the holes."""
    made = _tables()
    for row in (*made["Skis"], *made["Boots"]):
        row |= SAID.get(row["tag"], {})
    return made


def _tables() -> dict[str, list[Row]]:
    rng = random.Random(SEED)
    fleet = list(pairs(rng))
    return {
        "Skis": [row for pair in fleet for row in ski_rows(pair)],
        "Boots": boot_rows(rng),
        "Bindings": [
            dict(zip(("model", "quantity", "brake_mm", "season"), map(str, line), strict=True))
            | {"serial": ""}
            for line in STOCK
        ],
        "Patterns": pattern_rows(),
        "Holes": [row for pair in fleet for row in hole_rows(pair, rng)],
        "Fits": [
            dict(zip(("sole_type", "pattern", "binding_sheet", "boot_sheet"), line, strict=True))
            for line in FITS
        ],
        "Wanted": [
            dict(
                zip(
                    (
                        "wish",
                        "kind",
                        "length_min_cm",
                        "length_max_cm",
                        "mondopoint_min",
                        "mondopoint_max",
                        "quantity",
                        "priority",
                    ),
                    map(str, line),
                    strict=True,
                )
            )
            for line in WANTED
        ],
        "Staff": staff_rows(),
        "counter day": counter_day_rows(rng),
        "told": [row for pair in fleet for row in told_rows(pair)],
    }


def counter_day_rows(rng: random.Random) -> list[Row]:
    """One busy day: who asks for what, who comes back and says what. Parties are numbers, not people.

    The counter finds a ready set for each party; the csv names no ski, because that is the day's work.
    """
    rows: list[Row] = []
    adults = foot_lengths_mm(PARTIES)
    for party in range(1, PARTIES + 1):
        kind, low, high = COUNTER_KINDS[party % len(COUNTER_KINDS)]
        shell_mm = (
            rng.choice(JUNIOR_SHELLS_MM) if kind == "junior" else round(adults[(party * 7) % PARTIES] / 5) * 5
        )
        minute = 8 * 60 + 20 + party * 4
        ask = {
            "at": f"{minute // 60:02d}:{minute % 60:02d}",
            "event": "asks",
            "party": f"{party:02d}",
            "kind": kind,
            "mondopoint": mm_text(shell_mm * 100),
            "length_min_cm": str(low),
            "length_max_cm": str(high),
            "says": "",
        }
        rows.append(ask)
        if party in STAY_OUT:
            continue
        minute = 15 * 60 + 10 + (party * 11) % PARTIES * 4
        rows.append(
            dict.fromkeys(ask, "")
            | {
                "at": f"{minute // 60:02d}:{minute % 60:02d}",
                "event": "back",
                "party": f"{party:02d}",
                "says": REMARKS.get(party, ""),
            }
        )
    return sorted(rows, key=lambda row: (row["at"], row["party"]))


PARTIES: Final = 36
STAY_OUT: Final = frozenset({9, 23})
"""Parties with a set for two days."""
REMARKS: Final = {4: "felt loose", 17: "fell hard", 30: "felt loose"}
COUNTER_KINDS: Final = (
    ("alpine", 146, 167),
    ("alpine", 153, 174),
    ("junior", 100, 130),
    ("touring", 156, 172),
    ("alpine", 160, 174),
    ("telemark", 162, 178),
)


SAID: Final[dict[str, Row]] = {
    "K-073": {"notes": "base patched at the tail"},
    "K-232": {"notes": "heel loose!!"},
    "B-007": {"wear": "worn", "notes": "left buckle replaced"},
}
"""Written beside a pair or boot. An alarm word keeps K-232 out of the plan until somebody answers it."""

_TEXT_COLUMNS: Final = frozenset(
    {"tag", "pair_tag", "season", "wish", "inspected_on", "mount_date", "valid_until"}
)


def write_csv(path: Path, rows: list[Row], keys: tuple[str, ...]) -> None:
    """One table, UTF-8, LF, in the given column order."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, keys, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_workbook(path: Path, sheets: dict[str, list[Row]]) -> None:
    """The same rows as one workbook: numbers as numbers, tags and days as text or dates."""
    with new_workbook() as (book, out):
        _fill_workbook(book, sheets)
    path.write_bytes(out.getvalue())


def _fill_workbook(book: Workbook, sheets: dict[str, list[Row]]) -> None:
    book.set_properties({"title": "Sample fleet (invented)", "created": datetime(2025, 10, 1)})  # noqa: DTZ001
    head = book.add_format({"bold": True, "bottom": 1})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    for plan in CLEAN_WORKBOOK:
        sheet = book.add_worksheet(plan.sheet)
        sheet.freeze_panes(1, 0)
        for column, key in enumerate(plan.keys):
            sheet.write_string(0, column, key, head)
            sheet.set_column(column, column, max(9, len(key) + 2))
        for row_number, row in enumerate(sheets[plan.sheet], start=1):
            for column, key in enumerate(plan.keys):
                text = row.get(key, "")
                if not text:
                    continue
                if key in ("inspected_on", "mount_date", "valid_until"):
                    sheet.write_datetime(row_number, column, datetime.fromisoformat(text), day)
                elif key not in _TEXT_COLUMNS and _is_number(text):
                    sheet.write_number(row_number, column, float(text))
                else:
                    sheet.write_string(row_number, column, text)


def _is_number(text: str) -> bool:
    try:
        mm_to_um(text)
    except ValueError:
        return False
    return True


def main(folder: Path = HERE) -> None:
    """Write every file of the sample fleet into the folder."""
    made = tables()
    (folder / "csv").mkdir(exist_ok=True)
    for plan in CLEAN_WORKBOOK:
        write_csv(folder / "csv" / f"{plan.sheet.lower()}.csv", made[plan.sheet], plan.keys)
    write_csv(folder / "counter_day.csv", made["counter day"], tuple(made["counter day"][0]))
    write_csv(folder / "told_mounts.csv", made["told"], tuple(made["told"][0]))
    write_workbook(folder / "fleet.xlsx", made)


if __name__ == "__main__":
    main()
