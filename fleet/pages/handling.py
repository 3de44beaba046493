"""What the team has done about an event, in a word and in a line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Protocol, TypeVar

from django.db.models import Count
from django.utils.formats import date_format as written
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.models import Event, EventChange, EventState, SiteVisit


class Suspecting(Protocol):
    """An event, or as much of it as says what is suspected."""

    @property
    def condition(self) -> str:
        """The suspicion's code."""


E = TypeVar("E", bound=Suspecting)

STATES = {
    "untaken": gettext_lazy("nobody has taken it"),
    "seen": gettext_lazy("seen, nobody sent"),
    "sent": gettext_lazy("somebody is sent"),
    "planned": gettext_lazy("a visit is planned"),
    "shelved": gettext_lazy("shelved"),
}
"""How far an open event has come, by code; the words are those of the ranking's choice."""

NOT_SEEN = (EventState.UNACKNOWLEDGED_ACTIVE, EventState.RETURNED_UNACKNOWLEDGED)


def state_of(state: str, *, sent: bool, planned: bool) -> str:
    """The code of ``STATES`` for an open event's alarm state and what is arranged for it."""
    if state == EventState.SHELVED:
        return "shelved"
    if planned:
        return "planned"
    if sent:
        return "sent"
    return "untaken" if state in NOT_SEEN else "seen"


def to_go_to(events: Sequence[E], leading: str) -> E | None:
    """Of a system's open events, newest first: the leading condition's, else the newest."""
    match = (event for event in events if event.condition == leading)
    return next(match, events[0] if events else None)


def called(person: Any) -> str:
    """A person's name as printed; the user name where none is given, empty for nobody."""
    return "" if person is None else str(person.get_full_name() or person.get_username())


def _weekday(day: date | None) -> str:
    return written(day, "D j M") if day else "–"


@dataclass(frozen=True)
class Handling:
    """What was done about one event and when last; ``visit`` is the system's latest."""

    event: Event
    last: EventChange | None
    notes: int
    visit: SiteVisit | None

    @property
    def state(self) -> str:
        """The code of ``STATES``."""
        event = self.event
        return state_of(
            event.state,
            sent=event.assignee_id is not None,
            planned=event.visit_planned_on is not None,
        )

    @property
    def text(self) -> str:
        """Who has it and what is arranged."""
        event, whom = self.event, called(self.event.assignee)
        if self.state == "shelved":
            return _("Shelved until %(day)s: %(reason)s") % {
                "day": _weekday(event.shelved_until),
                "reason": event.shelved_reason,
            }
        if self.state == "planned":
            day = _weekday(event.visit_planned_on)
            if whom:
                return _("%(name)s goes on %(day)s") % {"name": whom, "day": day}
            return _("A visit is planned on %(day)s") % {"day": day}
        if whom:
            return _("With %(name)s, no day yet") % {"name": whom}
        return _("Seen, nobody sent") if self.state == "seen" else _("Nobody has taken it")

    @property
    def visited(self) -> str:
        """The latest visit to the system, if any."""
        if self.visit is None:
            return ""
        said = str(self.visit.get_outcome_display())
        return _("Visited %(day)s: %(found)s") % {
            "day": written(self.visit.visited_on, "j M Y"),
            "found": said,
        }


def load(events: Iterable[Event]) -> dict[int, Handling]:
    """What was done about each event, by its key. Three queries, however many events."""
    listed = list(events)
    if not listed:
        return {}
    changes = EventChange.objects.filter(event__in=listed).order_by("event_id", "-at", "-pk")
    last = {it.event_id: it for it in changes.distinct("event_id").select_related("who")}
    made = SiteVisit.objects.filter(event__system__in={event.system_id for event in listed})
    visits = made.order_by("event__system_id", "-visited_on", "-pk").distinct("event__system_id")
    of_system = {it.event.system_id: it for it in visits.select_related("event")}
    counted = Event.objects.filter(pk__in=[event.pk for event in listed])
    notes = dict(counted.annotate(n=Count("notes")).values_list("pk", "n"))
    return {
        event.pk: Handling(
            event, last.get(event.pk), notes.get(event.pk, 0), of_system.get(event.system_id)
        )
        for event in listed
    }
