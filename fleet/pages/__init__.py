"""What people see: a room for each page or two, and here what all of them share."""
