"""Telling people and programs what changed: noted once, sent once, and rarely urgent."""
