"""What people see: one page a file."""
