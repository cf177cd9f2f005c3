"""The command line. A command opens the ledger, calls one function, and prints."""
