"""A chain of shops in one plan: what may move, each shop's own problem, prices between them, the repair."""
