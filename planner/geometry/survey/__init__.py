"""Surveys: typed readings of a ski's holes, doubts about them, and the entries that follow."""
