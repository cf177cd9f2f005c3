"""Lengths: whole micrometres in memory, millimetres for people. The one place that rounds.

Axes (see DEVELOPERS.md): x runs along the centre line, positive toward the tip, from that ski's own
printed mark; y is positive to the right when looking at the tip.
"""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import lru_cache
from typing import Any, Final

UM_PER_MM: Final = 1000
BENCH_STEP_UM: Final = 500
"""The finest step that a bench sets and a person reads: half a millimetre (common practice, no source)."""


_TYPED: Final = re.compile(r"[+-]?(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})")


def typed_number(text: str) -> Decimal:
    """A number as a person types it: digits, a sign, a point. Raises ValueError for anything else.

    Python reads more as a number than anybody means: ``1e999999999`` (which takes hours), ``1_000``, ``NaN``.
    """
    if not _TYPED.fullmatch(text.strip()):
        raise ValueError(f"{_short(text)} is not a number")
    return Decimal(text.strip())


def typed_count(text: str) -> int:
    """A whole number from 0 up, in the digits 0 to 9. Raises ValueError for anything else, such as ``²``."""
    digits = text.strip()
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 12):
        raise ValueError(f"{_short(text)} is not a whole number from 0 up")
    return int(digits)


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "…")


def mm_to_um(value: str | int | float | Decimal) -> int:
    """Millimetres as written (``"12.5"``, ``12.5``) to whole micrometres.

    Raises ValueError for anything that is not a finite number with at most three decimals: a length
    finer than a micrometre is a slip of the pen, and silently rounding it would hide that.
    """
    if isinstance(value, bool):
        raise ValueError("True and False are not lengths")
    if isinstance(value, str):
        try:
            number = typed_number(value)
        except ValueError as fault:
            raise ValueError(f"{fault} of millimetres") from None
    else:
        number = Decimal(repr(value) if isinstance(value, float) else value)
    if not number.is_finite():
        raise ValueError(f"{value!r} is not a finite number of millimetres")
    scaled = number * UM_PER_MM
    if scaled != scaled.to_integral_value():
        raise ValueError(f"{value} mm is finer than a micrometre")
    return int(scaled)


def um_to_mm(value_um: int) -> float:
    """Micrometres to millimetres for JSON and CSV; exact to the third decimal."""
    return round(value_um / UM_PER_MM, 3)


def in_mm(said: Any) -> Any:
    """Plain values for other programs: ``x_um`` becomes ``x_mm`` at every depth, the rest stays as it is.

    This and `in_um` are the one way from a value in whole micrometres to FORMATS.md's millimetres and back.
    """
    if isinstance(said, str | int | None):  # most are: to ask whether it is a mapping takes longer
        return said
    if isinstance(said, Mapping):
        return {
            (named := _named_in_mm(key)): in_mm(inner) if named == key else _each_in_mm(inner)
            for key, inner in said.items()
        }
    return [in_mm(inner) for inner in said] if isinstance(said, list | tuple) else said


@lru_cache(maxsize=1024)
def _named_in_mm(key: str) -> str:
    return f"{key[:-3]}_mm" if key.endswith("_um") else key


def _each_in_mm(value: Any) -> Any:
    if isinstance(value, int):
        return um_to_mm(value)
    if isinstance(value, list | tuple):
        return [_each_in_mm(inner) for inner in value]
    return value if value is None or isinstance(value, str) else um_to_mm(value)


def in_um(said: Any) -> Any:
    """The inverse of `in_mm`, for single lengths. Raises ValueError or TypeError as `mm_to_um` does."""
    if isinstance(said, Mapping):
        return {
            f"{key[:-3]}_um" if key.endswith("_mm") else key: (
                in_um(inner) if not key.endswith("_mm") else _each_in_um(inner)
            )
            for key, inner in said.items()
        }
    return [in_um(inner) for inner in said] if isinstance(said, list) else said


def _each_in_um(value: Any) -> Any:
    """A word in the place of a number stays: whoever reads the value refuses what it does not know."""
    return value if value is None or isinstance(value, str) else mm_to_um(value)


def mm_text(value_um: int) -> str:
    """Exact millimetres without trailing zeros: ``305``, ``101.5``, ``0.35`` (for files, not people)."""
    text = f"{value_um / UM_PER_MM:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def to_half_mm(value_um: int) -> int:
    """The nearest half millimetre, in micrometres; ties go away from zero, so mirrored is alike."""
    steps = (abs(value_um) + BENCH_STEP_UM // 2) // BENCH_STEP_UM
    return steps * BENCH_STEP_UM if value_um >= 0 else -steps * BENCH_STEP_UM


def length_text(value_um: int) -> str:
    """A length for people, always with one decimal: half millimetres (``101.5``, ``-7.0``), and beside that
    grid the nearest tenth (``19.3`` of 19.25 mm); ties go away from zero.
    """
    tenths = (abs(value_um) + 50) // 100
    return f"{'-' if value_um < 0 and tenths else ''}{tenths / 10:.1f}"


def half_mm_down(value_um: int) -> str:
    """A distance for people, rounded down to half a millimetre: never kinder than the truth."""
    return length_text(value_um // BENCH_STEP_UM * BENCH_STEP_UM)


def counted(count: int, one: str, many: str = "") -> str:
    """``1 pair``, ``2 pairs``; ``many`` where an s does not do."""
    return f"{count} {one}" if count == 1 else f"{count} {many or one + 's'}"


def first_of(names: Sequence[str], most: int) -> str:
    """The first of several names, so many that a line holds them: ``K-1, K-2 and 3 more``."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def toward(value_um: int, *, zero: str = "on the mark") -> str:
    """An offset in words, never a bare sign: ``5.5 mm toward TAIL``, ``on the mark``."""
    text = length_text(abs(value_um))
    return zero if text == "0.0" else f"{text} mm toward {'TIP' if value_um > 0 else 'TAIL'}"


def along_text(x_um: int) -> str:
    """A place along the ski, from the mark, where room is short: ``143.5 TIP``, ``on the mark``."""
    text = length_text(abs(x_um))
    return "on the mark" if text == "0.0" else f"{text} {'TIP' if x_um > 0 else 'TAIL'}"


def across_text(y_um: int, *, unit: str = "") -> str:
    """A place across the ski, seen toward the tip: ``18.0 left``, ``centre line``; ``unit``: `` mm``."""
    text = length_text(abs(y_um))
    return "centre line" if text == "0.0" else f"{text}{unit} {'right' if y_um > 0 else 'left'}"


def checked_um(name: str, value: object) -> int:
    """The value as whole micrometres, or ValueError. ``bool`` is an ``int`` in Python; not here."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{name} must be whole micrometres, not {value!r}")
    return value
