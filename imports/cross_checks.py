"""Checks between rows: repeats, contradictions, things that point nowhere, numbers that rise by one."""

import re
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import groupby
from typing import Final

from fleet.base.grouping import grouped
from fleet.facts.columns import columns_of
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from imports.answers import KEEP_FIRST, KEEP_LAST, LEAVE_OUT, About, question_id, short
from imports.findings import FINE, Severity
from imports.headers import Table
from imports.hole_witness import measure_from_mark
from imports.propose_notes import with_note
from imports.rows import CALLED_BY, Row

_Say = Callable[[Row], Callable[..., None]]


def check_together(rows: Sequence[Row], *, exported: bool = False, fleet: Fleet | None = None) -> None:
    """All rules over the rows of one reading. Rows that repeat another are marked ``repeat``.

    In an export (``exported``) two tags that look alike were settled when they came in: a note, no question.
    ``fleet``: what the ledger knows of them.
    """

    def say(row: Row) -> Callable[..., None]:
        return row.note if exported else row.ask

    measure_from_mark(rows, fleet)
    for table in Table:
        _repeats([row for row in rows if row.table is table])
    _split_pairs([row for row in rows if row.table is Table.SKI])
    for table in (Table.SKI, Table.BOOT):
        _near_tags([row for row in rows if row.table is table], say)
    _one_ski_tags(rows, say)
    _shared_tags(rows)
    _remarks_in_names(rows)


def _remarks_in_names(rows: Sequence[Row]) -> None:
    """``Teach 4 (new!)`` beside ``Teach 4`` may be that binding with a remark: asked once for the words.

    Until then it is kept by the name that the sheet says, and nothing is planned with it.
    """
    asked = {Table.SKI: ("binding_model",), Table.BINDING: ("model",)}
    known = asked | {Table.PATTERN: ("pattern", "binding_model")}
    names = {str(row.values.get(key)) for row in rows for key in known.get(row.table, ())}
    for row in rows:
        for key in asked.get(row.table, ()):
            said = row.cells[key][1].text.strip() if key in row.cells else ""
            apart = re.fullmatch(r"(?P<name>.*\S) ?\((?P<remark>[^()]+)\)", said)
            if apart is None or apart["name"] not in names:
                continue
            if row.values.get(key) == apart["name"]:
                row.values["notes"] = with_note(row.values.get("notes"), f"{key}: {said}")
            elif not row.answered("binding_unknown", key):
                row.ask(
                    "binding_unknown",
                    f"{said!r}: is it {apart['name']!r}, with a remark in brackets?",
                    "answer with the name; the remark is kept as a note",
                    apart["name"],
                    said,
                    key=key,
                )
                row.findings[-1] = replace(row.findings[-1], keeps_row=True)


_IDENTITY: Final[Mapping[Table, tuple[str, ...]]] = {
    Table.SKI: ("tag", "ski"),
    Table.BOOT: ("tag",),
    Table.BINDING: ("model", "brake_mm", "season", "serial"),
    Table.PATTERN: ("pattern", "piece", "x_mm", "y_mm"),
    Table.HOLE: ("pair_tag", "ski", "x_mm", "y_mm"),
    Table.FIT: ("pattern", "sole_type"),
    Table.WANTED: ("wish",),
    Table.SIDE: ("pair_tag", "ski"),
    Table.AREA: ("pair_tag", "ski", "from_mm", "to_mm", "on", "how"),
    Table.MOUNT: ("pair_tag", "mounted_on", "pattern", "removed_on", "bsl_mm"),
}
"""The keys that make a row the same thing as another; the first must be said, and of a hole all."""
_IDS: Final = {Table.BINDING: "binding_id", Table.HOLE: "hole_id"}


def identity(row: Row) -> Hashable | None:
    """Return what makes a row the same thing as another, or None where it cannot be told."""
    by_id = row.values.get(_IDS.get(row.table, ""))
    if by_id:
        return ("id", by_id)
    said = tuple(row.values.get(key) for key in _IDENTITY.get(row.table, ("name",)))
    if not said[0] or (row.table is Table.HOLE and None in said):
        return None
    return said


