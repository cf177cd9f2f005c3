"""The door's gates told again, in few words of their own: they share nothing with `fleet.rules.gates`."""

import sqlite3
from collections.abc import Iterator
from itertools import combinations
from typing import Final

from fleet.base.entries import Entry
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place, setting_from
from fleet.tables.held_state import read_standing_row

_SCANS: Final = frozenset({"pair out", "pair back", "pair looked at", "scan undone"})
"""Entries that change no rule, kind, pattern or mount."""
_OF_THE_PAIR: Final = (
    "SELECT kind FROM pair WHERE tag = ?1"
    " UNION SELECT body ->> 'kind' FROM pattern JOIN mount ON pattern = name"
    " WHERE tag = ?1 AND removed_on IS NULL"
    " UNION SELECT model_kind.kind FROM model_kind JOIN pattern ON binding_model = model"
    " JOIN mount ON pattern = name WHERE thing = 'binding' AND tag = ?1 AND removed_on IS NULL"
)
_OF_THE_MODEL: Final = "SELECT kind FROM model_kind WHERE thing = 'boot' AND model = ?"


class GatesAgain:
    """The gates, each entry in turn. Rules and kinds are read again after each entry that may change one."""

    def __init__(self, state: sqlite3.Connection) -> None:
        self._state = state
        self._rules: dict[str, str] = {}
        self._kinds: dict[tuple[str, str], frozenset[str | None]] = {}

    def passed_by(self, entry: Entry) -> Iterator[tuple[str, str]]:
        """Yield a code and words for each gate that a `pair out` passed by, as the state was before it."""
        body = entry.body
        tag, boot, own = body["tag"], body["boot"], body.get("own_boot")
        if own is not None and not own.strip():
            words = f"takes out {tag} with a customer's own boot whose sole type nobody said"
            yield "own boot without a sole type", words
        # Bodies of layout 2 have no sole: there was no such rule then.
        if boot is None and own is None and "sole_um" in body and self._rule("out_without_boot") != "yes":
            yield "out without a boot", f"takes out {tag} without a boot, and out_without_boot is no"
        if boot is not None:
            yield from self._boot(tag, boot)
        yield from self._tests(entry)

    def follow(self, entry: Entry) -> None:
        """Forget what an entry may have changed."""
        if entry.what not in _SCANS:
            self._rules.clear()
            self._kinds.clear()

    def _rule(self, name: str) -> str:
        if name not in self._rules:
            row = self._state.execute("SELECT value FROM policy WHERE name = ?", (name,)).fetchone()
            self._rules[name] = str(row[0] if row else default_policy().word(name)).strip().lower()
        return self._rules[name]

    def _found(self, query: str, name: str) -> frozenset[str | None]:
        key = (query, name)
        if key not in self._kinds:
            self._kinds[key] = frozenset(kind for (kind,) in self._state.execute(query, (name,)))
        return self._kinds[key]

    def _boot(self, tag: str, boot: str) -> Iterator[tuple[str, str]]:
        row = self._state.execute(
            "SELECT whereabouts, hold_entry, kind, model FROM boot WHERE tag = ?", (boot,)
        ).fetchone()
        if row is None:
            return
        whereabouts, hold, kind, model = row
        was = "on hold" if hold else whereabouts if whereabouts not in ("shop", Place.OUT.value) else ""
        if was:
            yield "out with a stopped boot", f"takes out {tag} with boot {boot}, which was {was}"
        kinds = {kind} | self._found(_OF_THE_PAIR, tag) | self._found(_OF_THE_MODEL, model)
        stated = sorted(each for each in kinds if each)
        if len(stated) < 2:
            return
        meet = [sorted(pair.strip().split("+")) for pair in self._rule("kinds_may_meet").split(",")]
        if any(list(pair) not in meet for pair in combinations(stated, 2)):
            kinds_said = ", ".join(stated)
            words = f"takes out {tag} with boot {boot}: their kinds differ and may not meet: {kinds_said}"
            yield "out with another kind", words

    def _tests(self, entry: Entry) -> Iterator[tuple[str, str]]:
        tag = entry.body["tag"]
        row = self._state.execute("SELECT kind FROM pair WHERE tag = ?", (tag,)).fetchone()
        added = dict(pair.strip().split("=") for pair in self._rule("kinds").split(",") if "=" in pair)
        gate = f"gate_release_test_{added.get(row[0], row[0]).strip()}" if row else ""
        if not gate or self._rule(gate) in ("", "no"):
            return
        stood = read_standing_row(self._state, tag) or {"work_entry": 0, "work_at": "", "stands": "{}"}
        since = [(stood["work_entry"], stood["work_at"])] * ("work" in self._rule(gate))
        set_at = setting_from(stood["stands"]).when
        if "setting" in self._rule(gate) and set_at.entry != entry.body.get("set_entry"):
            since.append((set_at.entry, set_at.at))
        pieces = {
            name
            for (name,) in self._state.execute(
                "SELECT piece.value ->> 'name' FROM mount JOIN pattern ON pattern = name,"
                " json_each(body, '$.pieces') AS piece WHERE tag = ? AND removed_on IS NULL",
                (tag,),
            )
        } & {"toe", "heel"} or {"toe", "heel"}
        newest = {
            (side, piece): (seq, at, outcome)
            for side, piece, seq, at, outcome in self._state.execute(
                "SELECT side, piece, entry, at, outcome FROM release_test WHERE tag = ? ORDER BY at, entry",
                (tag,),
            )
        }
        missing = []
        for side, piece in sorted((side, piece) for side in "AB" for piece in pieces):
            seq, at, outcome = newest.get((side, piece), (0, "", "failed"))
            if outcome == "failed" or any(seq <= then or at <= when for then, when in since):
                missing.append(f"ski {side} {piece}")
        if missing:
            words = f"takes out {tag} and no release test of {', '.join(missing)} counts, as {gate} asks"
            yield "out without a release test", words
