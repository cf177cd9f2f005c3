"""A survey is compared with the ledger and entered, signed by somebody of the staff list."""

import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from fleet.base.errors import BadInput, Refused
from fleet.facts.holes import Knowledge
from fleet.facts.pairs import Construction
from fleet.facts.standing import read_standing
from fleet.ledger.desk import Desk, signer
from fleet.tables.snapshot import read_pairs, read_policy
from planner.geometry.survey.proposal import SurveyProposal, propose_survey
from planner.geometry.survey.readings import Reading

WAYS_OF_SEEING = {"bare": Knowledge.MEASURED_BARE, "drops-in": Knowledge.BINDING_DROPS_IN}


def look_at_survey(
    connection: sqlite3.Connection, tag: str, readings: Sequence[Reading], *, how: str, on: date
) -> SurveyProposal:
    """Return the entries that the readings would make, and the doubts. Raises Refused for an unknown pair."""
    knowledge = WAYS_OF_SEEING.get(how)
    if knowledge is None:
        raise BadInput(f"holes are not seen {how!r}", cure=f"one of: {', '.join(WAYS_OF_SEEING)}")
    read_standing(connection, tag)  # refuses a pair that is not there, with the nearest tag
    policy = read_policy(connection)
    return propose_survey(
        read_pairs(connection, tag)[tag],
        readings,
        on=on.isoformat(),
        knowledge=knowledge,
        agree_um=policy.um("survey_agree_mm"),
        pair_difference_um=policy.um("pair_difference_mm"),
        least_drill_um=min(policy.um(f"drill_{c.value.replace(' ', '_')}_mm") for c in Construction),
    )


def enter_survey(
    desk: Desk, tag: str, readings: Sequence[Reading], *, how: str, although_doubtful: bool
) -> SurveyProposal:
    """Enter the readings; enter nothing while a doubt stands that nobody has measured again."""
    signer(desk.connection, desk.by, days=desk.signing_days, what="enter a survey")
    proposal = look_at_survey(desk.connection, tag, readings, how=how, on=desk.day)
    if proposal.slips and not although_doubtful:
        return proposal
    if not proposal.entries:
        raise Refused(f"the survey of {tag} says nothing that the ledger does not know")
    doubts = "; ".join(slip.message for slip in proposal.slips)
    for number, event in enumerate(proposal.entries):
        desk.enter(event, note=f"entered although: {doubts}" if doubts and number == 0 else "")
    return replace(proposal, entered=True)