def _repeats(rows: Iterable[Row]) -> None:
    """An identical row is counted once, with a note; a different one is a question on both."""
    for group in grouped(rows, identity).values():
        if len(group) < 2:
            continue
        first = group[0]
        if all(row.values == first.values for row in group[1:]):
            for row in group[1:]:
                row.repeat = True
                row.note(
                    "repeated_row",
                    f"the same as row {first.number} of {first.sheet}; counted once",
                    key=_tag_key(row),
                )
            continue
        say = short(repr([sorted((key, cell.text) for key, (_, cell) in row.cells.items()) for row in group]))
        if _settled_by_keeping_one(group, say):
            continue
        for row in group:
            others = [f"{o.sheet} row {o.number}" for o in group if o is not row]
            differs = sorted({k for o in group for k in row.values if o.values.get(k) != row.values.get(k)})
            row.ask(
                "duplicate",
                f"{row.tag} stands also in {', '.join(others[:5])} and differs there in {', '.join(differs)}",
                "keep the right row, or give each its own tag",
                key=_tag_key(row),
                about=say,
            )


def _settled_by_keeping_one(group: Sequence[Row], say: str) -> bool:
    """Leave out the rows that do not count, where somebody answered which one does."""
    tag = str(group[0].tag)
    answer = group[0].place.answers.of(About.KEEP, group[0].table.value, tag, say)
    if answer is None or answer.text not in (KEEP_FIRST, KEEP_LAST, LEAVE_OUT):
        return False
    kept = {KEEP_FIRST: group[0], KEEP_LAST: group[-1]}.get(answer.text)
    for row in group:
        row.left_out = row is not kept
        row.repeat = row.left_out and kept is not None
        words = "its row counts" if row is kept else "its row is left out"
        row.remark(
            Severity.NOTE,
            "answered",
            f"{tag} stands in several rows: {words}, {answer.said_by}",
            FINE,
            key=_tag_key(row),
            question=question_id(About.KEEP, row.table.value, tag, say),
        )
    return True


def _tag_key(row: Row) -> str:
    return next((key for key in CALLED_BY if key in row.cells), "tag")


_PAIR_KEYS = (
    *(column.key for column in columns_of(Pair) if column.key != "tag"),
    *("binding_model", "brake_mm", "bsl_mm", "mount_date", "mark_offset_mm"),
    *("toe_stands_mm", "heel_stands_mm"),
)


def _split_pairs(rows: Iterable[Row]) -> None:
    """Rows A and B of one pair agree in what belongs to the pair; a row without a side stands alone."""
    groups = grouped((row for row in rows if not row.repeat), lambda row: row.values.get("tag"))
    for tag, group in groups.items():
        sides = [row.values.get("ski") for row in group]
        if sides.count(None) + sides.count("both") == len(sides):
            continue
        if None in sides or "both" in sides:
            for row in group:
                row.ask(
                    "pair_and_ski",
                    f"{tag} stands once as a pair and once as a single ski",
                    "one row for the pair, or one row each for ski A and ski B",
                    key="tag",
                )
            continue
        if len(group) == 1:
            group[0].ask(
                "one_ski_only",
                f"only ski {sides[0]} of {tag} is listed",
                "add the row of the other ski, or clear the side if the row means the pair",
                key="ski",
            )
            continue
        for key in _PAIR_KEYS:
            said = {row.values.get(key) for row in group if row.values.get(key) is not None}
            if len(said) > 1:
                for row in group:
                    row.ask(
                        "pair_contradiction",
                        f"the two skis of {tag} differ in {key}: {', '.join(sorted(map(str, said)))}",
                        "a pair has one value; correct the wrong row",
                        key=key,
                    )


_ONE_OF_TWO = re.compile(r"^(.*\d)[-_./ ]?([abABlrLR])$")
_PARTNERS = {"A": "B", "B": "A", "L": "R", "R": "L"}


