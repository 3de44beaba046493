"""What several rooms tell and draw of a system day by day: its past, its chart, its events."""
