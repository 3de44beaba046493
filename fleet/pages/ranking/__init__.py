"""The fleet at a glance: where next and why, what changed since yesterday, how soon to go."""
