"""Naming: measured holes explained as mounts of known patterns, or as made by no known pattern."""
