"""Patterns are data: read from a table, checked, shown and drawn."""
