"""Small pictures of a column's values, as SVG path data. Geometry only."""

from __future__ import annotations

import numpy as np

from diagnostics.samples import FloatArray

WIDTH, HEIGHT, EDGE = 120.0, 26.0, 2.0
STEPS = 60


def path(values: FloatArray) -> str:
    """Extremes of sixty stretches, joined; NaN breaks the line. Empty without a number."""
    if not np.isfinite(values).any():
        return ""
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    span = (high - low) or 1.0
    parts: list[str] = []
    joined = False
    for i, stretch in enumerate(np.array_split(values, min(STEPS, values.size))):
        known = stretch[np.isfinite(stretch)]
        if not known.size:
            joined = False
            continue
        x = WIDTH * (i + 0.5) / min(STEPS, values.size)
        for value in (known.min(), known.max()) if known.size > 1 else known:
            y = HEIGHT - EDGE - (HEIGHT - 2 * EDGE) * (float(value) - low) / span
            parts.append(f"{'L' if joined else 'M'}{x:.1f} {y:.1f}")
            joined = True
    return "".join(parts) + ("h0" if len(parts) == 1 else "")
