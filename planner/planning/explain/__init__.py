"""Explanations of a plan: solved again with one thing changed, never guessed."""
