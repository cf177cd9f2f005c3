"""The rings of one pair on a screen: a ring for each screw to tap, and what the taps say of each piece."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from fleet.base.errors import BadInput
from fleet.facts.holes import Side
from fleet.rules.looks import Found
from fleet.rules.recheck import ScrewDot
from planner.paper.recheck_list import PieceRings, rings_of

STRIP_WIDE: Final = 42.0
"""Width of one ski's strip in the drawing's millimetres: on a phone a ring is a finger wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TapWord:
    """One word that a tap gives a ring. ``sign`` is written in the ring, where the word has one."""

    key: str
    words: str
    found: Found
    sign: str = ""


TAP_WORDS: Final = (
    TapWord(key="not-moved", words="not moved", found=Found.NOT_MOVED),
    TapWord(key="eighth", words="turned, under ⅛", found=Found.TURNED_UNDER_AN_EIGHTH, sign="⅛"),
    TapWord(key="quarter", words="turned ¼", found=Found.TURNED, sign="¼"),
    TapWord(key="half", words="turned ½", found=Found.TURNED, sign="½"),
    TapWord(key="more", words="turned 1 or more", found=Found.TURNED, sign="1"),
    TapWord(key="spins", words="spins", found=Found.SPINS),
    TapWord(key="missing", words="missing", found=Found.MISSING),
    TapWord(key="cracked", words="cracked", found=Found.CRACKED),
    TapWord(key="not-reached", words="could not reach", found=Found.COULD_NOT_REACH, sign="?"),
)
"""The words in the order of the buttons; the first is that of most screws."""
_BY_KEY: Final = {word.key: word for word in TAP_WORDS}
_WORST: Final = (
    Found.MISSING,
    Found.CRACKED,
    Found.SPINS,
    Found.TURNED,
    Found.TURNED_UNDER_AN_EIGHTH,
    Found.COULD_NOT_REACH,
    Found.NOT_MOVED,
)
"""A piece is what the worst of its screws is; one that could not be reached hides no movement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SkiStrip:
    """One ski, tip to the right. ``pieces`` without rings where its screws are not in the ledger; ``marked``:
    those to look at first.
    """

    side: Side
    height: float
    pieces: tuple[PieceRings, ...]
    marked: frozenset[str]

    def rings(self, piece: PieceRings) -> Iterator[tuple[float, float, str, str, int]]:
        """Yield each screw: its place in the strip (mm), its name in the form, ``ring B toe 3``, counted from
        the tail, left before right, its name for a person, and its number in its piece; 0 where one ring
        stands for every screw.
        """
        many = len(piece.rings)
        for number, (x, y, _) in enumerate(piece.rings, start=1):
            which, shown = (f"screw {number} of {many}", number) if many > 1 else ("every screw", 0)
            name = f"ring {self.side} {piece.piece} {number}"
            yield x, y, name, f"ski {self.side}, {piece.piece}, {which}", shown


def strips_of(
    screws: Mapping[Side, tuple[ScrewDot, ...]],
    pieces: tuple[str, ...],
    marked: frozenset[tuple[Side, str]] = frozenset(),
) -> tuple[SkiStrip, ...]:
    """Return both skis. Where the ledger has no screws of a piece, one ring stands for all of them."""
    return tuple(_strip(side, screws.get(side, ()), pieces, marked) for side in Side)


def _strip(
    side: Side,
    dots: tuple[ScrewDot, ...],
    pieces: tuple[str, ...],
    marked: frozenset[tuple[Side, str]],
) -> SkiStrip:
    """Draw the rings as the paper list does; what has none gets a ring a piece, heel on the left."""
    known = {dot.piece for dot in dots}
    if not known.issuperset(pieces):
        names = sorted(pieces, key=lambda name: name != "heel")
        dots = tuple(ScrewDot(piece=name, x_um=at * 100_000, y_um=0) for at, name in enumerate(names))
    height, drawn = rings_of(dots, STRIP_WIDE)
    first = frozenset(piece for of, piece in marked if of is side)
    return SkiStrip(side=side, height=height, pieces=drawn, marked=first)


def findings(
    strips: tuple[SkiStrip, ...], fields: Mapping[str, str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what the taps say: the finding of each piece whose rings were all tapped or of which one moved,
    as it is typed (``B heel=spins``), and each ring that is not *not moved* in words.

    Raises BadInput for a word that no button has, and for a page that shows other screws than these.
    """
    others = {name for name in fields if name.startswith("ring ")}
    typed: list[str] = []
    said: list[str] = []
    for strip in strips:
        for piece in strip.pieces:
            shown = [(name, said) for _, _, name, said, _ in strip.rings(piece)]
            words = [_word(fields.get(name, "")) for name, _ in shown]
            others.difference_update(name for name, _ in shown)
            found = {word.found for word in words if word is not None}
            worst = next((each for each in _WORST if each in found), None)
            if worst is not None and (None not in words or worst.is_fault):
                typed.append(f"{strip.side.value} {piece.piece}={worst.value}")
            said += [
                f"{each}: {word.words}"
                for (_, each), word in zip(shown, words, strict=True)
                if word is not None and word.found is not Found.NOT_MOVED
            ]
    if others:
        raise BadInput(
            "the screws of this page are not those of the pair now",
            cure="open the page again, and look at each screw; nothing was entered",
        )
    return tuple(typed), tuple(said)


def _word(key: str) -> TapWord | None:
    if key and key not in _BY_KEY:
        raise BadInput("that is no word of a ring", cure="open the page again; nothing was entered")
    return _BY_KEY.get(key)
