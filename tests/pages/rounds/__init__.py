"""Tests of a day's rounds."""
