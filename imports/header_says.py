"""Reads what a header says beside its name: the unit, from where it counts, and which way is plus.

``x from mark (mm, + to tip)`` is ``x`` in mm, from the mark, as we count. ``y (+ left)`` counts the other
way: its numbers are turned. Words of the languages of shops.

Some headers place one hole each: ``toe front from mark``, ``width heel``, ``B x``, ``y 2``. Shops keep one
ski a row, with a distance along the ski for each row of screws and a width for each piece; or both skis in
one row. A header says which ski, which piece and end, and what its number is.
"""

import re
from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import Final, NamedTuple

from fleet.base.files import csv_rows


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


_WORDS_FILE: Final = Path(__file__).with_name("hole_words.csv")
_ACROSS: Final = ("y", "width", "half width", "left", "right")


class HoleHeader(NamedTuple):
    """``what``: x, y, width, half width, left or right; ``words``: the header without its ski.

    ``piece`` and ``end`` name the holes; ``origin``: mark, tail, or the name of the holes it counts from;
    each is "" where the header says none. ``plus_said``: it says which way is plus; ``explicit``: x or y.
    """

    words: str
    what: str
    side: str = ""
    piece: str = ""
    end: str = ""
    unit: str = ""
    origin: str = ""
    turned: bool = False
    plus_said: bool = False
    explicit: bool = False

    @property
    def name(self) -> str:
        """The holes that it places: ``toe front``, ``heel``, ``2``."""
        return " ".join(part for part in (self.piece, self.end) if part)

    @property
    def key(self) -> str:
        """Its column's key, which no value of ours has."""
        return " ".join(part for part in ("hole", self.side, self.name, self.what) if part)

    @property
    def across(self) -> bool:
        """Return whether its number lies across the ski."""
        return self.what in _ACROSS


@cache
def _parts() -> Mapping[str, str]:
    """Plain words -> what they say, the longest first."""
    rows = [(words, row["part"]) for row in csv_rows(_WORDS_FILE) for words in row["words"].split("|")]
    found: dict[str, str] = {}
    for words, part in sorted(rows, key=lambda row: -len(row[0])):
        found.setdefault(words, part)
    return found


_SKI: Final = "ski|skis|schi|sci|esqui|skien|skida|skidan|lyze|narta|smucka|smuci"
_SIDED: Final = re.compile(
    rf"\b(?:(?P<left>{LEFT})|(?:{RIGHT})) (?:{_SKI})\b|\b(?:{_SKI}) (?:(?P<left_>{LEFT})|(?:{RIGHT}))\b"
)


def by_letter(words: str) -> str:
    """The words with ``left ski`` as ski A and ``right ski`` as ski B, which is said as a note."""
    return _SIDED.sub(lambda m: "a" if m["left"] or m["left_"] else "b", words)


def ski_of(words: str) -> tuple[str, str]:
    """(side, the rest) of a header that names one ski at its beginning or end: ``a toe``, ``toe ski b``."""
    words = by_letter(words)
    for pattern in (
        r"^(?:ski |schi |sci )?(?P<side>[ab]) (?P<rest>.+)$",
        r"^(?P<rest>.+?) (?:(?:of|on) )?(?:ski |schi |sci )?(?P<side>[ab])$",
    ):
        if found := re.match(pattern, words):
            return found["side"].upper(), found["rest"]
    return "", words


@lru_cache(maxsize=20_000)
def hole_header(words: str) -> HoleHeader | None:
    """Take apart the plain words of a header (as `header_text` gives them); None where it places no hole."""
    if not words or len(words) > 80:
        return None
    words = by_letter(words)
    side, said_of = ski_of(words)
    origin, rest = _counted_from_holes(said_of)
    says = header_says(rest)
    if not side:
        side, left = ski_of(says.words)
        says = says._replace(words=left)
        said_of = _without_ski(said_of, side) if side else said_of
    origin = origin or says.origin
    found = _named(says.words.removesuffix("from mark").split())
    if found is None:
        return None
    what, piece, end, explicit = found
    if explicit and not side and not (piece or end):
        return None  # a plain column of a list with one hole a row
    return HoleHeader(
        words=said_of,
        what=what,
        side=side,
        piece=piece,
        end=end,
        unit=says.unit,
        origin=origin,
        turned=says.turned,
        plus_said=says.plus,
        explicit=explicit,
    )


def _without_ski(words: str, side: str) -> str:
    return " ".join(
        re.sub(rf"\b(?:(?:of|on) )?(?:ski |schi |sci )?{side.lower()}\b", " ", words, count=1).split()
    )


def _counted_from_holes(words: str) -> tuple[str, str]:
    """(the holes that it counts from, the rest): ``toe rear from toe front`` counts from ``toe front``."""
    tokens = words.split()
    at = next((n for n, token in enumerate(tokens) if _parts().get(token) == "from"), 0)
    before, others = _named(tokens[:at]), tokens[at + 1 :]
    if before is None:
        return "", words
    found = _named(others)
    if found is None and before[2] and not header_says(words).said:
        found = _named([before[1], *others])  # "rear from front" of a piece, but not "rear from back"
    if found is None or found[0] != "x" or not (found[1] or found[2]):
        return "", words
    return " ".join(part for part in (found[1] or before[1], found[2]) if part), " ".join(tokens[:at])


@cache
def _said_of_holes() -> re.Pattern[str]:
    """Each word or phrase that says something of holes; `x1` says along, and a number."""
    phrases = "|".join(map(re.escape, _parts()))
    return re.compile(
        rf"(?<!\S)(?:(?P<axis>[xy])(?P<number>\d{{1,2}})|(?P<phrase>{phrases})|(?P<count>\d{{1,2}}))(?!\S)"
    )


def _named(tokens: list[str]) -> tuple[str, str, str, bool] | None:
    """(what, piece, end, whether it says x or y); None where a word says something else."""
    words = " ".join(tokens)
    found = list(_said_of_holes().finditer(words))
    if _said_of_holes().sub("", words).strip():
        return None
    said = {each["axis"] or _parts().get(each["phrase"], "") for each in found}
    numbers = [each["number"] or each["count"] for each in found if not each["phrase"]]
    pieces = [part for part in ("toe", "heel") if part in said]
    ends = [part for part in ("front", "rear", "middle") if part in said]
    along, over = "x" in said, "y" in said
    if len(pieces) > 1 or (along and over) or "from" in said:
        return None
    sides = [part for part in ("left", "right") if part in said]
    wide = [part for part in ("half width", "width") if part in said]
    if len(sides) + len(wide) > 1 or len(ends) > 1:
        return None
    end = " ".join([*ends, *numbers])
    piece = pieces[0] if pieces else ""
    if along or over:
        return "x" if along else "y", piece, " ".join([*([end] if end else []), *sides]), True
    if not piece:
        return None
    return (wide or sides or ["x"])[0], piece, end, False
