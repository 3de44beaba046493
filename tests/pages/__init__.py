"""Tests of what people see: one file a view, three people in every one."""
