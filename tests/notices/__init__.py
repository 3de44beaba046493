"""News, digests and webhooks."""
