"""The Django ring: keeps a fleet's data, calls ``diagnostics`` and shows what it found."""

import os

# Matrices here are small and the work is shared out by processes: threads of the linear algebra
# would only get into each other's way. NumPy reads this when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
