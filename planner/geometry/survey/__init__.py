"""Learning a ski's holes: typed readings, the slips they betray, and the entries they propose."""
