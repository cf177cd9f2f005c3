"""Entries about where a pair is: out, back, pass, hold, clear."""

from __future__ import annotations

from fleet.derive.handler import Handler

HANDLERS: dict[str, Handler] = {}
