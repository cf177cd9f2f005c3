"""Work orders: from a judged plan to sheets on the bench, and back into the ledger."""
