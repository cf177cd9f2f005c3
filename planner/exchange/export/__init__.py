"""The ledger as files for other programs and people: csv with a descriptor, and workbooks."""
