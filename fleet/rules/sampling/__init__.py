"""Sampling in season: how many, which, what was found, when again, and what a sample cannot see.

The program records what a person found with a device; it judges counts, never a ski.
"""
