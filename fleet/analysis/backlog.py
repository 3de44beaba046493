"""Works off what is due: days first, then the standing of their system."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from time import monotonic

import django
from django.db.models import Min

from fleet.analysis import days, standing
from fleet.models import DueDay

Progress = Callable[[int], None]
"""Called with the number of days done since the last call."""


def work_off(
    system_id: int, *, seconds: float = float("inf"), progress: Progress | None = None
) -> bool:
    """Analyse the due days of a system, oldest first, and settle it; True if time ran out.

    Days that another process is working on are left to it: who finishes a day settles it, and
    first analyses it anew if it became due again meanwhile.
    """
    deadline = monotonic() + seconds
    due = DueDay.objects.filter(days.runnable(), system_id=system_id).order_by("day")
    for day in due.values_list("day", flat=True):
        if monotonic() > deadline:
            settle(system_id)
            return True
        again = due.filter(day=day)  # asked with the day free: who marks it then finds it so
        while days.analyse_day(system_id, day) is not None and again.exists():
            pass
        if progress is not None:
            progress(1)
    settle(system_id)
    return False


def settle(system_id: int) -> None:
    """Take analysed days, and what visits taught, into the standing; cheap when there are none."""
    analysed = DueDay.objects.filter(days.ANALYSED, system_id=system_id)
    if analysed.exists() or standing.outdated().filter(system=system_id).exists():
        standing.refresh(system_id)
    else:
        standing.mark_uploads_analysed(system_id)


def drain(system_ids: Iterable[int] | None = None, progress: Progress | None = None) -> int:
    """Work off everything due, or what is due of some systems, in this process.

    Returns the number of systems that had something due.
    """
    waiting = systems_with_work()
    chosen = waiting if system_ids is None else [pk for pk in system_ids if pk in set(waiting)]
    for system_id in chosen:
        work_off(system_id, progress=progress)
    return len(chosen)


def drain_parallel(workers: int, progress: Progress | None = None) -> int:
    """Work off everything due in ``workers`` processes; ``progress`` counts systems.

    Returns the number of systems that had something due.
    """
    waiting = systems_with_work()
    if not waiting:
        return 0
    # A fresh interpreter: a forked one would share this one's database connection.
    context = get_context("spawn")
    with ProcessPoolExecutor(workers, context, initializer=django.setup) as pool:
        for job in as_completed([pool.submit(work_off, system_id) for system_id in waiting]):
            job.result()
            if progress is not None:
                progress(1)
    return len(waiting)


def systems_with_work(limit: int | None = None) -> list[int]:
    """Systems with days to analyse or analysed days to settle, longest due first.

    After them those whose standing does not yet know what visits taught. A row of a day keeps its
    number from when the day became due until it is settled, so that under overload a system that
    sends without pause takes its turn like the others.
    """
    due = DueDay.objects.filter(days.runnable() | days.ANALYSED)
    oldest = due.values("system_id").annotate(oldest=Min("pk")).order_by("oldest")
    systems = oldest.values_list("system_id", flat=True)
    taught = standing.outdated().order_by("system_id").values_list("system_id", flat=True)
    return list(dict.fromkeys([*systems[:limit], *taught[:limit]]))[:limit]
