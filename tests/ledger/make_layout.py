"""``python -m tests.ledger.make_layout``: the tiny ledger of the present layout, kept in layouts/.

Run once when a layout is released, never again for that layout: the file stands for what is out there.
"""

from __future__ import annotations

from pathlib import Path

from fleet.tables.layout import LAYOUT
from tests.ledger.busy import busy_shop

TARGET = Path(__file__).parent / "layouts" / f"layout_{LAYOUT}.db"

if __name__ == "__main__":
    TARGET.parent.mkdir(exist_ok=True)
    TARGET.unlink(missing_ok=True)
    busy_shop(TARGET).ledger.connection.close()
