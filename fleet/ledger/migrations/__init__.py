"""Migrations from one layout of the ledger file to the next, numbered, each in one transaction.

The entries are the truth and keep their text and hashes for ever; what a layout changes is almost
always the tables derived from them. So a step is: change the entries' table if it must change (rare),
make the derived tables of the new layout, and derive every entry again. To add layout n + 1:

1. copy what `layout_statements()` gives today into ``layout_n.sql`` here (``python -m fleet.migrations``
   prints it), so that a file claiming to be layout n is compared with what layout n was;
2. change `fleet.tables.layout`, raise ``LAYOUT``, and add a `LayoutStep` to ``STEPS``;
3. keep a tiny ledger of layout n in tests/ledger/ (there is one of every released layout).
"""

from fleet.ledger.migrations.bring_up import STEPS, LayoutStep, bring_up, brought_up

__all__ = ["STEPS", "LayoutStep", "bring_up", "brought_up"]
