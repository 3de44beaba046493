"""What templates can ask for."""
