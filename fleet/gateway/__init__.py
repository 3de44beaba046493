"""What runs in a building: one file that needs nothing but Python."""
