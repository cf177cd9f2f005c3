"""Names made sure of: the pattern that a binding's name means, and the pair that a tag means.

A binding's name is a model with one pattern, a pattern's own name, or a question. A pair may be called by a
tag that it had before; one named with other zeros than its own row has, ``001`` and ``1``, is asked about
once.
"""

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from fleet.base.errors import nearest
from fleet.base.grouping import grouped
from fleet.base.units import mm_to_um
from fleet.facts.patterns import Pattern
from imports.answers import RIGHT
from imports.headers import OF_A_PAIR, Table
from imports.rows import Row


@dataclass(frozen=True, slots=True)
class Resolved:
    """A binding name made sure of. ``pattern`` is empty where no pattern of it is known."""

    model: str
    pattern: str


def patterns_of(model: str, patterns: Mapping[str, Pattern]) -> list[Pattern]:
    """The patterns of a binding's model: those of the model written so, else of one in other letters."""
    exact = [p for p in patterns.values() if p.binding_model == model]
    return exact or [p for p in patterns.values() if p.binding_model.casefold() == model.casefold()]


def resolve_binding(
    row: Row, key: str, patterns: Mapping[str, Pattern], bsl: Decimal | None = None
) -> Resolved | None:
    """The model and pattern named by a row's cell; None (with a question on the row) where in doubt."""
    name = str(row.values.get(key) or "")
    if name in patterns:
        return Resolved(patterns[name].binding_model, name)
    fitting = patterns_of(name, patterns)
    if len(fitting) > 1 and bsl is not None:
        bsl_um = mm_to_um(bsl)
        taking = [p for p in fitting if p.takes_bsl(bsl_um)]
        if len(taking) == 1:
            row.note(
                "pattern_by_sole",
                f"{name} has {len(fitting)} patterns; only {taking[0].name} takes a sole of {bsl:f} mm",
                key=key,
                taken=taking[0].name,
            )
            return Resolved(taking[0].binding_model, taking[0].name)
    if len(fitting) == 1:
        return Resolved(fitting[0].binding_model, fitting[0].name)
    if len(fitting) > 1:
        row.ask(
            "pattern_in_doubt",
            f"{name} has {len(fitting)} patterns: {', '.join(p.name for p in fitting)}",
            "name the pattern instead of the model",
            key=key,
        )
        return None
    near = nearest(name, {*patterns, *(p.binding_model for p in patterns.values())}, likeness=0.8)
    if near:
        row.ask(
            "binding_unknown",
            f"no pattern is known for the binding {name!r}; did you mean {near!r}?",
            "write the name as the patterns sheet does",
            key=key,
        )
        return None
    row.note(
        "pattern_unknown",
        f"no pattern is known for the binding {name!r}: it is kept by name, and nothing is planned with it",
        "add its pattern",
        key=key,
    )
    return Resolved(name, "")


def follow_renames(rows: Sequence[Row], renamed: Mapping[str, str]) -> None:
    """Take a tag that a pair had before as the one it has; asked where the sheet has both."""
    keys = {Table.SKI: "tag", Table.BINDING: "on_pair", **dict.fromkeys(OF_A_PAIR, "pair_tag")}
    tags = {row.values.get("tag") for row in rows if row.table is Table.SKI}
    for row in rows:
        key = keys.get(row.table, "")
        old = str(row.values.get(key))
        if old not in renamed:
            continue
        new, words = renamed[old], f"{old} is called {renamed[old]} in the ledger"
        if row.table is Table.SKI and new in tags:
            row.ask("renamed", f"{words}, and this sheet has both", "keep the row that is right", key=key)
            continue
        row.values[key] = new
        row.note("renamed", words, key=key, taken=new)


_ZEROS: Final = re.compile(r"(?<!\d)0+(?=\d)")


def match_zeros(rows: Iterable[Row], known: Collection[str]) -> None:
    """Take a pair's name in a list of holes as the tag that differs in zeros alone, where that was answered.

    ``known``: the tags of the sheets and of the ledger. Where two of them differ so, nothing is said.
    """
    alike = grouped(known, lambda tag: _ZEROS.sub("", tag))
    for row in rows:
        said = row.values.get("pair_tag")
        if row.table not in OF_A_PAIR or said is None or said in known:
            continue
        found = alike.get(_ZEROS.sub("", str(said)), [])
        if len(found) != 1:
            continue
        if row.answered("zeros_differ", "pair_tag") == RIGHT:
            row.values["pair_tag"] = found[0]
        row.ask(
            "zeros_differ",
            f"there is no pair {said!r}, but there is {found[0]!r}: are they one?",
            "write the tag as the pair's own row has it",
            key="pair_tag",
        )
