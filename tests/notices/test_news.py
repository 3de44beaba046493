"""What is new is noted once, whatever led to it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from fleet.models import Event, News, Standing, System
from fleet.notices import news
from fleet.notices.look import look
from tests.pages import scene
from tests.pages.scene import Scene

NOW = timezone.now()
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def lasting(system: System, since: datetime, until: datetime, **more: Any) -> Event:
    """An open event whose last window is at ``until``."""
    event = scene.open_event(system, more.pop("condition", "overcharge"))
    Event.objects.filter(pk=event.pk).update(opened_at=since, last_window=until, **more)
    event.refresh_from_db()
    return event


def kinds(now: datetime = NOW) -> list[tuple[str, bool]]:
    """What a look notes."""
    return [(it.kind, it.told) for it in look(now)]


def test_a_suspicion_is_told_once_it_has_lasted_and_never_twice(fleet: Scene) -> None:
    event = lasting(fleet.system, NOW - 13 * HOUR, NOW - 3 * HOUR)
    assert kinds() == []
    Event.objects.filter(pk=event.pk).update(last_window=NOW - HOUR)
    assert kinds() == [("opened", True)]
    for later in (NOW, NOW + HOUR, NOW + 30 * DAY):
        assert ("opened", True) not in kinds(later)


def test_what_came_and_went_between_two_looks_is_only_remembered(fleet: Scene) -> None:
    lasting(fleet.system, NOW - 2 * DAY, NOW - DAY, closed_at=NOW - DAY)
    assert kinds() == [("opened", False)]
    assert kinds() == [("closed", False)]


def test_history_that_is_loaded_later_is_not_told(fleet: Scene) -> None:
    lasting(fleet.system, NOW - 30 * DAY, NOW)
    assert kinds() == [("opened", False)]


def test_the_end_is_told_where_the_beginning_was(fleet: Scene) -> None:
    event = lasting(fleet.system, NOW - DAY, NOW)
    look(NOW)
    Event.objects.filter(pk=event.pk).update(closed_at=NOW + DAY)
    assert kinds(NOW + DAY) == [("closed", True)]
    assert kinds(NOW + DAY) == []


def test_the_same_again_within_two_weeks_is_not_told_again(fleet: Scene) -> None:
    first = lasting(fleet.system, NOW - DAY, NOW)
    look(NOW)
    Event.objects.filter(pk=first.pk).update(closed_at=NOW + DAY)
    look(NOW + DAY)
    later = NOW + 3 * DAY
    lasting(fleet.system, later, later + DAY)
    assert kinds(later + DAY) == [("opened", False)]
    another = lasting(fleet.system, later + 2 * HOUR, later + DAY, condition="sensor_fault")
    assert kinds(later + DAY) == [("opened", True)]
    Event.objects.filter(pk=another.pk).update(closed_at=later + 2 * DAY)


def test_another_suspicion_in_the_place_of_one_that_vanished_is_a_change(fleet: Scene) -> None:
    event = lasting(fleet.system, NOW - DAY, NOW)
    look(NOW)
    event.delete()
    lasting(fleet.system, NOW - DAY, NOW + DAY, condition="flow_restriction")
    noted = look(NOW + DAY)
    assert [(it.kind, it.told) for it in noted] == [("changed", True), ("retracted", False)]
    assert noted[0].condition == "flow_restriction"
    assert kinds(NOW + DAY) == []


@pytest.mark.parametrize("how", ["deleted", "withdrawn"])
def test_a_suspicion_that_later_data_take_away_is_taken_back(fleet: Scene, how: str) -> None:
    event = lasting(fleet.system, NOW - DAY, NOW)
    look(NOW)
    if how == "deleted":
        event.delete()
    else:
        Event.objects.filter(pk=event.pk).update(withdrawn=True, closed_at=NOW)
    assert kinds(NOW + HOUR) == [("retracted", True)]
    assert kinds(NOW + HOUR) == []


def test_a_closed_event_that_a_new_method_drops_is_no_news(fleet: Scene) -> None:
    event = lasting(fleet.system, NOW - DAY, NOW)
    look(NOW)
    Event.objects.filter(pk=event.pk).update(closed_at=NOW + DAY)
    look(NOW + DAY)
    event.delete()
    assert kinds(NOW + 2 * DAY) == []


def test_danger_is_noted_when_it_comes_and_when_it_has_been_gone(fleet: Scene) -> None:
    standing = Standing.objects.filter(system=fleet.system)
    standing.update(urgent=True, at=NOW)
    assert kinds() == [("urgent", True)]
    assert kinds(NOW + HOUR) == []
    standing.update(urgent=False)
    assert kinds(NOW + HOUR) == [], "out of danger for a moment is not out of danger"
    standing.update(urgent=True)
    assert kinds(NOW + 2 * DAY) == []
    standing.update(urgent=False)
    assert kinds(NOW + 2 * DAY) == [("calm", True)]
    standing.update(urgent=True)
    assert kinds(NOW + 3 * DAY) == [("urgent", True)]


def test_old_danger_in_data_that_ended_is_not_told(fleet: Scene) -> None:
    Standing.objects.update(urgent=True, at=NOW - 8 * DAY)
    assert kinds() == []


def test_data_that_stop_and_come_again_are_noted_once_each(fleet: Scene) -> None:
    standing = Standing.objects.filter(system=fleet.system)
    Standing.objects.update(last_sample=NOW)
    assert kinds(NOW + DAY) == []
    standing.update(last_sample=NOW - timedelta(days=2, minutes=1))
    assert kinds() == [("silent", True)]
    assert kinds(NOW + HOUR) == []
    standing.update(last_sample=NOW + DAY)
    assert kinds(NOW + DAY) == [("back", True)]
    assert kinds(NOW + DAY) == []


def test_a_site_that_was_given_up_long_ago_is_not_missed_today(fleet: Scene) -> None:
    Standing.objects.update(last_sample=NOW - 60 * DAY)
    assert kinds() == []


def test_looking_costs_the_same_however_many_systems(
    fleet: Scene, django_assert_max_num_queries: Any
) -> None:
    for i in range(30):
        system = scene.system(fleet.site, f"X{i}")
        scene.stand(system, "normal", 0.9, 3.0, last_sample=NOW - 3 * DAY)
    with django_assert_max_num_queries(16):
        assert len(look(NOW)) == 30


def test_a_second_look_at_the_same_moment_leaves_it_to_the_first(
    fleet: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    lasting(fleet.system, NOW - DAY, NOW)
    monkeypatch.setattr("fleet.notices.look.try_take", lambda _: False)
    assert look(NOW) == []
    assert not News.objects.exists()
    assert len(news.note(NOW)) == 1
