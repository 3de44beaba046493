"""Tests of the ranking and of what is done from it."""
