"""The geometry of holes: legal places, reasons against a place, names of old holes, surveys, life left."""
