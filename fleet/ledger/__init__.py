"""The only way into the file: transactions of entries, signatures, corrections, and the fleet as it was."""
