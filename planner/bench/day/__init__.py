"""The questions that a day at the counter and at the bench asks."""
