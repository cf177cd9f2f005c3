"""Planning again after something happened: what was promised stays, the rest moves only for a gain."""
