"""The clients somebody looks after, each with its buildings and how much is suspected there."""

from __future__ import annotations

from django.db.models import Count, Exists, OuterRef, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from fleet import access
from fleet.models import PooledDay
from fleet.pages.standings import FOUR_WEEKS


@require_GET
def clients(request: HttpRequest) -> HttpResponse:
    """The clients the person looks after, with their buildings."""
    then, of = timezone.now() - FOUR_WEEKS, "sites__systems__events"
    stays = Q(**{f"{of}__closed_at": None})
    real = Q(**{f"{of}__withdrawn": False})
    lasted = Q(**{f"{of}__opened_at__lte": then}) & (stays | Q(**{f"{of}__closed_at__gt": then}))
    days = PooledDay.objects.filter(system__site__client=OuterRef("pk"), day__lte=then.date())
    found = access.visible_clients(request.user).prefetch_related("sites")
    counted = found.annotate(
        systems=Count("sites__systems", distinct=True),
        lasting=Count(of, filter=stays & real, distinct=True),
        lasted=Count(of, filter=lasted & real, distinct=True),
        known_then=Exists(days),
    )
    context = {"clients": counted.order_by("name"), "role": access.role_of(request.user)}
    return render(request, "clients/page.html", context)
