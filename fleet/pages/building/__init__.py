"""One building: its systems' weeks, its place, the charge worksheet, data to take away."""
