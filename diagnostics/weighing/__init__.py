"""From findings to probabilities: what each says for each condition, and what would settle it."""
