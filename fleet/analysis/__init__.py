"""From samples to windows, events and the ranking."""
