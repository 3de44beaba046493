"""How long logs are kept, and forgetting a client: what would go, then letting it go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db import transaction
from django.db.models import Count, F, Func, IntegerField, QuerySet, Sum

from fleet.instants import midnight
from fleet.models import Client, DueDay, Event, System, Upload, UploadState, Window
from fleet.timeseries import forgetting

SETTLED = (UploadState.ANALYSED, UploadState.REFUSED)


@dataclass(frozen=True)
class Expired:
    """What is older than it has to be."""

    samples: forgetting.Old
    uploads: int
    upload_bytes: int


@dataclass(frozen=True)
class Belongings:
    """What an installation holds of a client. ``samples`` counts rows."""

    sites: int
    systems: int
    uploads: int
    samples: int
    windows: int
    events: int


def expired(older_than: timedelta, now: datetime) -> Expired:
    """Samples in whole pieces of time before then, and bodies of uploads with none after them."""
    samples = forgetting.before((now - older_than).astimezone(UTC).date())
    if samples.boundary is None:
        return Expired(samples, 0, 0)
    found = _bodies_before(samples.boundary).aggregate(
        uploads=Count("pk"),
        size=Sum(Func(F("body"), function="octet_length", output_field=IntegerField()), default=0),
    )
    return Expired(samples, found["uploads"], found["size"])


def let_go(boundary: date) -> None:
    """Drop samples before ``boundary`` and empty the bodies of uploads that held them.

    Windows, pooled days, events and the uploads' reports stay: results are small, and learning and
    the view of years need them. They are of the method that judged them; a later method, which
    cannot see the samples any more, leaves them out. The row of an upload stays so that the same
    bytes, sent again, are still known.
    """
    with transaction.atomic():
        forgetting.drop_before(boundary)
        DueDay.objects.filter(day__lt=boundary).delete()
        _bodies_before(boundary).update(body=b"")


def belongings(client: Client) -> Belongings:
    """Counts of everything that `forget` deletes."""
    systems = System.objects.filter(site__client=client)
    return Belongings(
        sites=client.sites.count(),
        systems=systems.count(),
        uploads=Upload.objects.filter(system__in=systems).count(),
        samples=forgetting.rows_of(list(systems.values_list("pk", flat=True))),
        windows=Window.objects.filter(system__in=systems).count(),
        events=Event.objects.filter(system__in=systems).count(),
    )


def forget(client: Client) -> None:
    """Delete a client with its sites, systems, uploads, samples, results and tokens, all or none.

    People who could see the client's sites keep their accounts.
    """
    with transaction.atomic():
        systems = list(System.objects.filter(site__client=client).values_list("pk", flat=True))
        # First the uploads: one being taken in is waited for, then none can add samples.
        Upload.objects.filter(system_id__in=systems).defer("body").delete()
        forgetting.forget(systems)
        client.sites.all().delete()
        client.delete()


def _bodies_before(boundary: date) -> QuerySet[Upload]:
    end = midnight(boundary)
    old = Upload.objects.filter(state__in=SETTLED, received_at__lt=end).exclude(body=b"")
    return old.exclude(last_sample__gte=end)
