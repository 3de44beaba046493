"""An event's page and its plot's data from two years of history, beside an empty view.

Two years of windows and pooled days, and some days of samples every 10 s, in the middle of which
the event lies. The site's clock is not UTC, as nearly everywhere: a day of the plot then lies in
two days that are analysed. An answer runs through all of Django, compressed, without a network.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from datetime import timedelta

import numpy as np

from fixtures.simulator.spec import Segment
from tests.benchmarks.load import NOON, lengthen, recorded
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run
from tests.benchmarks.speed.clocks import times_ms

# Below the lines above, which start the private database.
from django.contrib.auth import get_user_model  # isort: skip
from django.contrib.auth.decorators import login_not_required  # isort: skip
from django.http import HttpRequest, HttpResponse  # isort: skip
from django.test import Client as Browser  # isort: skip
from django.urls import path  # isort: skip

from fleet import urls  # isort: skip
from fleet.analysis import backlog  # isort: skip
from fleet.ingest.receive import receive  # isort: skip
from fleet.ingest.take_in import take_in  # isort: skip
from fleet.models import Event, System  # isort: skip

MOST_MS = 150.0
HISTORY_DAYS = 730
FINE_DAYS = 8


@login_not_required
def _empty(request: HttpRequest) -> HttpResponse:
    return HttpResponse()


def _system(run: Run) -> System:
    """Analysed, with all its history."""
    coarse = run.size(28, 2)
    fine = run.size(FINE_DAYS, 1)
    start = NOON - timedelta(days=coarse + fine, hours=12)
    system, _, frame = recorded(
        start,
        Segment(timedelta(days=coarse), 300),
        Segment(timedelta(days=fine), run.size(10, 60)),
        zone="Europe/Berlin",
    )
    upload, _ = receive(system, "log.csv", frame.write_csv().encode())
    take_in(upload.pk)
    backlog.drain([system.pk])
    lengthen(system, coarse + fine, run.size(HISTORY_DAYS, 8))
    return system


def _event(system: System, run: Run) -> Event:
    """The system's own event where it has one, moved to the middle of the finely logged days."""
    peak = NOON - timedelta(days=run.size(FINE_DAYS, 1) // 2 + 1)
    shown = {"peak_at": peak, "last_window": peak, "withdrawn": False}
    event = Event.objects.filter(system=system).first()
    if event is not None:
        Event.objects.filter(pk=event.pk).update(**shown)
        return event
    record = {"condition": "overcharge", "peak_probability": 0.86, "opened_at": peak} | shown
    verdict = system.standing.verdict  # the ledger is as long as a true event's
    return Event.objects.create(system=system, verdict=verdict, why="Suspicion.", **record)


def measure(run: Run) -> Iterator[Figure]:
    """The page and the default plot are held to the bar together; longer plots are shown."""
    event, rounds = _event(_system(run), run), run.size(21, 3)
    urls.urlpatterns.insert(0, path("benchmark-empty", _empty))
    browser = Browser(SERVER_NAME="localhost", HTTP_ACCEPT_ENCODING="gzip")
    browser.force_login(get_user_model().objects.create_superuser("bench", password=None))

    def asking(*addresses: str) -> Callable[[], object]:
        def ask() -> None:
            for address in addresses:
                answer = browser.get(address)
                assert answer.status_code == 200, (address, answer.status_code)

        ask()
        gc.collect()
        gc.freeze()  # as in a server: see fleet.wsgi
        return ask

    page, plot = f"/events/{event.pk}/", f"/events/{event.pk}/series.json"
    empty = times_ms([asking("/benchmark-empty")] * rounds, run.by)
    yield bars.of("floor: an empty view", "ms", empty)
    both = times_ms([asking(page, plot)] * rounds, run.by)
    told = f"{run.size(HISTORY_DAYS, 8)} days of history"
    yield bars.of("event's page with its plot's data", "ms", both, MOST_MS, note=told)
    ratio = float(np.median(both) / np.median(empty))
    yield bars.of("  times the floor", "", [ratio])
    for name, address in (
        ("the page", page),
        ("the plot's data, a day", plot),
        ("the plot's data, 3 days", f"{plot}?span=3days"),
        ("the plot's data, a week", f"{plot}?span=week"),
    ):
        yield bars.of(f"  {name}", "ms", times_ms([asking(address)] * rounds, run.by))


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
