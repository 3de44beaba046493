"""From bytes to samples: receive, parse, validate, merge, report."""
