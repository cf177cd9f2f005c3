"""Spreadsheets in: reads, cleans, asks, and proposes entries. Never writes the ledger itself."""
