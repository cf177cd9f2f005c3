"""Which boot goes on which ski, by which way: the planning problem, solved level by level."""
