"""The one door to the file: a transaction of entries, who signs, corrections, and the fleet as it was."""
