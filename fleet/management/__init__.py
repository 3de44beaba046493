"""Commands, and what they share."""
