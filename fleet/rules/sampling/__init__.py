"""Sampling in season: the size, the draw, the results, the next day, and the limits of a sample.

The program records what a person found with a device; it judges counts, never a ski.
"""
