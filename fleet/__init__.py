"""The Django ring: keeps a fleet's data, calls ``diagnostics`` and shows what it found."""

import os

# Matrices and tables here are small and the work is shared out by processes: threads of the
# libraries would only get into each other's way. Read when NumPy and polars are first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
