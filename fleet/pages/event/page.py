"""One event, for the technician: what to check first, and why."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from fleet import access
from fleet.models import Event, EventState, Role
from fleet.pages import units, words
from fleet.pages.cautions import cautions
from fleet.pages.days import past, strips
from fleet.pages.days.past import Past
from fleet.pages.days.strips import Chart, Frame
from fleet.pages.event import before, entered, ledger, settle
from fleet.pages.event.advice import Check, advice
from fleet.pages.event.before import History
from fleet.pages.event.forms import NoteForm, VisitForm
from fleet.pages.event.plot import spans
from fleet.pages.handling import NOT_SEEN
from fleet.pages.units import Preference

FIRST_LINES = 5
ONE_OF_MANY = "sensor_fault"
"""Which sensor it is decides what to look at first: what its findings say, most telling first."""
LOG_ODDS = "direction_contradicted"
"""A number that nobody can take again on site."""
OWN_DAYS = 56
"""Days of the system's own past beside the event."""


@require_GET
def event(request: HttpRequest, pk: int) -> HttpResponse:
    """An event the person may see, or 404."""
    found = access.event_or_404(request.user, pk)
    prefer, role = units.preference(request), access.role_of(request.user)
    history = before.load(found.system, prefer)
    context = {
        **_standing(found, prefer),
        **_evidence(found, prefer),
        **_own_past(found, history, prefer),
        "event": found,
        "site": found.system.site,
        "span": spans.chosen(found, request.GET),
        "spans": spans.WORDS,
        "may_act": role in (Role.MANAGER, Role.TECHNICIAN),
        "technicians": access.technicians(request.user),
        "notes": found.notes.select_related("author"),
        "changes": found.changes.select_related("who"),
        "history": history,
        "note_form": NoteForm(),
        "visit_form": VisitForm(entered.again(request, pk), site=found.system.site, prefer=prefer),
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
        "urgent": bool(found.verdict.get("urgent")),
        "settle": settle.steps(found.verdict, prefer),
        "advice": advice(found.condition, found.system.refrigerant),
        "cautions": cautions(found.system.refrigerant),
        "is_open": found.closed_at is None,
        "acknowledged": found.state not in NOT_SEEN,
        "shelved": found.state == EventState.SHELVED,
    }


def _evidence(found: Event, prefer: Preference) -> dict[str, Any]:
    entries = ledger.lines(found.verdict, found.condition, prefer)
    told = [line for line in entries if line.measured != "–"]
    return {
        "checks": _checks(found, told),
        "ledger": told[:FIRST_LINES],
        "more_ledger": told[FIRST_LINES:],
        "untold": [line.title for line in entries if line.measured == "–"],
    }


def _own_past(found: Event, history: History, prefer: Preference) -> dict[str, Any]:
    """The system beside its own past: drawn, and in words while the event lasts."""
    last = found.last_window.astimezone(UTC).date()
    frame = Frame(last - timedelta(days=OWN_DAYS - 1), last, prefer)
    behind: Past = past.load([found.system], judged_since=frame.first)[found.system_id]
    drift = behind.drift_text(prefer, only_changes=True) if found.closed_at is None else ""
    return {"drift": drift, "own": _chart(behind, history, frame), "past": behind}


def _chart(behind: Past, history: History, frame: Frame) -> Chart | None:
    days = [made.visit.visited_on for made in reversed(history.visits)]
    inside = [day for day in days if frame.first <= day <= frame.last]
    return strips.chart(behind, frame, history.spans(frame.first, frame.last), inside)


def _checks(found: Event, told: list[ledger.Line]) -> list[tuple[Check, ledger.Line | None]]:
    """What to check, with the logged number that belongs beside it."""
    by_name = {line.finding: line for line in told}
    checks = advice(found.condition, urgent=bool(found.verdict.get("urgent"))).checks
    pairs = [(check, by_name.get(check.finding)) for check in checks]
    if found.condition == ONE_OF_MANY:
        pairs.sort(key=lambda pair: -max(pair[1].push.log_ratio, 0.0) if pair[1] else 0.0)
    return [(check, None if check.finding == LOG_ODDS else line) for check, line in pairs]
