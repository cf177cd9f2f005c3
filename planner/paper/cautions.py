"""The cautions on every sheet, in one place, so that no sheet forgets one."""

from typing import Final

DEFER: Final = (
    "Makers' instructions, local rules and a qualified technician's judgement come before this sheet. "
    "Look at the ski: where it and the sheet disagree, stop."
)
DEFER_ON_A_PAGE: Final = DEFER.replace("sheet", "page")
CLAIM: Final = "A name signed here is a claim, not a proof."
NOT_TO_SCALE: Final = "Not to scale: never measure from this sheet."
NO_SETTING: Final = (
    "No release setting is given: "
    "that is for a certified technician with the maker's chart and a test device."
)
PROPOSAL: Final = "PROPOSAL"
PROPOSAL_WHY: Final = "not issued: nothing may be drilled from this sheet"
SPACING: Final = "No published figure exists for new hole to old hole: the shop's own rule is used."
FIRST: Final = "Makers' instructions, local rules and a qualified technician come first."
LABEL: Final = f"A label says which ski or boot it is, not that it may go out. {FIRST}"
LOOKS: Final = f"A look says what was seen, nothing about strength or release. {FIRST}"
COUNTS: Final = f"Counts of what was seen and entered here, no statement about strength. {FIRST}"
SAMPLE: Final = f"A sample does not find rare loose screws: it replaces no look and no test. {FIRST}"
