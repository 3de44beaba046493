"""Tests of reports over months, their paper and their links."""
