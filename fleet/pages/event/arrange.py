"""Sending people to events: who goes, and on which day; for one event or for many at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import Any

from django.contrib import messages
from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext
from django.views.decorators.http import require_POST

from fleet import access, asked, language
from fleet.analysis import alarm_state, events
from fleet.analysis.alarm_state import Alarm
from fleet.models import Event, EventChange, Role
from fleet.pages.back import back
from fleet.pages.event.forms import SendForm, ShelveForm
from fleet.pages.forms import faults
from fleet.pages.handling import called
from fleet.said import say

MOST = 200
"""Events that may be arranged in one go."""


@dataclass(frozen=True)
class Visit:
    """Who goes, and when; either may be open."""

    person: User | None
    day: date | None

    @property
    def text(self) -> str:
        """For the record of who did what."""
        with translation.override(language.SOURCE):
            return self.said

    @property
    def said(self) -> str:
        """For whoever arranged it, in their language."""
        whom = called(self.person) or pgettext("assigned to", "nobody")
        if self.day is None:
            return _("assigned to %(whom)s") % {"whom": whom}
        parts = {"whom": whom, "day": self.day}
        return _("assigned to %(whom)s, visit planned on %(day)s") % parts


def visit_of(form: SendForm) -> Visit:
    """What a valid form asks for."""
    return Visit(form.cleaned_data["assignee"], form.cleaned_data["day"])


def _seen(alarm: Alarm) -> Alarm:
    """Whoever sends somebody has seen it."""
    try:
        return alarm_state.acknowledge(alarm)
    except alarm_state.TransitionError:
        return alarm


@transaction.atomic
def send(event: Event, visit: Visit, who: int) -> None:
    """Arrange a visit for an event, and write down who did."""
    if visit.person or visit.day:
        events.change(event.pk, _seen)
    Event.objects.filter(pk=event.pk).update(assignee=visit.person, visit_planned_on=visit.day)
    EventChange.objects.create(event=event, who_id=who, what=visit.text)


@transaction.atomic
def shelve(event: Event, good: dict[str, Any], who: int) -> None:
    """Put an event off as a valid form says. Raises TransitionError."""
    now = timezone.now()
    until, reason = now + timedelta(days=good["days"]), good["reason"]
    step = partial(alarm_state.shelve, until=until, reason=reason, now=now)
    events.change(event.pk, step)
    said = f"shelved until {until:%Y-%m-%d}: {reason}"
    EventChange.objects.create(event=event, who_id=who, what=said[:400])


def _to_assign(request: HttpRequest) -> QuerySet[Event]:
    """Events of those who send people: managers."""
    manages = access.role_of(request.user) is Role.MANAGER
    return access.visible_events(request.user) if manages else Event.objects.none()


@require_POST
def together(request: HttpRequest) -> HttpResponse:
    """Send somebody to the ticked events, or shelve them; for managers."""
    given = map(asked.whole, request.POST.getlist("event")[:MOST])
    ticked = [number for number in given if number is not None]
    listed = list(_to_assign(request).filter(pk__in=ticked, closed_at=None))
    if not listed:
        messages.error(request, _("Tick at least one site with an open event first."))
        return back(request)
    if request.POST.get("do") == "shelve":
        _shelve_all(request, listed)
    else:
        _send_all(request, listed)
    return back(request)


def _send_all(request: HttpRequest, listed: Sequence[Event]) -> None:
    form = SendForm(request.POST, people=access.technicians(request.user))
    if not form.is_valid():
        messages.error(request, faults(form))
        return
    visit = visit_of(form)
    for event in listed:
        send(event, visit, request.user.pk or 0)
    said = ngettext("%(n)s event: %(what)s.", "%(n)s events: %(what)s.", len(listed))
    messages.success(request, said % {"n": len(listed), "what": visit.said})


def _shelve_all(request: HttpRequest, listed: Iterable[Event]) -> None:
    form = ShelveForm(request.POST)
    if not form.is_valid():
        messages.error(request, faults(form))
        return
    done, refused = 0, []
    for event in listed:
        try:
            shelve(event, form.cleaned_data, request.user.pk or 0)
            done += 1
        except alarm_state.TransitionError as refusal:
            refused.append(say(str(refusal)))
    if done:
        said = ngettext("%(n)s event shelved.", "%(n)s events shelved.", done) % {"n": done}
        messages.success(request, said)
    for text in dict.fromkeys(refused):
        messages.error(request, text)
