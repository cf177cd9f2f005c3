"""The signs for holes: told apart by form first, by colour second, and still apart in grey.

diamond: drill new · heavy ring: reuse · half-filled ring: plug today · thin ring: open · grey disc: plugged ·
ring with a dot: insert · ring with a bar: stripped · ring with a slot: screw stays in. A dashed outline
means that the place is not known from a measurement.
"""

from math import cos, pi, sin

from fleet.facts.holes import HoleState, Knowledge
from planner.paper.shapes import GARNET, INK, PINE, STEEL, WHITE, Anchor, Drawing, Face

_UNSURE = (Knowledge.BATCH_ASSUMED, Knowledge.TEMPLATE, Knowledge.SUSPECTED)


def screw_sign(d: Drawing, x: float, y: float, do: str, label: str, *, scale: float = 1.0) -> None:
    """The sign of one screw of the order, with its number: a filled diamond where a new hole is drilled, a
    heavy ring for an old hole that takes a screw again.
    """
    r, ink = (2.9 * scale, WHITE) if do == "drill" else (2.5 * scale, INK)
    if do == "drill":
        d.poly([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], fill=GARNET, stroke=WHITE, width=0.3)
    else:
        d.disc(x, y, r, fill=WHITE, stroke=PINE, width=0.85)
    size = 8.2 if len(label) == 1 else 7.6
    d.words(x, y + size * 0.127, label, size=size * r / 2.7, face=Face.BOLD, fill=ink, anchor=Anchor.MIDDLE)


def old_hole_sign(
    d: Drawing,
    x: float,
    y: float,
    state: HoleState,
    *,
    plug: bool = False,
    knowledge: Knowledge = Knowledge.MEASURED_HERE,
    r: float = 1.55,
) -> None:
    """A hole that takes no screw of this order, by its state; ``plug``: it is closed today."""
    dash = (0.5, 0.4) if knowledge in _UNSURE else ()
    if plug:
        d.disc(x, y, r * 1.25, fill=WHITE, stroke=INK, width=0.4)
        d.poly(_lower_half(x, y, r * 1.25), fill=INK)
        if state is HoleState.STRIPPED:
            d.line(x - r * 1.7, y + r * 1.7, x + r * 1.7, y - r * 1.7, stroke=INK, width=0.4)
        return
    if state is HoleState.PLUGGED:
        d.disc(x, y, r, fill=STEEL, stroke=INK, width=0.2, dash=dash)
        return
    d.disc(x, y, r, fill=WHITE, stroke=INK, width=0.3, dash=dash)
    if state is HoleState.INSERT:
        d.disc(x, y, r * 0.45, fill=INK)
    elif state is HoleState.STRIPPED:
        k = r * 1.25
        d.line(x - k, y + k, x + k, y - k, stroke=INK, width=0.4)
    elif state is HoleState.SCREWED:
        d.line(x - r * 0.6, y, x + r * 0.6, y, stroke=INK, width=0.35)


def state_legend(d: Drawing, x: float, y: float, *, r: float) -> float:
    """Write every state of a hole beside its sign, in one line from ``x`` on; return where that ends."""
    for state in HoleState:
        old_hole_sign(d, x, y, state, r=r)
        d.words(x + 2 * r, y + 1, state.value, size=8)
        x += 24
    return x


def _lower_half(x: float, y: float, r: float) -> list[tuple[float, float]]:
    return [(x + r * cos(pi * k / 8), y + r * sin(pi * k / 8)) for k in range(9)]
