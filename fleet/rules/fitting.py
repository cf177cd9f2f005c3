"""The fit of a boot in the binding as it is mounted and set now: soles, sole lengths, travel. No tools."""

from collections.abc import Collection
from dataclasses import dataclass, replace

from fleet.base.units import length_text, mm_text
from fleet.facts.boots import Boot
from fleet.facts.holes import Mount, PieceSlide
from fleet.facts.patterns import Fit, Follows, Pattern
from fleet.facts.policy import Policy
from fleet.facts.standing import BindingSetting


@dataclass(frozen=True, slots=True, kw_only=True)
class FitAnswer:
    """``reasons`` is empty where the boot fits; ``not_set`` then says why the binding is set for it first."""

    reasons: tuple[str, ...] = ()
    not_set: str = ""


def centre_window(mount: Mount, pattern: Pattern, bsl_um: int) -> tuple[int, int] | None:
    """Return the closed interval of boot centre offsets u (µm) that the mounted pieces can hold, or None.

    Each piece stands with its listed end at its reference; its travel lets the sole's end lie from
    ``-travel_back`` to ``+travel_forward`` of there. A mount whose pieces were never recorded is taken
    with its slides at 0.
    """
    recorded = {slide.piece: slide.reference_um for slide in mount.slides}
    low, high = -10_000_000, 10_000_000
    for piece in pattern.pieces:
        if piece.follows is Follows.MARK:
            continue
        reference = recorded.get(piece.name.value, piece.follows.reference_um(mount.offset_um, mount.bsl_um))
        at_zero = piece.follows.reference_um(0, bsl_um)
        low = max(low, reference - piece.travel_back_um - at_zero)
        high = min(high, reference + piece.travel_forward_um - at_zero)
    return (low, high) if low <= high else None


def mount_as_set(mount: Mount, pattern: Pattern) -> Mount:
    """Return the mount as its binding stands: set since for another sole, where that says how it is slid.

    It does where one piece alone travels. Of two that travel nobody wrote down which was slid: the mount
    is returned as it is, and `Mount.stands_for_um` tells that it stands at another sole.
    """
    sole_um = mount.stands_for_um
    measured = sole_um == mount.bsl_um or mount.stands
    window = None if measured else centre_window(mount, pattern, sole_um)
    if window is None or window[0] != window[1] or len(pattern.travelling) != 1:
        return mount
    recorded = {slide.piece: slide for slide in mount.slides}
    for piece in pattern.pieces:
        if piece.follows is Follows.MARK:
            continue
        old = recorded.get(piece.name.value)
        at_um = piece.follows.reference_um(mount.offset_um, mount.bsl_um) if old is None else old.reference_um
        slide_um = piece.follows.reference_um(window[0], sole_um) - at_um
        recorded[piece.name.value] = PieceSlide(piece=piece.name.value, reference_um=at_um, slide_um=slide_um)
    return replace(
        mount,
        bsl_um=sole_um,
        offset_um=window[0],
        slides=tuple(recorded.values()),
        still_set=True,
        set_again=False,
    )


def slides_now(mount: Mount, pattern: Pattern) -> dict[str, int | None]:
    """Return how far each piece is slid now, µm toward the tip; None where the ledger does not say."""
    now = mount_as_set(mount, pattern)
    return {piece.name.value: now.slid_um(piece.name.value, pattern.travelling) for piece in pattern.pieces}


def boot_fits(
    *,
    boot: Boot,
    mount: Mount | None,
    pattern: Pattern | None,
    setting: BindingSetting,
    fits: Collection[Fit],
    policy: Policy,
) -> FitAnswer:
    """Return the fit: sole type declared by both makers, sole length held by the mounted pieces near the
    mark.

    Whether the binding stands at that sole is asked of ``setting``, never of the mount: between two
    boots the counter sets it, and no work order knows of that.
    """
    if mount is None or pattern is None:
        return FitAnswer(reasons=("how its binding is mounted is not on record, so no boot can be checked",))
    reasons: list[str] = []
    if not any(fit.sole_type == boot.sole_type and fit.pattern == mount.pattern for fit in fits):
        reasons.append(
            f"boot {boot.tag} has a sole of type {boot.sole_type},"
            f" not declared by both makers for {mount.pattern}"
            if boot.sole_type
            else f"the sole type of boot {boot.tag} is not known"
        )
    if boot.bsl_um is None:
        return FitAnswer(reasons=(*reasons, f"the sole length of boot {boot.tag} is not known"))
    sole = f"boot {boot.tag} has a sole of {mm_text(boot.bsl_um)} mm"
    if not pattern.takes_bsl(boot.bsl_um):
        reasons.append(f"{sole}, outside what {pattern.name} takes")
    window = centre_window(mount, pattern, boot.bsl_um)
    limit = policy.um("offset_limit_mm")
    if window is None:
        reasons.append(f"{sole}; mounted for {mm_text(mount.bsl_um)} mm its travel does not reach that")
    elif (away := max(window[0], -window[1])) > limit:
        reasons.append(
            f"{sole}; it would stand {length_text(away)} mm from the mark, the shop's limit is"
            f" {length_text(limit)} mm"
        )
    if reasons:
        return FitAnswer(reasons=tuple(reasons))
    if boot.bsl_um == setting.bsl_um:
        return FitAnswer()
    told = "the sole its binding is set for is not known"
    if setting.pieces or setting.bsl_um is not None:
        told = f"its binding is {setting.set_for}"
    return FitAnswer(not_set=f"{told}, boot {boot.tag} has {mm_text(boot.bsl_um)} mm")
