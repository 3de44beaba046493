"""How much one upload may hold. A system-day is some 0.4 MiB packed, 4 MiB plain."""

MIB = 1 << 20

MAX_PACKED_BYTES = 32 * MIB
"""Of a gzip body as received."""

MAX_PLAIN_BYTES = 64 * MIB
"""Of a body that is not packed, and of what a packed one unpacks to."""

MAX_RATIO = 400
"""Of plain to packed bytes, after the first MiB. Logs in which only the time moves reach 330."""

MAX_MEMBERS = 10_000
"""Of a gzip file; a logger that appends row by row and packs each makes one a row."""

MAX_COLUMNS = 2_000
MAX_LINE_BYTES = 256 * 1024
MAX_LINES = 4_000_000
MAX_WEEKS = 530
"""Different weeks in one upload: ten years. More is a clock gone wrong, and each costs a table."""

MAX_REASONS = 100
"""Complaints listed of one upload; all are counted."""
