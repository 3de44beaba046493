"""One event: what to check and why, what people do with it, and what visits find."""
