"""Decisions and paper: placement, the plan, the bench, the sheets, and the command line."""
