"""Organisations, roles, signing in and what people are told."""
