"""Boot sole lengths: the shell size that stands in a BSL column, and the convention of 75 mm soles."""

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from fleet.facts.policy import Policy
from imports.answers import RIGHT, About, question_id
from imports.cells import Cell, Content
from imports.header_match import header_text
from imports.quantities import Doubt, amount_of, first_doubt, tidy
from imports.rows import FoundTable, Row

_SHELL: Final = "bsl_is_shell_size"
_MEASURE: Final = (
    "enter the sole length from the boot's heel or measured outside; the shell size has its own column"
)
_SURE: Final = re.compile(r"\bsole\b|\bbsl\b|sohle|semelle", re.IGNORECASE)
_DUCKBILL: Final = re.compile(
    r"\b75\s?mm\b|\b75\b|duck\s?bill|nordic norm|\bnn\s?75\b|schnabel", re.IGNORECASE
)
_CONVENTION: Final = "duckbill_convention"
_CONVENTIONS: Final = ("measured", "printed", "minus 10")
"""The answers to how a 75 mm sole was measured; the last is reduced already."""
_REDUCED: Final = re.compile(r"minus|reduced|less|moins|abz[uü]g|-\s?\d+", re.IGNORECASE)
_MEASURED: Final = re.compile(r"measur|ruler|rule\b|outside|gemessen|lineal|mesur|r[eè]gle", re.IGNORECASE)
_PRINTED: Final = re.compile(r"print|mark|label|aufdruck|gedruckt|imprim|inscrit|stamp|grav", re.IGNORECASE)

SHORTEST_SOLE_MM: Final = Decimal(200)
"""A sole shorter than this is asked about (common practice, no source: small juniors begin about there)."""
LONGEST_SOLE_MM: Final = Decimal(400)
"""A sole longer than this is asked about (common practice, no source: the largest shells end below it)."""
SHELL_LOOKALIKE_MM: Final = Decimal(275)
"""Up to here a multiple of 5 mm may as well be a shell size in mm, where no shell stands beside it."""
LEAST_OVER_SHELL_MM: Final = Decimal(15)
MOST_OVER_SHELL_MM: Final = Decimal(80)
"""A sole is longer than the foot it is for by 15 to 80 mm (common practice, no source; 75 mm soles most)."""

_EU_SIZES: Final = (Decimal(35), Decimal(52))
"""Above the first and up to the second a number under *size* is an EU size."""
_PARIS_POINT_MM: Final = Decimal(20) / 3
"""An EU size counts the last in Paris points of 2/3 cm (from memory: the size by its definition)."""


def is_duckbill(sole_type: str) -> bool:
    """Return whether a sole type is the 75 mm kind with a duckbill."""
    return bool(_DUCKBILL.search(sole_type))


def check_boot_sole(row: Row, policy: Policy) -> None:
    """Questions about a boot's BSL, then the duckbill convention; the number kept is the one that counts."""
    bsl, size = row.values.get("bsl_mm"), row.values.get("mondopoint")
    if isinstance(bsl, Decimal) and not _shorter_than_last(row, bsl):
        check_against_shell(row, bsl, size if isinstance(size, Decimal) else None)
    if row.verdict in ("good", "note") and isinstance(bsl, Decimal):
        _apply_convention(row, bsl, policy)


_BESIDE_SHELL: Final = (
    Doubt(
        lambda bsl, size: bsl - size * 10 < LEAST_OVER_SHELL_MM,
        _SHELL,
        "a sole of {0:f} mm with a shell of {1:f}: this looks like the shell size",
        _MEASURE,
    ),
    Doubt(
        lambda bsl, size: (bsl - size * 10) * (bsl - size * 10 > MOST_OVER_SHELL_MM),
        "bsl_far_from_shell",
        "a sole of {0:f} mm is {found:f} mm longer than the shell size {1:f}",
        "check both numbers against the boot",
    ),
)
_ALONE: Final = (
    Doubt(
        lambda bsl, _: bsl > LONGEST_SOLE_MM,
        "bsl_too_long",
        "{0:f} mm is long for a boot sole length",
        _MEASURE,
    ),
    Doubt(
        lambda bsl, _: bsl < SHORTEST_SOLE_MM,
        "bsl_too_short",
        "{0:f} mm is short for a boot sole length",
        _MEASURE,
    ),
    Doubt(
        lambda bsl, _: bsl <= SHELL_LOOKALIKE_MM and bsl % 5 == 0,
        _SHELL,
        "{0:f} may be a shell size and not a sole length; no shell size stands beside it",
        f'{_MEASURE}; if it is the sole, write "{{0:f}} mm sole"',
    ),
)


def check_against_shell(row: Row, bsl: Decimal, size: Decimal | None) -> None:
    """Ask where a number in a BSL column is, or may be, the shell size (``size`` in cm, if one is known)."""
    if said_to_be_sole(row) and bsl >= SHORTEST_SOLE_MM:
        return
    doubt = first_doubt(_ALONE if size is None else _BESIDE_SHELL, bsl, size)
    if doubt is not None:
        row.ask(doubt.code, doubt.message, doubt.fix, key="bsl_mm")


