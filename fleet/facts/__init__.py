"""Values of the trade: skis, holes, patterns, boots, policy, staff, and how a pair stands."""
