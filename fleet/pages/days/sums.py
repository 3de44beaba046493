"""Sums over stored windows and days, made in the database; what is not known is left out."""

from __future__ import annotations

from typing import Any

from django.db.models import F, Sum
from django.db.models.lookups import LessThan

from diagnostics.windows import INDEX

_BELOW_NAN = 1e12


def feature(name: str) -> F:
    """One number of a row."""
    return F(f"features__{INDEX[name]}")


def known(what: Any, where: Any = None) -> Sum:
    """The sum of ``what`` over the rows in which it, or else ``where``, is known."""
    # NaN sorts above every number in PostgreSQL: the upper bound keeps it out of the sums.
    return Sum(what, filter=LessThan(what if where is None else where, _BELOW_NAN))
