"""One short text for everything about a pair that a work order depends on, to see whether it changed."""

from __future__ import annotations

import hashlib
import json
import sqlite3

_PARTS = (
    "SELECT construction, waist_um, reference_from_tail_um, earlier_mounts FROM pair WHERE tag = ?",
    "SELECT side, mark_from_tail_um, zone_back_um, zone_front_um, zone_half_width_um FROM ski"
    " WHERE tag = ? ORDER BY side",
    "SELECT side, from_um, to_um, how FROM area WHERE tag = ? ORDER BY side, from_um, to_um, how",
    "SELECT hole_id, side, x_um, y_um, diameter_um, depth_um, state, knowledge FROM hole"
    " WHERE tag = ? ORDER BY hole_id",
    "SELECT pattern, bsl_um, offset_um, mounted_on, removed_on, slides FROM mount"
    " WHERE tag = ? ORDER BY mount_id",
    "SELECT binding_id, pattern, brake_um, on_ski FROM binding WHERE on_pair = ? ORDER BY binding_id",
)


def pair_state(connection: sqlite3.Connection, tag: str) -> str:
    """SHA-256 (hex) over the pair's skis, areas, holes, mounts and bindings; not over where it is."""
    said = [[list(row) for row in connection.execute(part, (tag,))] for part in _PARTS]
    return hashlib.sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()
