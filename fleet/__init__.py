"""The Django ring: keeps a fleet's data, calls ``diagnostics`` and shows what it found."""
