"""Sets wanted, from what was rented and refused, and how many are worth having ready."""
