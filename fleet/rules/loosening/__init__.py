"""Loosening of screws: rates with shrinkage and intervals, and days to the first movement.

It orders the recheck list. It never shortens the shop's minimum, and it says nothing about one ski.
"""
