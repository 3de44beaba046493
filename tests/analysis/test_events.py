"""Events follow the episodes in the windows, and keep what people did with them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.episodes import Episode
from fleet.analysis import alarm_state, events, standing
from fleet.analysis.events import Found
from fleet.models import Event, EventState, System
from tests.analysis import building
from tests.diagnostics import rows

HOUR = timedelta(hours=1)
START = datetime(2026, 3, 2, tzinfo=UTC)


def found(opened_h: float, closed_h: float | None, condition: str = "overcharge") -> Found:
    closed = None if closed_h is None else START + closed_h * HOUR
    last = START + (opened_h if closed_h is None else closed_h) * HOUR
    return Found(condition, START + opened_h * HOUR, closed, last, 0.9, last)


def event(pk: int, opened_h: float, closed_h: float | None, condition: str = "overcharge") -> Event:
    closed = None if closed_h is None else START + closed_h * HOUR
    return Event(pk=pk, condition=condition, opened_at=START + opened_h * HOUR, closed_at=closed)


def pairs(matching: events.Matching) -> list[tuple[int, Found]]:
    return sorted((kept.pk, episode) for kept, episode in matching.kept)


def test_an_episode_whose_opening_moved_is_the_same_event() -> None:
    moved = found(-10, None)
    matching = events.match([event(1, 0, None)], [moved], set())
    assert pairs(matching) == [(1, moved)]
    assert not matching.new
    assert not matching.vanished


def test_another_condition_is_another_event() -> None:
    matching = events.match([event(1, 0, None, "undercharge")], [found(0, None)], set())
    assert len(matching.new) == len(matching.vanished) == 1


def test_an_episode_more_than_a_day_away_is_another_event() -> None:
    near, far = found(73, 80), found(75, 80)
    assert events.match([event(1, 0, 50)], [near], set()).kept
    assert not events.match([event(1, 0, 50)], [far], set()).kept


def test_of_two_events_that_grow_together_the_one_worked_on_goes_on() -> None:
    joined = found(0, 100)
    early, late = event(1, 0, 30), event(2, 60, 100)
    assert pairs(events.match([early, late], [joined], {2})) == [(2, joined)]
    assert pairs(events.match([early, late], [joined], set())) == [(1, joined)]


def test_an_event_that_falls_apart_goes_on_as_its_longer_part() -> None:
    short, long = found(-1, 10), found(40, 100)
    matching = events.match([event(1, 0, 100)], [short, long], set())
    assert pairs(matching) == [(1, long)]
    assert matching.new == (short,)


spans = st.lists(
    st.tuples(st.integers(0, 200), st.integers(1, 60), st.sampled_from(["overcharge", "normal"])),
    max_size=6,
    unique_by=lambda span: (span[0], span[2]),
)


@given(spans, spans, st.sets(st.integers(0, 5)))
def test_matching_loses_and_doubles_nothing(
    before: list[tuple[int, int, str]], now: list[tuple[int, int, str]], touched: set[int]
) -> None:
    old = [event(i, opened, opened + h, name) for i, (opened, h, name) in enumerate(before)]
    new = [found(opened, opened + h, name) for opened, h, name in now]
    matching = events.match(old, new, touched)
    kept = [kept.pk for kept, _ in matching.kept]
    assert sorted([*kept, *(each.pk for each in matching.vanished)]) == sorted(e.pk for e in old)
    episodes = [*(episode for _, episode in matching.kept), *matching.new]
    assert sorted(episodes, key=repr) == sorted(new, key=repr)
    assert all(kept.condition == episode.condition for kept, episode in matching.kept)


@given(spans, st.sets(st.integers(0, 5)))
def test_matching_what_did_not_change_changes_nothing(
    now: list[tuple[int, int, str]], touched: set[int]
) -> None:
    old = [event(i, opened, opened + h, name) for i, (opened, h, name) in enumerate(now)]
    new = [found(opened, opened + h, name) for opened, h, name in now]
    matching = events.match(old, new, touched)
    assert not matching.new
    assert not matching.vanished
    assert all(kept.opened_at == episode.opened_at for kept, episode in matching.kept)


DAY = 96
BAD = {"subcooling_to_indoor_k": 14.0, "discharge_superheat_k": 12.0, "suction_superheat_k": 0.5}


@pytest.fixture
def system() -> System:
    return building.registered()


def settle(system: System, bad_days: int, healthy_days: int = 0, *, after: int = 2) -> None:
    """A healthy start, then too much refrigerant, then a repair, if any."""
    parts = [
        rows.windows(after * DAY),
        rows.windows(bad_days * DAY, after * DAY, **BAD),
        rows.windows(healthy_days * DAY, (after + bad_days) * DAY),
    ]
    building.keep_windows(system, rows.joined(*parts))
    standing.refresh(system.pk)


@pytest.mark.django_db
def test_a_lasting_suspicion_opens_an_event_with_its_verdict(system: System) -> None:
    settle(system, 3)
    (made,) = Event.objects.all()
    assert (made.condition, made.state) == ("overcharge", EventState.UNACKNOWLEDGED_ACTIVE)
    assert made.closed_at is None
    assert made.opened_at.date() in {date(2026, 3, 4), date(2026, 3, 5)}
    assert made.peak_probability > 0.75
    assert made.verdict["conditions"].keys() >= {"normal", "overcharge"}
    assert made.why


@pytest.mark.django_db
def test_settling_twice_changes_nothing(system: System) -> None:
    settle(system, 3)
    before = list(Event.objects.values())
    standing.refresh(system.pk)
    assert list(Event.objects.values()) == before


@pytest.mark.django_db
def test_late_data_move_an_event_and_leave_the_work_on_it(system: System) -> None:
    settle(system, 3)
    (made,) = Event.objects.all()
    person = get_user_model().objects.create(username="rosa")
    made.notes.create(author=person, text="ladder needed")
    Event.objects.update(assignee=person)
    events.change(made.pk, alarm_state.acknowledge)
    settle(system, 4, after=1)
    (moved,) = Event.objects.all()
    assert moved.pk == made.pk
    assert moved.opened_at < made.opened_at
    assert (moved.assignee, moved.state) == (person, EventState.ACKNOWLEDGED_ACTIVE)
    assert moved.notes.get().text == "ladder needed"


@pytest.mark.django_db
def test_a_repair_closes_the_event_and_a_relapse_is_another(system: System) -> None:
    settle(system, 3)
    settle(system, 3, 4)
    (made,) = Event.objects.all()
    assert made.state == EventState.RETURNED_UNACKNOWLEDGED
    assert made.closed_at is not None
    assert made.closed_at <= START + timedelta(days=7)
    building.keep_windows(system, rows.windows(2 * DAY, 9 * DAY, **BAD))
    standing.refresh(system.pk)
    latest, earlier = Event.objects.all()
    assert earlier == made
    assert (latest.state, latest.closed_at) == (EventState.UNACKNOWLEDGED_ACTIVE, None)


@pytest.mark.django_db
def test_an_event_without_evidence_goes_unless_somebody_worked_on_it(system: System) -> None:
    settle(system, 3)
    settle(system, 0, 3)
    assert not Event.objects.exists()
    settle(system, 3)
    events.change(Event.objects.get().pk, alarm_state.acknowledge)
    settle(system, 0, 3)
    withdrawn = Event.objects.get()
    assert withdrawn.withdrawn
    assert (withdrawn.state, withdrawn.closed_at is None) == (EventState.NORMAL, False)
    settle(system, 3)
    back = Event.objects.get()
    assert back.pk == withdrawn.pk
    assert (back.withdrawn, back.state) == (False, EventState.UNACKNOWLEDGED_ACTIVE)


@pytest.mark.django_db
def test_the_verdict_is_kept_as_it_was_at_its_strongest(system: System) -> None:
    settle(system, 3)
    strongest = Event.objects.get()
    settle(system, 3, 2)
    closed = Event.objects.get()
    assert (closed.peak_at, closed.verdict) == (strongest.peak_at, strongest.verdict)


@pytest.mark.django_db
def test_what_was_shelved_comes_back_when_its_time_is_over(system: System) -> None:
    settle(system, 3)
    (made,) = Event.objects.all()
    now = timezone.now()
    events.change(
        made.pk, lambda alarm: alarm_state.shelve(alarm, now + HOUR, "part ordered", now=now)
    )
    assert events.unshelve_expired() == 0
    Event.objects.update(shelved_until=now - HOUR)
    assert events.unshelve_expired() == 1
    made.refresh_from_db()
    assert (made.state, made.shelved_until, made.shelved_reason) == (
        EventState.UNACKNOWLEDGED_ACTIVE,
        None,
        "",
    )


def test_an_episode_is_translated_into_aware_times() -> None:
    opened = np.datetime64("2026-03-02T00:00:00", "us")
    episode = Episode("overcharge", opened, opened, None, 0.8, opened)
    assert Found.of(episode) == Found("overcharge", START, None, START, 0.8, START)
