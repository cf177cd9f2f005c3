"""Life left: how many more mounts a pair can take, and the order of mounts that achieves it."""
