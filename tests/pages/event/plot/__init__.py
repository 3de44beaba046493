"""Tests of an event's plot."""
