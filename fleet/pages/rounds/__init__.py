"""A day's round: buildings near each other that ask for a visit, and their map."""
