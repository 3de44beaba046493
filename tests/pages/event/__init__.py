"""Tests of an event and of what people do with it."""
