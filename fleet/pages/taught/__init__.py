"""What visits taught, for an organisation's managers to read and to take back."""
