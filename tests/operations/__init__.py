"""Tests of what whoever runs an installation does to it."""
