"""Where holes may go and what holes are: places, reasons, names, surveys, and how many mounts are left."""
