"""One command a file: `manage.py <name>`."""
