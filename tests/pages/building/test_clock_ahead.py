"""A gateway whose clock runs ahead is shown on its building's page, and no time is moved."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from fleet.analysis import backlog
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import Role
from fleet.timeseries import store
from tests.analysis import building
from tests.pages.scene import person, signed_in

pytestmark = pytest.mark.django_db
SAYS = "the logger’s clock or its time zone is wrong. Times are shown as written."


def page_after(newest: datetime) -> str:
    """The building's page, once rows up to then came in."""
    system = building.registered()
    lines = ["time,suction_pressure [kPa(a)]"]
    lines += [f"{newest - timedelta(seconds=10 * n):%Y-%m-%dT%H:%M:%SZ},900" for n in range(30)]
    upload, _ = receive(system, "a.csv", "\n".join(lines).encode())
    take_in(upload.pk)
    backlog.drain()
    assert (store.extent(system.pk) or (None, None))[1] == newest
    page = signed_in(person("rhea", Role.MANAGER)).get(f"/sites/{system.site.code}/")
    return page.content.decode()


def test_a_clock_two_hours_ahead_is_shown_as_written() -> None:
    newest = (timezone.now() + timedelta(hours=2, seconds=30)).astimezone(UTC)
    page = page_after(newest.replace(microsecond=0))
    assert "The last data are dated 2 h from now" in page
    assert SAYS in page


def test_a_clock_that_is_right_is_no_matter() -> None:
    assert SAYS not in page_after(timezone.now().astimezone(UTC).replace(microsecond=0))
