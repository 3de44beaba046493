"""Tests of files of other loggers."""