def _one_ski_tags(rows: Sequence[Row], say: _Say) -> None:
    """``K-1A`` beside an equal ``K-1B`` may be the two skis of one pair; not so in a series (A, B, C)."""
    for table, keys in ((Table.SKI, ("model", "kind", "length_cm")), (Table.BOOT, ("model", "mondopoint"))):
        found: dict[tuple[Hashable, ...], dict[str, Row]] = defaultdict(dict)
        stems: dict[str, set[str]] = defaultdict(set)
        for row in rows:
            tag = row.values.get("tag")
            if row.table is not table or not tag or row.values.get("ski") or row.repeat:
                continue
            stems[re.sub(r"[-_./ ]?[^\W\d_]$", "", tag)].add(tag)
            match = _ONE_OF_TWO.match(tag)
            if match:
                found[match[1], *(row.values.get(k) for k in keys)][match[2].upper()] = row
        for (stem, *_), letters in found.items():
            for letter, row in letters.items():
                if _PARTNERS[letter] in letters and len(stems[str(stem)]) == 2:
                    say(row)(
                        "tag_is_one_ski",
                        f"{row.tag} and {letters[_PARTNERS[letter]].tag} may be halves of one pair {stem}",
                        "one row for the pair, or one tag and a column ski (A, B); two pairs: answer ok",
                        key="tag",
                    )


def _shared_tags(rows: Sequence[Row]) -> None:
    """A pair of skis and a pair of boots may carry one tag; it is said, because people call them by it."""
    skis = {row.values["tag"] for row in rows if row.table is Table.SKI and row.values.get("tag")}
    for row in rows:
        if row.table is Table.BOOT and row.values.get("tag") in skis:
            row.note("shared_tag", f"{row.tag} is also the tag of a pair of skis", key="tag")


def _letters(tag: str) -> str:
    return re.sub(r"[\W_]+", "", tag).casefold()


_SHAPES: Final = str.maketrans("oil", "011")
_ALIKE: Final[tuple[tuple[Callable[[str], str], str], ...]] = (
    (_letters, "may be one tag"),
    (
        lambda tag: _letters(tag).translate(_SHAPES),
        "differ only by a letter that looks like a digit (O and 0, I and 1)",
    ),
    (lambda tag: re.sub(r"(?<!\d)0+(?=\d)", "", _letters(tag)), ""),
)
"""Forms in which tags may be alike, and what is asked about those that are; "": they are reported."""


def _near_tags(rows: Iterable[Row], say: _Say) -> None:
    """Tags that differ only in case, blanks or hyphens are asked; in leading zeros, reported."""
    first: dict[str, Row] = {}
    for row in rows:
        if row.values.get("tag"):
            first.setdefault(row.values["tag"], row)
    asked: set[str] = set()
    for form, words in _ALIKE:
        for tags in (
            tags for tags in grouped(first, form).values() if len(tags) > 1 and not asked.issuperset(tags)
        ):
            for tag in tags:
                others = ", ".join(t for t in tags if t != tag)
                if words:
                    say(first[tag])(
                        "near_tag", f"{tag} and {others} {words}", "write one tag one way", key="tag"
                    )
                else:
                    first[tag].note("near_tag", f"{tag} differs from {others} only by zeros", key="tag")
            asked.update(tags)


_MAY_BE_DRAGGED: Final = ("bsl_mm", "length_cm", "waist_mm", "brake_mm", "mark_from_tail_mm")
_LEAST_DRAGGED: Final = 5
"""So many rows rise by one before it is no chance (our default)."""


def ask_about_series(rows: Sequence[Row]) -> None:
    """Ask about each value of a series in the rows of one table."""
    for key in _MAY_BE_DRAGGED if rows and rows[0].table in (Table.SKI, Table.BOOT) else ():
        for run in _runs(rows, key):
            first, last = run[0].values[key], run[-1].values[key]
            for row in run:
                row.ask(
                    "dragged_series",
                    f"{row.values[key]:f} is one of {len(run)} in a row that rise by one, from {first:f} to"
                    f" {last:f}: was the first dragged down?",
                    "enter what stands on each, or say that they are right",
                    key=key,
                )


def _runs(rows: Sequence[Row], key: str) -> Iterator[list[Row]]:
    def above_its_place(at: tuple[int, Row]) -> Decimal | None:
        value = at[1].values.get(key)
        return value - at[0] if isinstance(value, Decimal) else None

    for rising, run in groupby(enumerate(rows), above_its_place):
        found = [row for _, row in run]
        if rising is not None and len(found) >= _LEAST_DRAGGED:
            yield found
