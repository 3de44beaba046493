"""The ranking of many systems from their stored standings, and the first page that shows it."""

from __future__ import annotations

import gc
from collections.abc import Iterator

from tests.benchmarks import private
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run
from tests.benchmarks.speed.clocks import times_ms

private.prepare()

from django.db import connection  # noqa: E402  needs the line above
from django.http import HttpResponse  # noqa: E402
from django.test import Client as Browser  # noqa: E402
from django.utils import timezone  # noqa: E402

from fleet.analysis.ranking import ranking  # noqa: E402
from fleet.models import System  # noqa: E402
from tests.pages import many  # noqa: E402

MOST_MS = 200.0
PEER = """
SELECT site.code, system.code, standing.score, standing.leading, standing.conditions,
       standing.coverage, standing.last_sample, standing.why
FROM fleet_system AS system JOIN fleet_site AS site ON site.id = system.site_id
LEFT JOIN fleet_standing AS standing ON standing.system_id = system.id
"""


def _bare() -> None:
    """The same rows straight from the database, unsorted: the floor."""
    with connection.cursor() as cursor:
        cursor.execute(PEER)
        cursor.fetchall()


def measure(run: Run) -> Iterator[Figure]:
    """Two systems a site, as the test of pages has them."""
    sites, rounds = run.size(5000, 50), run.size(21, 5)
    fleet = many.build(sites, days=2)
    systems = System.objects.count()
    browser = Browser(SERVER_NAME="localhost")
    browser.force_login(fleet.manager)

    def rank() -> None:
        assert len(ranking(timezone.now(), System.objects.all())) == sites

    def page() -> None:
        answer: HttpResponse = browser.get("/")
        assert answer.status_code == 200

    def warm() -> None:
        for step in (rank, page, _bare):
            step()
        gc.collect()
        gc.freeze()  # as in a server: see fleet.wsgi

    warm()
    told = f"{systems:,} systems"
    yield bars.of("ranking", "ms", times_ms([rank] * rounds, run.by), MOST_MS, note=told)
    yield bars.of("  floor: its rows by one query", "ms", times_ms([_bare] * rounds, run.by))
    yield bars.of("the page that shows it", "ms", times_ms([page] * rounds, run.by), MOST_MS)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
