"""Fits taken back, and what models are for: signed by a head technician or a manager."""

from typing import Literal

from fleet.base.errors import BadInput, Refused, did_you_mean, in_words
from fleet.events.settings import FitTakenBack, ModelKindStated
from fleet.facts.kinds import Kind, shop_kinds
from fleet.ledger.desk import Desk
from fleet.ledger.signing import head
from fleet.tables.snapshot import read_fits, read_policy


def take_fit_back(desk: Desk, sole_type: str, pattern: str, *, why: str) -> int:
    """Enter that a fit holds no more; returns the entry's number. Refused where none is declared."""
    reason = in_words(why, "why the fit is taken back")
    if not any(fit.pattern == pattern for fit in read_fits(desk.connection, sole_type)):
        raise Refused(f"no fit of {sole_type} in {pattern} is declared", cure="see `mountbook fit list`")
    head(desk.connection, desk.by, days=desk.signing_days, what="take a fit back")
    return desk.enter(FitTakenBack(sole_type=sole_type, pattern=pattern), note=reason)


def state_kind(desk: Desk, thing: Literal["boot", "binding"], model: str, kind: str) -> int:
    """Enter what a model of boots or bindings is for; returns the entry's number."""
    known = [
        name for (name,) in desk.connection.execute(f"SELECT DISTINCT model FROM {thing} ORDER BY model")
    ]
    if thing == "binding":
        known += [n for (n,) in desk.connection.execute("SELECT DISTINCT binding_model FROM pattern")]
    if model not in known:
        raise Refused(
            f"there is no {thing} of the model {model!r} in the ledger",
            cure=did_you_mean(model, known, "check the model"),
        )
    word = kind.strip().casefold()
    if word not in (kinds := shop_kinds(read_policy(desk.connection))):
        raise BadInput(
            f"{kind!r} is no kind",
            cure=f"one of: {', '.join(kinds)}; the rule kinds adds others (mountbook policy set kinds)",
        )
    head(desk.connection, desk.by, days=desk.signing_days, what="state a kind")
    return desk.enter(ModelKindStated(thing=thing, model=model, kind=Kind(word)))
