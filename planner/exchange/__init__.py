"""The ledger in and out of files: proposals become entries, tables become csv files and workbooks."""
