"""What people do with an event: acknowledge, assign, shelve, write a note, report a visit."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import translation
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet import access, language
from fleet.analysis import alarm_state, events
from fleet.analysis.alarm_state import Alarm
from fleet.models import Event, EventChange
from fleet.pages import record, units
from fleet.pages.event import arrange, entered
from fleet.pages.event.forms import NoteForm, SendForm, ShelveForm, VisitForm
from fleet.pages.forms import faults
from fleet.said import say


def _move(pk: int, step: Callable[[Alarm], Alarm]) -> str:
    """Take an event through a step of the alarm's states; the refusal's text, empty when done."""
    try:
        events.change(pk, step)
    except alarm_state.TransitionError as refusal:
        return say(str(refusal))
    return ""


def _refused(request: HttpRequest, pk: int, refusal: str) -> HttpResponse:
    messages.error(request, refusal)
    return redirect("event", pk=pk)


def _done(request: HttpRequest, event: Event, said: str, what: str = "") -> HttpResponse:
    """Say that it is done and, with ``what``, write down who did it."""
    if what:
        EventChange.objects.create(event=event, who_id=request.user.pk, what=what)
    messages.success(request, said)
    return redirect("event", pk=event.pk)


@require_POST
def acknowledge(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody has seen it."""
    event = access.event_to_act_on_or_404(request.user, pk)
    if refusal := _move(event.pk, alarm_state.acknowledge):
        return _refused(request, pk, refusal)
    return _done(request, event, _("Acknowledged."), "acknowledged")


@require_POST
def assign(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a technician, on a day if one is given; or nobody when none is named."""
    event = access.event_to_assign_or_404(request.user, pk)
    form = SendForm(request.POST, people=access.technicians(request.user))
    if not form.is_valid():
        return _refused(request, pk, faults(form))
    visit = arrange.visit_of(form)
    arrange.send(event, visit, request.user.pk or 0)
    return _done(request, event, f"{capfirst(visit.said)}.")


@require_POST
def shelve(request: HttpRequest, pk: int) -> HttpResponse:
    """Out of sight for some days, with a reason."""
    event = access.event_to_act_on_or_404(request.user, pk)
    form = ShelveForm(request.POST)
    if not form.is_valid():
        return _refused(request, pk, faults(form))
    try:
        arrange.shelve(event, form.cleaned_data, request.user.pk or 0)
    except alarm_state.TransitionError as refusal:
        return _refused(request, pk, say(str(refusal)))
    return _done(request, event, _("Shelved."))


@require_POST
def unshelve(request: HttpRequest, pk: int) -> HttpResponse:
    """Back from the shelf."""
    event = access.event_to_act_on_or_404(request.user, pk)
    if refusal := _move(event.pk, alarm_state.unshelve):
        return _refused(request, pk, refusal)
    return _done(request, event, _("Back from the shelf."), "taken from the shelf")


@require_POST
def note(request: HttpRequest, pk: int) -> HttpResponse:
    """Anybody who sees the event may write under it."""
    event = access.event_or_404(request.user, pk)
    form = NoteForm(request.POST)
    if not form.is_valid():
        return _refused(request, pk, faults(form))
    written = form.save(commit=False)
    written.event, written.author = event, request.user
    written.save()
    return _done(request, event, _("Note kept."))


@require_POST
def visit(request: HttpRequest, pk: int) -> HttpResponse:
    """What the visit found; outcomes are the record of how often suspicions were right."""
    event = access.event_to_act_on_or_404(request.user, pk)
    form = VisitForm(request.POST, site=event.system.site, prefer=units.preference(request))
    if not form.is_valid():
        entered.keep(request, pk)
        return _refused(request, pk, faults(form))
    reported = form.save(commit=False)
    reported.event, reported.visitor = event, request.user
    reported.readings = form.readings
    reported.save()
    Event.objects.filter(pk=event.pk).update(visit_planned_on=None)  # it has been made
    with translation.override(language.SOURCE):  # the record is kept in one language
        found = reported.get_outcome_display()
    record.note(request, "recorded a visit at", f"{event.system}: {found}")
    said = _("Visit recorded. The event closes by itself once the data no longer show it.")
    return _done(request, event, said, f"recorded a visit: {found}")
