"""The rule by which given cells meet stored ones; arrays only, no database.

An empty cell is filled. A cell that differs keeps the stored value, unless it is to be replaced.
An empty given cell never changes anything.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.channels import EMPTY
from diagnostics.samples import TimeArray
from fleet.timeseries.block import Codes


@dataclass(frozen=True, eq=False)
class Meeting:
    """Given rows (n, columns) against stored ones.

    new: rows whose instant is not stored, shape (n,).
    changed: stored rows that get another content, shape (n,).
    codes: what each row holds afterwards, shape (n, columns).
    filled, differing: cells, shape (n, columns); stored: what differing cells held before.
    """

    new: NDArray[np.bool_]
    changed: NDArray[np.bool_]
    codes: Codes
    filled: NDArray[np.bool_]
    differing: NDArray[np.bool_]
    stored: Codes


def meet(
    time: TimeArray, given: Codes, stored_time: TimeArray, stored: Codes, *, replace: bool
) -> Meeting:
    """Let rows ``given`` (n, columns) meet rows ``stored`` (m, columns); times ascend."""
    at = np.searchsorted(stored_time, time)
    held = np.full_like(given, EMPTY)
    known = np.zeros(time.size, np.bool_)
    if stored_time.size:
        at = np.minimum(at, stored_time.size - 1)
        known = stored_time[at] == time
        held[known] = stored[at[known]]
    differs = known[:, None] & (given != EMPTY) & (given != held)
    filled = differs & (held == EMPTY)
    differing = differs & ~filled
    written = differs if replace else filled
    return Meeting(
        new=~known,
        changed=written.any(axis=1),
        codes=np.where(written | ~known[:, None], given, held),
        filled=filled,
        differing=differing,
        stored=held,
    )
