"""The facts that the gates of the door ask for, entered and signed: release tests too, and never judged.

Fits taken back, and what models are for: signed by a head technician or a manager.
"""

from collections.abc import Mapping
from datetime import date
from typing import Final, Literal

from fleet.base.days import day_text
from fleet.base.entries import name_key
from fleet.base.errors import BadInput, Refused, did_you_mean, filled, in_words, typed_word
from fleet.events.event import LEFT_OUT
from fleet.events.looks import ReleaseTestRecorded
from fleet.events.settings import (
    BindingModelStated,
    FitTakenBack,
    ModelKindStated,
    QualificationStated,
    TesterCalibrated,
)
from fleet.facts.gates import QUALIFICATIONS, asked_for, binding_standards, sole_answer
from fleet.facts.holes import Side
from fleet.facts.kinds import Kind, shop_kinds
from fleet.facts.staff import listed
from fleet.facts.standing import read_standing, read_standings
from fleet.ledger.desk import Desk, head, signer
from fleet.rules.clearance import Door
from fleet.tables.snapshot import read_fits, read_models, read_patterns, read_policy, read_staff


def qualify(desk: Desk, name: str, *, what: str, until: date) -> QualificationStated:
    """Enter that a listed person is qualified for something until a day. A head signs, never for herself."""
    person = listed(read_staff(desk.connection), name)
    if person is None:
        raise Refused(
            f"{name!r} is not on the staff list", cure="list the person first: mountbook staff add NAME"
        )
    meant = typed_word(what, QUALIFICATIONS, f"nobody is qualified for {what!r} here")
    head(desk.connection, desk.by, days=desk.signing_days, what="say who is qualified")
    if name_key(desk.by) == name_key(person.name):
        raise Refused(
            f"{desk.by} cannot qualify herself or himself", cure="another head technician or manager signs"
        )
    said = QualificationStated(name=person.name, what=meant, until=until)
    desk.enter(said)
    return said


def calibrated(desk: Desk, device: str, *, on: date, until: date, certificate: str = "") -> int:
    """Enter the calibration of a release tester, signed. Tests outside its days do not count."""
    device = filled(device, "which tester?", cure='name it as the tests do: "bench 1"')
    if until < on:
        raise BadInput(
            f"a calibration of {day_text(on)} does not end on {day_text(until)}",
            cure="check --on and --until",
        )
    signer(desk.connection, desk.by, days=desk.signing_days, what="enter a calibration")
    return desk.enter(
        TesterCalibrated(device=device, calibrated_on=on, until=until, certificate=certificate.strip())
    )


def state_model(
    desk: Desk, model: str, *, standard: str = "", unsupported_since: date | None = None, origin: str
) -> int:
    """Enter the standard that a binding model declares, or since when its maker supports it no longer."""
    models = {pattern.binding_model for pattern in read_patterns(desk.connection).values()}
    models |= {str(row[0]) for row in desk.connection.execute("SELECT DISTINCT model FROM binding")}
    if model not in models:
        raise Refused(f"there is no binding model {model}", cure=did_you_mean(model, models, "check it"))
    if not standard and unsupported_since is None:
        raise BadInput("what of that model?", cure="--standard TEXT, or --unsupported-since DATE")
    if standard and standard not in binding_standards():
        raise BadInput(
            f"{standard!r} is no standard of a binding that is known here",
            cure=f"one of: {', '.join(binding_standards())}",
        )
    origin = filled(origin, "whose sheet says so?", cure='add --origin "its maker\'s list of 2026"')
    head(desk.connection, desk.by, days=desk.signing_days, what="state facts of a binding model")
    return desk.enter(
        BindingModelStated(
            model=model,
            standard=standard or LEFT_OUT,
            unsupported_since=unsupported_since or LEFT_OUT,
            origin=origin,
        )
    )


def may_go_now(desk: Desk) -> frozenset[str]:
    """Return the pairs that may go out now with some boot, by the rules as they stand in this action.

    A pair none of whose declared soles any standard foresees may not.
    """
    door = Door(desk.connection, at=desk.at, zone=desk.zone)
    ready = read_standings(desk.connection, where="place = 'ready'")
    answers = zip(ready, door.ask_each(ready), strict=True)
    return frozenset(standing.tag for standing, answer in answers if not answer.reasons) - _soleless(desk)


def _soleless(desk: Desk) -> frozenset[str]:
    if not asked_for(read_policy(desk.connection), "gate_sole_standard"):
        return frozenset()
    models, patterns = read_models(desk.connection), read_patterns(desk.connection)
    taken: dict[str, bool] = {}
    for fit in read_fits(desk.connection):
        pattern = patterns.get(fit.pattern)
        model = models.get(pattern.binding_model) if pattern else None
        foreseen = model is None or not sole_answer(model.standard, fit.sole_type).refused
        taken[fit.pattern] = taken.get(fit.pattern, False) or foreseen
    return frozenset(
        tag
        for tag, pattern in desk.connection.execute("SELECT tag, pattern FROM mount WHERE removed_on IS NULL")
        if not taken.get(pattern, True)
    )


_OUTCOMES: Final[Mapping[str, Literal["passed", "failed"]]] = {"passed": "passed", "failed": "failed"}


def record_release_test(
    desk: Desk,
    tag: str,
    *,
    side: Side,
    piece: str,
    device: str,
    result: str,
    outcome: str = "",
    remark: str = "",
) -> int:
    """Enter one test. The result is the tester's own words; the program neither sets nor reads a value."""
    read_standing(desk.connection, tag)
    if piece not in ("toe", "heel", "plate"):
        raise BadInput(f"{piece!r} is not a piece", cure="toe, heel or plate")
    if not device.strip() or not result.strip():
        raise BadInput("a test names its device and its result", cure='add --device "bench 1" --result "..."')
    if outcome not in ("", "passed", "failed"):
        raise BadInput(f"{outcome!r} is no outcome", cure="passed or failed, as the tester says")
    signer(desk.connection, desk.by, days=desk.signing_days, what="record a release test")
    test = ReleaseTestRecorded(
        tag=tag,
        side=side,
        piece=piece,
        device=device,
        result=result,
        outcome=_OUTCOMES.get(outcome, LEFT_OUT),
    )
    return desk.enter(test, note=remark)


def take_fit_back(desk: Desk, sole_type: str, pattern: str, *, why: str) -> int:
    """Enter that a fit holds no more; returns the entry's number. Refused where none is declared."""
    reason = in_words(why, "why the fit is taken back")
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
    kinds = shop_kinds(read_policy(desk.connection))
    others = f"one of: {', '.join(kinds)}; the rule kinds adds others (mountbook policy set kinds)"
    word = typed_word(kind, kinds, f"{kind!r} is no kind", cure=others)
    head(desk.connection, desk.by, days=desk.signing_days, what="state a kind")
    return desk.enter(ModelKindStated(thing=thing, model=model, kind=Kind(word)))
