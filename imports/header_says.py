"""Reads what a header says beside its name: the unit, from where it counts, and which way is plus.

``x from mark (mm, + to tip)`` is ``x`` in mm, from the mark, as we count. ``y (+ left)`` counts the other
way: its numbers are turned. Words of the languages of shops.
"""

import re
from functools import lru_cache
from typing import Final, NamedTuple


class HeaderSays(NamedTuple):
    """``words`` is what is left of the header; ``turned``: plus is the other way than ours.

    ``origin``: "mark" or "tail" where it says from where it counts; ``plus``: it says which way is plus, and
    ``across``: that way is left or right.
    """

    words: str
    unit: str = ""
    turned: bool = False
    from_tail: bool = False
    said: bool = False
    origin: str = ""
    plus: bool = False
    across: bool = False


_TIP: Final = (
    "tip|front|forward|forwards|nose|spitze|skispitze|vorn|vorne|schaufel|spatule|pointe|avant|devant|punta|davanti"
    "|avanti|delante|adelante|spatola|tupp|tuppen|spiss|spissen|spets|spetsen|fram|foran|spicka|spice|spicce|predu"
    "|vpred|przod|przodu|dziob|dziobu|konica|konici|spredaj|naprej|トップ|前|先端"
)
_TAIL: Final = (
    "tail|rear|back|backward|backwards|heel|ende|skiende|hinten|ferse|talon|arriere|derriere|coda|dietro|indietro"
    "|cola|atras|hale|halen|bak|bakende|bakenden|bakande|bakat|pata|paty|patce|vzadu|dozadu|tyl|tylu|pietka|pietki"
    "|rep|repu|repa|zadaj|nazaj|テール|後|後ろ"
)
RIGHT: Final = "right|rechts|droite|destra|derecha|hoyre|hoger|vpravo|pravo|prawo|w prawo|desno|右"
LEFT: Final = "left|links|gauche|sinistra|izquierda|venstre|vanster|vlevo|levo|lewo|w lewo|左"
_TO: Final = (
    r"(?:is |= |to |toward |towards |the |zur |zum |nach |richtung |vers |a |la |le |l |al |alla |verso "
    r"|hacia |il |el |mot |till |til |k |ke |do |ku |proti |na )*"
)
_FROM: Final = (
    r"(?:from|off|ab|von|vom|von der|ab der|depuis|du|de|dal|dalla|dallo|desde|fra|fran|od|z)"
    r"(?: (?:the|la|le|il|el|mounting|montage|boot|ski))*"
)
_MARK: Final = (
    "mark|centre mark|center mark|line|marke|markierung|montagemarke|montagepunkt|repere|marque|ligne|segno"
    "|marca|merke|merket|marke|markering|znacka|znacky|znak|znaku|oznaka|oznake|マーク|基準線"
    "|strek|streken|streck|strecket|strich|trait|linea|kreska|kreski|ryska|rysky|crta|crte"
)
_VIEWED: Final = re.compile(
    rf"(?:looking|look|seen|viewed|blick|gesehen|vu|vue|visto|sett|pohled|pri pogledu)"
    rf"(?P<from> from| von| de| da| desde| fra| fran)?(?: at| towards?| to| vers| verso| hacia| mot| auf| zur"
    rf"| zum| the| la| le| der| die)*\s+(?P<what>{_TIP}|{_TAIL})\b"
)
_PLUS: Final = re.compile(
    rf"(?:\+|\bplus|\bpositive?) ?{_TO}(?P<after>{_TIP}|{_TAIL}|{RIGHT}|{LEFT})\b"
    rf"|\b(?P<before>{_TIP}|{_TAIL}|{RIGHT}|{LEFT}) (?:is )?(?:\+|plus\b|positive?\b)"
    rf"(?! ?{_TO}(?:{_TIP}|{_TAIL}|{RIGHT}|{LEFT})\b)"
)
_ORIGIN: Final = re.compile(rf"\b{_FROM} (?P<where>{_MARK}|{_TAIL}|{_TIP})\b")
_BESIDE_MARK: Final = re.compile(
    rf"\b(?P<way>behind|ahead of|in front of|hinter|vor|derriere|devant)(?: (?:the|der|le|la))? (?:{_MARK})\b"
)
_UNIT: Final = re.compile(r"\b(mm|cm|inch|inches|zoll)\b")
_MILLIMETRES: Final = re.compile(r"\b(?:milli|centi)met(?:er|re)s?\b|\bmillimetri\b|\bcentimetri\b")


@lru_cache(maxsize=20_000)
def header_says(words: str) -> HeaderSays:
    """Take apart the plain words of a header (as `header_text` gives them, brackets undone)."""
    turned = from_tail = said = way_said = across = False
    where = ""
    rest = _MILLIMETRES.sub(lambda m: "cm" if m[0].startswith("centi") else "mm", words)
    if viewed := _VIEWED.search(rest):
        at_tip = _is(_TIP, viewed["what"]) != bool(viewed["from"])
        turned, said = turned ^ (not at_tip), True
        rest = _cut(rest, viewed)
    while plus := _PLUS.search(rest):
        way = plus["after"] or plus["before"]
        turned, said, way_said = turned ^ _is(f"{_TAIL}|{LEFT}", way), True, True
        across = _is(f"{RIGHT}|{LEFT}", way)
        after = re.sub(rf"^ ?{_TO}(?:{_opposite(way)})\b", " ", rest[plus.end() :])
        rest = f"{rest[: plus.start()]} {after}"
    if origin := _ORIGIN.search(rest):
        if _is(_TIP, origin["where"]):
            return HeaderSays(words)
        from_tail, said = _is(_TAIL, origin["where"]), True
        where = "tail" if from_tail else "mark"
        rest = _cut(rest, origin)
    if beside := _BESIDE_MARK.search(rest):
        turned, said = turned ^ (beside["way"] in ("behind", "hinter", "derriere")), True
        where, way_said = "mark", True
        rest = f"{rest[: beside.start()]} from mark {rest[beside.end() :]}"
    unit = ""
    if stated := _UNIT.search(rest):
        unit = "in" if stated[1][0] in "iz" else stated[1]
        rest = _cut(rest, stated)
    return HeaderSays(" ".join(rest.split()), unit, turned, from_tail, said, where, way_said, across)


def _opposite(way: str) -> str:
    """The words for the other end of that way: ``- tail`` after ``+ tip`` says nothing new."""
    ways = (_TIP, _TAIL, RIGHT, LEFT)
    return ways[next(n for n, words in enumerate(ways) if _is(words, way)) ^ 1]


def is_mark(words: str) -> bool:
    """Return whether the words say no more than the mark of a ski."""
    return _is(_MARK, words)


def _is(words: str, word: str) -> bool:
    return word in words.split("|")


def _cut(text: str, found: re.Match[str]) -> str:
    return f"{text[: found.start()]} {text[found.end() :]}"
