"""What a standstill teaches of the discharge transducer.

After a long standstill both sides of the circuit hold one pressure, so the two transducers differ
by their errors alone. Of that difference the discharge transducer owns the larger part, because its
span is larger: var_d / (var_d + var_s), the best linear estimate for independent errors in
proportion to the spans. Taking it off leaves a subcooling that no longer carries it.
"""

from __future__ import annotations

import numpy as np

from diagnostics.samples import Samples
from diagnostics.signals import timebase as tb
from diagnostics.signals.instruments import STANDSTILL_S
from diagnostics.signals.state import States
from diagnostics.signals.timebase import Timebase

HIGH_SPAN_PA = 4.15e6
LOW_SPAN_PA = 1.7e6
"""Usual spans of the two transducers (common practice, no source)."""

OWN_SHARE = HIGH_SPAN_PA**2 / (HIGH_SPAN_PA**2 + LOW_SPAN_PA**2)

LARGEST_PA = 60e3
"""A larger difference is a fault to be reported, not the class of an instrument to be taken off."""

LEAST_S = 600.0


def levelled(samples: Samples, timebase: Timebase, states: States) -> Samples:
    """``samples`` with the discharge pressure freed of its error, where a standstill shows it."""
    discharge, suction = (
        samples.outdoor_or_nan(name) for name in ("discharge_pressure", "suction_pressure")
    )
    standing = tb.lag(~states.running, timebase, STANDSTILL_S) & np.isfinite(discharge - suction)
    if not standing.any() or timebase.usual_s[standing].sum() < LEAST_S:
        return samples
    difference = float(np.median((discharge - suction)[standing]))
    if abs(difference) > LARGEST_PA:
        return samples
    corrected = discharge - OWN_SHARE * difference
    return Samples(
        samples.time, dict(samples.outdoor) | {"discharge_pressure": corrected}, samples.indoor
    )
