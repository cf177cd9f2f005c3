"""Planning which boot goes on which ski: solve, judge, plan again, plan for many seasons, explain."""
