"""Days out to the first movement, as a Kaplan-Meier curve. Mounts not moved yet are counted, not dropped."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt


@dataclass(frozen=True, slots=True)
class Span:
    """One mount: days out until it moved first, or until it was last seen unmoved."""

    days: int
    moved: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalStep:
    """One step of the curve. ``still``: share not moved after that day; ``error`` by Greenwood's formula."""

    day: int
    at_risk: int
    moved: int
    still: float
    error: float


def curve(spans: Iterable[Span]) -> tuple[SurvivalStep, ...]:
    """Return the product-limit estimate: one step a day on which something moved (Kaplan, Meier 1958)."""
    days: dict[int, list[bool]] = defaultdict(list)
    for span in spans:
        days[span.days].append(span.moved)
    at_risk, still, spread = sum(map(len, days.values())), 1.0, 0.0
    steps: list[SurvivalStep] = []
    for day, ended in sorted(days.items()):
        moved = sum(ended)
        if moved:
            still *= 1 - moved / at_risk
            if at_risk > moved:
                spread += moved / (at_risk * (at_risk - moved))
            steps.append(
                SurvivalStep(day=day, at_risk=at_risk, moved=moved, still=still, error=still * sqrt(spread))
            )
        at_risk -= len(ended)
    return tuple(steps)


def still_after(steps: Sequence[SurvivalStep], day: int) -> float:
    """The share that has not moved after that many days out."""
    reached = [step.still for step in steps if step.day <= day]
    return reached[-1] if reached else 1.0


def as_text(
    steps: Sequence[SurvivalStep],
    *,
    last_day: int,
    width: int = 60,
    height: int = 10,
    ascii_only: bool = False,
) -> str:
    """The curve for a terminal; the vertical axis runs from its lowest value to 100 %."""
    if not steps or last_day < 1:
        return "no screw moved on a day out yet: no curve to draw"
    floor = min(0.99, int(steps[-1].still * 20) / 20)
    full, empty = ("#", " ") if ascii_only else ("\u2588", " ")
    columns = [still_after(steps, round((column + 0.5) * last_day / width)) for column in range(width)]
    lines = []
    for row in range(height):
        top = 1 - row * (1 - floor) / height
        mark = f"{top * 100:5.1f} % |"
        # a share that equals the line counts as reaching it; 1e-12 is the rounding of `top`
        lines.append(mark + "".join(full if share >= top - 1e-12 else empty for share in columns).rstrip())
    bar = "+" + "-" * width
    lines.append(f"{floor * 100:5.1f} % {bar}")
    lines.append(f"{'':8}0{'days out':^{width - 2 - len(str(last_day))}}{last_day}")
    return "\n".join(lines)


def as_svg(steps: Sequence[SurvivalStep], *, last_day: int, title: str) -> str:
    """The curve with its pointwise 90 % band (normal approximation) as SVG, black on white."""
    from xml.sax.saxutils import escape

    width, height, left, top = 640, 320, 60, 40
    last = max(last_day, 1)
    floor = min((max(0.0, step.still - 1.645 * step.error) for step in steps), default=0.9)
    floor = min(0.95, int(floor * 20) / 20)

    def place(day: float, share: float) -> str:
        x = left + (width - left - 20) * day / last
        y = top + (height - top - 50) * (1 - share) / (1 - floor)
        return f"{x:.1f},{y:.1f}"

    line, low, high = [place(0, 1)], [place(0, 1)], [place(0, 1)]
    before = (1.0, 1.0, 1.0)
    for step in steps:
        now = (
            step.still,
            max(floor, step.still - 1.645 * step.error),
            min(1.0, step.still + 1.645 * step.error),
        )
        for points, was, value in zip((line, low, high), before, now, strict=True):
            points += [place(step.day, was), place(step.day, value)]
        before = now
    for points, value in zip((line, low, high), before, strict=True):
        points.append(place(last, value))
    ticks = ""
    for share in (1.0, (1 + floor) / 2, floor):
        y = place(0, share).split(",")[1]
        ticks += f'<text x="{left - 6}" y="{y}" text-anchor="end" dy="4">{share * 100:.0f} %</text>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif"'
        f' font-size="12"><rect width="{width}" height="{height}" fill="#fff"/>'
        f'<text x="{left}" y="22" font-size="15" font-weight="bold">{escape(title)}</text>'
        f'<polygon points="{" ".join(low + high[::-1])}" fill="#ddd"/>'
        f'<polyline points="{" ".join(line)}" fill="none" stroke="#000" stroke-width="2"/>'
        f'<path d="M{left},{top} V{height - 50} H{width - 20}" fill="none" stroke="#000"/>{ticks}'
        f'<text x="{left}" y="{height - 32}">0</text>'
        f'<text x="{width - 20}" y="{height - 32}" text-anchor="end">{last} days out</text>'
        f'<text x="{left}" y="{height - 10}">share not moved yet; grey: 90 % band, day by day</text></svg>\n'
    )
