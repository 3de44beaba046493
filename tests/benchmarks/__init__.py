"""Measurements, each a command of its own; DEVELOPERS.md says which."""

import fleet  # noqa: F401  as in every program of ours: it sets how many threads libraries use
