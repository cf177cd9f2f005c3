"""The rules of the shop's day over the facts: going out, rechecks, holds."""
