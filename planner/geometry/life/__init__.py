"""Life left: the number of further mounts a pair can take, and an order of mounts that reaches it."""