def _shorter_than_last(row: Row, bsl: Decimal) -> bool:
    """Ask where a sole is shorter than the last of the EU size beside it: a sole is longer than its last."""
    found = row.cells.get("mondopoint")
    return _asked_by_last(row, bsl, found[1] if found and row.values.get("mondopoint") is None else None)


def hear_eu_sizes(table: FoundTable, rows: Sequence[Row]) -> None:
    """Hold the soles of boots against their EU sizes, of which a column says by its header that they are."""
    said = (n for n, text in table.headers.items() if "eu" in header_text(text).words.split())
    column, raw = next(said, 0), dict(table.raw)
    for row in rows if column else ():
        bsl = row.values.get("bsl_mm")
        if isinstance(bsl, Decimal) and not _may_be_shell(row):
            _asked_by_last(row, bsl, raw[row.number].get(column))


def _asked_by_last(row: Row, bsl: Decimal, cell: Cell | None) -> bool:
    size = amount_of(cell.text) if cell is not None else None
    low, high = _EU_SIZES
    if size is None or not low < size.number <= high or bsl >= size.number * _PARIS_POINT_MM:
        return False
    if not (said_to_be_sole(row) and bsl >= SHORTEST_SOLE_MM):
        row.ask(
            _SHELL,
            f"a sole of {bsl:f} mm with an EU size of {size.number:f}: this looks like the shell size",
            _MEASURE,
            key="bsl_mm",
        )
    return True


def spread_shell_doubt(rows: Sequence[Row]) -> None:
    """Ask about all soles of a column of which more may be shells than are seen to be soles.

    ``rows``: of one table, each judged by itself before. Shells in mm go by fives; what does not is a sole.
    """
    doubtful = sum(map(_may_be_shell, rows))
    if not doubtful:
        return
    others = [
        row
        for row in rows
        if "bsl_mm" in row.cells and isinstance(row.values.get("bsl_mm"), Decimal)
        if not (_may_be_shell(row) or said_to_be_sole(row))
    ]
    if sum(_is_no_shell(row) or _has_witness(row) for row in others) >= doubtful:
        return
    for row in others:
        if _is_no_shell(row):
            continue
        row.ask(
            _SHELL,
            f"{row.values['bsl_mm']:f} stands in a column in which others may be shell sizes, all by fives",
            _MEASURE,
            key="bsl_mm",
        )


def _may_be_shell(row: Row) -> bool:
    """Return whether the row was asked about as a shell and nobody answered that it is a sole."""
    asked = {finding.question for finding in row.findings if finding.code in (_SHELL, "answered")}
    if not asked or row.answered(_SHELL, "bsl_mm") == RIGHT:
        return False
    return question_id(About.CHECK, row.table.value, _SHELL, "bsl_mm", row.sheet) in asked


def _is_no_shell(row: Row) -> bool:
    """Return whether somebody says that it is a sole, or its number does: shells in mm go by fives."""
    said = row.confirmed or row.answered(_SHELL, "bsl_mm") == RIGHT
    return said or row.values["bsl_mm"] % 5 != 0


def _has_witness(row: Row) -> bool:
    """Return whether the shell size beside it, or the holes of its mount, bear the sole out."""
    return isinstance(row.values.get("mondopoint"), Decimal) or row.values["bsl_mm"] <= SHELL_LOOKALIKE_MM


def said_to_be_sole(row: Row) -> bool:
    """Return whether the cell itself says that the number is a sole length (``265 mm sole``)."""
    found = row.cells.get("bsl_mm")
    return found is not None and found[1].content is Content.TEXT and bool(_SURE.search(found[1].text))


def _apply_convention(row: Row, bsl: Decimal, policy: Policy) -> None:
    if not is_duckbill(str(row.values.get("sole_type") or "")):
        return
    if (said := row.answered(_CONVENTION, "bsl_mm")) in _CONVENTIONS:
        row.values["bsl_measured"] = said
    how = tidy(str(row.values.get("bsl_measured") or ""))
    if _REDUCED.search(how):
        return
    if _MEASURED.search(how):
        minus = policy.number("duckbill_minus_mm")
        counts = bsl - minus
        row.values["bsl_mm"] = counts
        row.values["bsl_measured"] = f"measured {bsl:f} mm, duckbill minus {minus:f} mm"
        row.note(
            "duckbill_minus",
            f"a 75 mm sole measured {bsl:f} mm counts {counts:f} mm: {minus:f} mm are taken off at the toe "
            f"(policy duckbill_minus_mm, {policy.setting('duckbill_minus_mm').origin.split(':')[0]})",
            key="bsl_mm",
            taken=counts,
        )
    elif not _PRINTED.search(how):
        row.ask(
            _CONVENTION,
            f"a 75 mm sole of {bsl:f} mm: measured over the duckbill, or already reduced?",
            'enter "measured", "printed", or "minus 10" in bsl_measured',
            *_CONVENTIONS,
            key="bsl_mm",
        )
