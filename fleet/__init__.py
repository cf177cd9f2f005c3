"""True facts of a shop: skis, holes, bindings, boots, staff, what happened, who may go out.

Knows no spreadsheet, no solver and no printer. Dependencies run fleet <- imports <- planner.
"""
