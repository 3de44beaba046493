"""Tests of what visits taught."""
