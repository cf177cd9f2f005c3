"""The bench: work orders, the weeks, the parts, and the figures of a season's end."""
