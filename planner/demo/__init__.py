"""The sample story told end to end: inventory, plan, bench, counter, evening list."""
