"""Is a ledger file sound? The chain of hashes, the tables against the entries, the quick look at an open."""
