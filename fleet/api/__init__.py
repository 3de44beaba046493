"""HTTP for gateways and programs; version 1 lives under /api/v1."""
