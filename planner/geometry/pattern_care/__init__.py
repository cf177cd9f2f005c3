"""Patterns as data: read from a table, checked, shown and drawn."""
