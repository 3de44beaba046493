"""One event, for the technician: what to check first, and why."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from fleet import access
from fleet.models import Event, EventState, Role
from fleet.pages import charts, ledger, past, plot_data, settle, spans, units, words
from fleet.pages.advice import Check, advice, cautions
from fleet.pages.forms import NoteForm, ShelveForm, VisitForm
from fleet.pages.units import Preference

FIRST_LINES = 5


@require_GET
def event(request: HttpRequest, pk: int) -> HttpResponse:
    """An event the person may see, or 404."""
    found = access.event_or_404(request.user, pk)
    prefer, role = units.preference(request), access.role_of(request.user)
    entries = ledger.lines(found.verdict, found.condition, prefer)
    told = [line for line in entries if line.measured != "–"]
    context = {
        **_standing(found, prefer),
        "event": found,
        "site": found.system.site,
        "checks": _checks(found.condition, told),
        "ledger": told[:FIRST_LINES],
        "more_ledger": told[FIRST_LINES:],
        "untold": [line.title for line in entries if line.measured == "–"],
        "span": spans.chosen(found, request.GET),
        "spans": spans.WORDS,
        "may_act": role in (Role.MANAGER, Role.TECHNICIAN),
        "technicians": access.technicians(request.user),
        "notes": found.notes.select_related("author"),
        "changes": found.changes.select_related("who"),
        "visits": found.visits.select_related("visitor"),
        "note_form": NoteForm(),
        "visit_form": VisitForm(today=timezone.localdate(timezone=found.system.site.zone)),
        "shelve_form": ShelveForm(),
        "role": role,
        "units": prefer,
    }
    return render(request, "event/page.html", context)


def _standing(found: Event, prefer: Preference) -> dict[str, Any]:
    probability = found.peak_probability
    return {
        "suspicion": words.suspicion(found.condition),
        "why": units.text(words.reasons(found.why), prefer),
        "sureness": f"{words.sureness(probability)}, {words.percent(probability)}",
        "drift": _drift(found, prefer),
        "urgent": bool(found.verdict.get("urgent")),
        "settle": settle.steps(found.verdict, prefer),
        "advice": advice(found.condition),
        "cautions": cautions(found.system.refrigerant),
        "is_open": found.closed_at is None,
        "acknowledged": found.state
        not in (EventState.UNACKNOWLEDGED_ACTIVE, EventState.RETURNED_UNACKNOWLEDGED),
        "shelved": found.state == EventState.SHELVED,
    }


def _drift(found: Event, prefer: Preference) -> str:
    """A drift of the subcooling while the event lasts; nothing beside one that is over."""
    if found.closed_at is not None:
        return ""
    return past.load([found.system])[found.system_id].drift_text(prefer, only_changes=True)


def _checks(condition: str, told: list[ledger.Line]) -> list[tuple[Check, ledger.Line | None]]:
    """What to check, with the logged number that belongs beside it."""
    by_name = {line.finding: line for line in told}
    return [(check, by_name.get(check.finding)) for check in advice(condition).checks]


@require_GET
@gzip_page
def series(request: HttpRequest, pk: int) -> JsonResponse:
    """The plot and the circuit's instants of an event over the span asked for, as JSON."""
    found = access.event_or_404(request.user, pk)
    span = spans.chosen(found, request.GET)
    data = plot_data.gather(span, units.preference(request))
    answer = {
        "figure": charts.figure(data),
        "instants": charts.instants(data),
        "units": {
            "temperature": data.temperature_unit,
            "difference": data.difference_unit,
            "pressure": data.pressure_unit,
        },
        "clock": span.clock,
    }
    return JsonResponse(answer, headers={"Cache-Control": "private, max-age=60"})
