"""Measurements that print a table; run by hand, not by the test command."""
