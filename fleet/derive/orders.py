"""Entries about work orders: issued, cancelled, done, stopped."""

from __future__ import annotations

from fleet.derive.handler import Handler

HANDLERS: dict[str, Handler] = {}
