"""Episodes found in the windows become events that people work on, and stay theirs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from diagnostics.analyse import METHOD_VERSION
from diagnostics.episodes import Episode
from diagnostics.weighing.weigh import Weights
from fleet.analysis import alarm_state
from fleet.analysis.alarm_state import Alarm
from fleet.analysis.record import Record
from fleet.instants import to_64, to_utc
from fleet.models import Event, EventNote, EventState, SiteVisit, System

TOLERANCE = timedelta(days=1)
"""How far an episode may move and still be the same event: episodes look at the trailing day."""

_NEVER = datetime.max.replace(tzinfo=UTC)
_HANDLED_STATES = (
    EventState.ACKNOWLEDGED_ACTIVE,
    EventState.NORMAL,
    EventState.SHELVED,
    EventState.OUT_OF_SERVICE,
)


@dataclass(frozen=True)
class Found:
    """An episode in the terms of the database."""

    condition: str
    opened_at: datetime
    closed_at: datetime | None
    last_window: datetime
    peak_probability: float
    peak_at: datetime

    @classmethod
    def of(cls, episode: Episode) -> Found:
        """The episode with aware datetimes."""
        return cls(
            episode.condition,
            to_utc(episode.opened),
            None if episode.closed is None else to_utc(episode.closed),
            to_utc(episode.last),
            float(episode.peak_probability),
            to_utc(episode.peak_at),
        )


@dataclass(frozen=True)
class Matching:
    """Which event goes on as which episode, which episodes are new, which events lost theirs."""

    kept: tuple[tuple[Event, Found], ...]
    new: tuple[Found, ...]
    vanished: tuple[Event, ...]


def match(events: Sequence[Event], found: Sequence[Found], touched: set[int]) -> Matching:
    """Give each episode the event it continues: same condition, spans that meet within TOLERANCE.

    Events somebody worked on choose first, then equal openings, then the longest common span.
    """
    wishes = [
        ((event.pk in touched, event.opened_at == episode.opened_at, common), event, i)
        for event in events
        for i, episode in enumerate(found)
        if event.condition == episode.condition
        and (common := _common_span(event, episode)) > -TOLERANCE
    ]
    wishes.sort(key=lambda wish: wish[0], reverse=True)
    kept: dict[int, tuple[Event, Found]] = {}
    given: set[int] = set()
    for _, event, i in wishes:
        if event.pk not in given and i not in kept:
            given.add(event.pk)
            kept[i] = (event, found[i])
    return Matching(
        tuple(kept.values()),
        tuple(episode for i, episode in enumerate(found) if i not in kept),
        tuple(event for event in events if event.pk not in given),
    )


def reconcile(system: System, record: Record, episodes: Iterable[Episode]) -> None:
    """Bring the events of a system up to the episodes in its record.

    Runs in the caller's transaction. What people did stays: an event nobody touched goes when its
    episode goes, one that somebody touched is withdrawn.
    """
    events = list(Event.objects.select_for_update().filter(system=system))
    touched = set(_touched(system).values_list("pk", flat=True))
    matching = match(events, [Found.of(episode) for episode in episodes], touched)
    for event in matching.vanished:
        _withdraw(event) if event.pk in touched else event.delete()
    fresh = [(Event(system=system), episode) for episode in matching.new]
    for event, episode in (*matching.kept, *fresh):
        _bring_up(event, episode)
        if _needs_verdict(event, episode, record.weights):
            _judge_at_peak(event, episode, record)
        event.save()


@transaction.atomic
def change(event_id: int, step: Callable[[Alarm], Alarm]) -> Event:
    """Apply a step of `alarm_state` that a person asked for. Raises TransitionError."""
    event = Event.objects.select_for_update().get(pk=event_id)
    _set_alarm(event, step(alarm_of(event)))
    event.save(update_fields=("state", "shelved_until", "shelved_reason"))
    return event


def unshelve_expired() -> int:
    """Take back the events whose time on the shelf is over; how many."""
    over = Event.objects.filter(state=EventState.SHELVED, shelved_until__lte=timezone.now())
    return len([change(pk, alarm_state.unshelve) for pk in over.values_list("pk", flat=True)])


def alarm_of(event: Event) -> Alarm:
    """The event's state for `alarm_state`."""
    active = event.closed_at is None and not event.withdrawn
    return Alarm(EventState(event.state), active, event.shelved_until, event.shelved_reason)


def _set_alarm(event: Event, alarm: Alarm) -> None:
    event.state = alarm.state
    event.shelved_until, event.shelved_reason = alarm.shelved_until, alarm.shelved_reason


def _common_span(event: Event, episode: Found) -> timedelta:
    """Length of the time both last; negative is the gap between them."""
    end = min(event.closed_at or _NEVER, episode.closed_at or _NEVER)
    return end - max(event.opened_at, episode.opened_at)


def _touched(system: System) -> QuerySet[Event]:
    """Events on which somebody has worked."""
    of_event = OuterRef("pk")
    return Event.objects.filter(system=system).filter(
        Q(state__in=_HANDLED_STATES)
        | Q(assignee__isnull=False)
        | Exists(EventNote.objects.filter(event=of_event))
        | Exists(SiteVisit.objects.filter(event=of_event))
    )


def _withdraw(event: Event) -> None:
    event.withdrawn = True
    event.closed_at = event.closed_at or event.last_window
    _set_alarm(event, alarm_state.return_to_normal(alarm_of(event)))
    event.save()


def _bring_up(event: Event, episode: Found) -> None:
    """Derived columns and the process's own steps of the alarm. Leaves the verdict alone."""
    alarm = alarm_of(event)
    event.condition, event.withdrawn = episode.condition, False
    event.opened_at, event.closed_at = episode.opened_at, episode.closed_at
    event.last_window = episode.last_window
    step = alarm_state.occur if episode.closed_at is None else alarm_state.return_to_normal
    _set_alarm(event, step(alarm))


def _needs_verdict(event: Event, episode: Found, weights: Weights) -> bool:
    """Verdicts at the peak are dear; one is made again only when the peak or the weights have
    changed."""
    judged_by = (METHOD_VERSION, weights.taught)
    return (event.peak_at, event.peak_probability) != (
        episode.peak_at,
        episode.peak_probability,
    ) or (event.method_version, event.verdict.get("taught", "")) != judged_by


def _judge_at_peak(event: Event, episode: Found, record: Record) -> None:
    event.peak_at, event.peak_probability = episode.peak_at, episode.peak_probability
    event.method_version = METHOD_VERSION
    verdict = record.judge(to_64(episode.peak_at))
    event.verdict, event.why = verdict.as_json(), verdict.why[:300]
