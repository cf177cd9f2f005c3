"""Who may go out, what must be looked at, what is held: the shop's day as rules over the facts."""
