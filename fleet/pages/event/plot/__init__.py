"""The event's plot over time, and the circuit beside it."""
