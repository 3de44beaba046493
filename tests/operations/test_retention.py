"""What is removed, what stays, and that nothing happens without being asked for."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.core.management.base import CommandError
from django.db import connection
from django.utils import timezone

from fleet.analysis import backlog
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import (
    Client,
    DueDay,
    Membership,
    PooledDay,
    Site,
    System,
    Upload,
    UploadState,
    UploadToken,
    Window,
)
from fleet.timeseries import forgetting, store
from tests.analysis import building
from tests.commands.calling import run
from tests.timeseries.test_backends import compress

pytestmark = pytest.mark.django_db

HEADER = "time,suction_pressure [kPa(a)],discharge_pressure [kPa(a)]\n"
NOW = timezone.now().replace(hour=12, minute=0, second=0, microsecond=0)
"""At noon: the rows of one upload lie on one day, whatever time it is."""
OLD, YOUNG = NOW - timedelta(days=100), NOW - timedelta(days=20)


def upload(system: System, first: datetime) -> Upload:
    """An upload of 90 rows as it came at that time, taken in and analysed."""
    times = (first + timedelta(seconds=60 * at) for at in range(90))
    body = HEADER + "".join(f"{time.isoformat()},{900},{2600}\n" for time in times)
    kept, _ = receive(system, "log.csv", body.encode())
    Upload.objects.filter(pk=kept.pk).update(received_at=first)
    assert take_in(kept.pk).state == UploadState.TAKEN_IN
    return kept


def rows(system: System) -> list[np.datetime64]:
    fresh = System.objects.get(pk=system.pk)
    samples = store.read(fresh, datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC))
    return list(samples.time)


@pytest.fixture
def system() -> System:
    """A system with an old log and a young one, both analysed."""
    system = building.registered()
    for first in (OLD, YOUNG):
        upload(system, first)
    backlog.drain()
    return system


def test_nothing_is_removed_without_yes(system: System) -> None:
    before = rows(system)
    said = run("retain", "--older-than", "60")
    assert said.startswith("Would remove 90 rows of samples on ")
    assert "the bytes of 1 uploads" in said
    assert said.endswith("Nothing is done without --yes.\n")
    assert rows(system) == before
    assert all(Upload.objects.values_list("body", flat=True))


def test_old_samples_and_bodies_go_and_results_stay(system: System) -> None:
    windows, days = Window.objects.count(), PooledDay.objects.count()
    old, young = Upload.objects.order_by("received_at")
    assert run("retain", "--older-than", "60", "--yes").startswith("Removed 90 rows")
    assert len(rows(system)) == 90
    assert min(rows(system)) >= np.datetime64(YOUNG.replace(tzinfo=None))
    assert min(store.days(system.pk)) >= YOUNG.date()
    first, _ = store.extent(system.pk) or (None, None)
    assert first == YOUNG
    old.refresh_from_db()
    young.refresh_from_db()
    assert (bytes(old.body), old.rows_accepted) == (b"", 90)
    assert bytes(young.body)
    assert Window.objects.count() == windows > 0
    assert PooledDay.objects.count() == days == 2
    assert not DueDay.objects.exists()
    assert run("retain", "--older-than", "60", "--yes").startswith("Nothing is that old")


def test_old_bytes_sent_again_are_still_known(system: System) -> None:
    old = Upload.objects.order_by("received_at")[0]
    body = bytes(old.body)
    run("retain", "--older-than", "60", "--yes")
    again, created = receive(system, "log.csv", body)
    assert (again.pk, created) == (old.pk, False)
    assert len(rows(system)) == 90


def test_a_day_asked_to_be_kept_is_kept(system: System) -> None:
    """Boundaries are those of whole pieces, on or before the day."""
    for days in range(60, 130):
        old = forgetting.before((NOW - timedelta(days=days)).date())
        assert old.boundary is None or old.boundary <= (NOW - timedelta(days=days)).date()


def test_too_short_a_time_is_wrong_usage() -> None:
    with pytest.raises(CommandError, match="at least 30 days are kept") as caught:
        run("retain", "--older-than", "7")
    assert caught.value.returncode == 2


def test_an_upload_not_yet_taken_in_keeps_its_bytes(system: System) -> None:
    waiting, _ = receive(system, "waiting.csv", (HEADER + "2026-01-05T14:00:00Z,9,9\n").encode())
    Upload.objects.filter(pk=waiting.pk).update(received_at=OLD)
    run("retain", "--older-than", "60", "--yes")
    waiting.refresh_from_db()
    assert bytes(waiting.body)


def test_a_client_is_forgotten_and_no_other(
    system: System, django_user_model: type[object]
) -> None:
    other = building.registered(site="quay-store", client="tidemark-hotels")
    upload(other, YOUNG)
    backlog.drain()
    UploadToken.objects.make(system.site)
    people = django_user_model.objects.create_user("rep")  # type: ignore[attr-defined]
    member = Membership.objects.create(user=people, role="account_rep")
    member.clients.set(Client.objects.all())
    kept = (rows(other), Window.objects.filter(system=other).count())
    held = "1 sites, 1 systems, 2 uploads, 180 rows of samples"
    assert f"Would delete Alder-Council (alder-council): {held}" in run(
        "forget_client", "alder-council"
    )
    assert len(rows(system)) == 180
    assert held in run("forget_client", "alder-council", "--yes")
    assert list(Client.objects.values_list("code", flat=True)) == ["tidemark-hotels"]
    assert list(Site.objects.values_list("code", flat=True)) == ["quay-store"]
    assert not UploadToken.objects.exists()
    assert store.extent(system.pk) is None
    assert forgetting.rows_of([system.pk]) == 0
    assert (rows(other), Window.objects.filter(system=other).count()) == kept
    assert list(member.clients.values_list("code", flat=True)) == ["tidemark-hotels"]


def test_a_client_nobody_knows_is_refused() -> None:
    building.registered()
    with pytest.raises(CommandError, match="no client has the code 'alder'; known: alder-council"):
        run("forget_client", "alder", "--yes")


def test_compressed_samples_go_too(system: System) -> None:
    if store.backend() != "hypertable":
        pytest.skip("needs TimescaleDB; see tests/timeseries/test_backends.py")
    compress()
    assert run("retain", "--older-than", "60", "--yes").startswith("Removed 90 rows")
    assert len(rows(system)) == 90
    run("forget_client", "alder-council", "--yes")
    assert rows_left() == 0


def rows_left() -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM samples")
        return int(cursor.fetchone()[0])
