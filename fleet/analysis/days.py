"""Analysis of one UTC day of one system: claim, read, analyse, replace its windows."""

from __future__ import annotations

import logging
from datetime import date, timedelta

import psycopg
from django.db import InterfaceError, OperationalError, transaction
from django.db.models import F, Q
from django.utils import timezone

from diagnostics.analyse import METHOD_VERSION, WARM_UP_S, Analysis, analyse
from diagnostics.plant import Plant
from diagnostics.samples import Samples
from fleet.analysis import window_rows
from fleet.analysis.locks import Lock, sole_on_day, take
from fleet.instants import DAY, midnight
from fleet.models import DueDay, Standing, System
from fleet.timeseries import store

logger = logging.getLogger(__name__)

WARM_UP = timedelta(seconds=WARM_UP_S)
"""Context read before a day, so that its first windows know the state they begin in."""

MOST_FAILURES = 3
MOST_CRASHES = 9
"""A day during which the process dies leaves no failure text; it is tried more often, because
the fault is more likely the machine's than the day's."""
FIRST_RETRY = timedelta(seconds=30)
LONGEST_RETRY = timedelta(hours=1)
"""More than any day waits; a time beyond was written before the clock was put back."""

_UNFINISHED = Q(analysed_generation__lt=F("generation"))
_PARKED = Q(attempts__gte=MOST_CRASHES) | (Q(attempts__gte=MOST_FAILURES) & ~Q(failure=""))
PARKED = _UNFINISHED & _PARKED
ANALYSED = Q(analysed_generation=F("generation"))
"""Days whose windows are written and not yet taken into the standing."""


def runnable() -> Q:
    """Due days that can be analysed now: not done, not parked, not waiting for another try."""
    now = timezone.now()
    waiting = Q(retry_at__gt=now, retry_at__lte=now + LONGEST_RETRY)
    return _UNFINISHED & ~_PARKED & ~waiting


def analyse_day(system_id: int, day: date) -> int | None:
    """Analyse a due day and replace its windows; the number of windows.

    None when there was nothing to do: not due, failed, or another process has it.

    The result depends on the stored samples, the manifest and the version of the method alone.
    A failure is written to the day, which is tried again later and parked after three.
    """
    with sole_on_day(system_id, day) as alone:
        generation = _claim(system_id, day) if alone else None
        if generation is None:
            return None
        try:
            windows = analyse_span(system_id, day).windows
            with transaction.atomic():
                take(Lock.STANDING, system_id)
                _finish(system_id, day, generation)
                return window_rows.replace_day(system_id, day, windows)
        except (OperationalError, InterfaceError, psycopg.OperationalError):
            raise  # the database is away: not the day's fault
        except Exception as error:
            logger.exception("Analysis of system %s on %s failed", system_id, day)
            _note_failure(system_id, day, generation, error)
            return None


def analyse_span(system_id: int, day: date) -> Analysis:
    """Analysis of a whole UTC day behind its warm-up; callers cut what they need from it."""
    return analyse(*_read_span(system_id, day))


def _read_span(system_id: int, day: date) -> tuple[Samples, Plant]:
    """What such an analysis rests on: the samples of the day and its warm-up, and the plant."""
    related = System.objects.select_related("site").prefetch_related("indoor_units")
    system = related.get(pk=system_id)
    start = midnight(day)
    return store.read(system, start - WARM_UP, start + DAY), system.plant()


def mark_outdated_due() -> int:
    """Make all days of systems judged by another version of the method due; how many systems."""
    outdated = Standing.objects.exclude(method_version=METHOD_VERSION)
    systems = list(outdated.values_list("system_id", flat=True))
    for system_id in systems:
        with transaction.atomic():
            DueDay.objects.mark(system_id, store.days(system_id))
            outdated.filter(system_id=system_id).update(method_version=METHOD_VERSION)
    return len(systems)


@transaction.atomic
def _claim(system_id: int, day: date) -> int | None:
    """Count an attempt and return the generation about to be analysed, None if not runnable."""
    free = DueDay.objects.select_for_update(skip_locked=True)
    due = free.filter(runnable(), system_id=system_id, day=day).first()
    if due is None:
        return None
    DueDay.objects.filter(pk=due.pk).update(attempts=F("attempts") + 1)
    return due.generation


def _note_failure(system_id: int, day: date, generation: int, error: Exception) -> None:
    due = DueDay.objects.filter(system_id=system_id, day=day, generation=generation).first()
    if due is not None:
        due.failure = f"{type(error).__name__}: {error}"
        due.retry_at = timezone.now() + FIRST_RETRY * 4 ** (due.attempts - 1)
        due.save(update_fields=("failure", "retry_at"))


def _finish(system_id: int, day: date, generation: int) -> None:
    """The windows of this generation are written; a newer generation stays due."""
    due = DueDay.objects.filter(system_id=system_id, day=day)
    due.update(analysed_generation=generation, attempts=0, retry_at=None, failure="")
