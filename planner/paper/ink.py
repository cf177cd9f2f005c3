"""The palette and the type sizes of every sheet: black on white first, forms before colours.

Three inks carry meaning and never alone: garnet for what cannot be undone (drill), pine for what is there
already (reuse), amber stripes for a proposal. In grey all three stay apart by form.
"""

from __future__ import annotations

from typing import Final

INK: Final = "#12171B"
SOFT: Final = "#4F5A61"
"""For labels and small print; 7:1 on white."""
RULE: Final = "#B7C1C6"
ICE: Final = "#EEF3F5"
"""The ski's top sheet and quiet bands."""
STEEL: Final = "#8D989E"
"""A plugged hole: there, and of no use."""
WHITE: Final = "#FFFFFF"
GARNET: Final = "#A3123F"
GARNET_PALE: Final = "#FBEAEF"
PINE: Final = "#0B6456"
AMBER: Final = "#F2B134"

TAG: Final = 38.0
TITLE: Final = 20.0
LOUD: Final = 27.0
BIG: Final = 15.0
READ: Final = 11.0
"""The least size of anything that is read at arm's length."""
LABEL: Final = 7.5
SMALL: Final = 7.0
"""No sheet has smaller type, in points."""
