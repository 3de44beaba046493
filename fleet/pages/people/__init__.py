"""People and their organisation: ways in, settings, roles, mails and webhooks, the record."""
