"""The next step for a pair that may not go out: one step in words, with its command."""

from typing import Final

from fleet.facts.fault_causes import road_words
from fleet.facts.standing import Place, Standing

_BY_PLACE: Final = {
    Place.IN_REPAIR: "end the repair first: mountbook repair done {tag} --did TEXT --by NAME",
    Place.OUT: "scan it back first: mountbook back {tag}",
    Place.MISSING: "if it turned up: mountbook move {tag} --to shop",
    Place.IN_TRANSIT: "if it has arrived: mountbook move {tag} --to shop",
}


def next_step(standing: Standing, *, open_order: str | None) -> str:
    """Return the nearest step back to the rack, "" where there is no routine step.

    A step is no promise: after it the door asks everything anew.
    """
    tag, passed = standing.tag, standing.passed
    if standing.place in (Place.HOLD, Place.QUARANTINE):
        return road_words(standing)
    if standing.place in _BY_PLACE:
        return _BY_PLACE[standing.place].format(tag=tag)
    if open_order:
        return f'its work comes first: mountbook order done "{open_order}" --by NAME'
    if standing.place is Place.FLAT:
        return "it needs a work order: mountbook plan, then mountbook order issue"
    lapsed = passed.entry and not standing.passes
    if standing.place is not Place.SECOND_CHECK and (standing.waits_for_a_look or lapsed):
        return f"somebody looks at it, then: mountbook recheck record {tag} --all not-moved --by NAME"
    if standing.place is Place.SECOND_CHECK or not passed.entry:
        return f"a second person looks at it, then: mountbook prep sign {tag} --all not-moved --by NAME"
    return ""
