"""A plan: its values, the levels of its objective, its file, and its words. Knows no geometry."""
