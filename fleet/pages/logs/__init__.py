"""Files of other loggers: what their columns are, and how they are taken in."""
