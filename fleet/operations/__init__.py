"""What whoever runs an installation does to it: put aside work back, copies, retention."""
