"""Audits of a ledger file on demand; backup, restore and rebuild.

What an audit shows: that the entries are chained as they were written, that the state follows from
them, and whether the file still contains a head printed earlier. What it cannot show: who rewrote a
whole file from the first entry on, unless a printed head stands against it; or that what was entered
was true.
"""
