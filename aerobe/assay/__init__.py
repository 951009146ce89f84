"""Empty room, to be furnished."""
