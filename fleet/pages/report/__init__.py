"""Months of a client or a building: on pages, on paper, and by a link for outsiders."""
