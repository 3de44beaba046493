"""Tests of a building's page, its charge worksheet and its data."""
