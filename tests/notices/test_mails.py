"""Who is told what: at once, in a digest, or not at all."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail
from django.utils import timezone

from fleet.models import Digest, Event, Organisation, Outgoing, PersonSettings, Role, Standing
from fleet.notices import mails, outbox
from fleet.notices.look import look
from tests.notices.test_news import lasting
from tests.pages import scene
from tests.pages.scene import CANARY, Scene

MORNING = timezone.now().replace(hour=7, minute=0)
DAY = timedelta(days=1)


def sent() -> dict[str, str]:
    """Mails of now, by whom they go to."""
    mail.outbox.clear()
    outbox.send_waiting()
    return {it.to[0].partition("@")[0]: it.body for it in mail.outbox}


def ready() -> None:
    """Everybody has had the digest of the day before."""
    mails.queue_digests(MORNING - DAY)
    Outgoing.objects.all().delete()


def test_everybody_gets_what_they_may_see_once(fleet: Scene) -> None:
    ready()
    event = lasting(fleet.system, MORNING - DAY, MORNING, assignee=fleet.technician)
    look(MORNING)
    assert mails.queue_digests(MORNING) == 3
    told = sent()
    assert set(told) == {"mara", "rhea", "tess"}, "not the rep of another client"
    for body in told.values():
        assert f"{CANARY} Ferry Hall, R1: suspicion of too much refrigerant" in body
        assert f"https://fleet.example.org/events/{event.pk}/" in body
    for later in (MORNING, MORNING + timedelta(hours=3), MORNING + DAY):
        assert mails.queue_digests(later) == 0
    assert sent() == {}


def test_people_of_another_organisation_are_told_nothing(fleet: Scene) -> None:
    second = Organisation.objects.create(code="second", name="Second Company")
    stranger = scene.person("wren", Role.MANAGER)
    stranger.membership.organisation = second
    stranger.membership.save()
    type(stranger).objects.filter(pk=stranger.pk).update(email="wren@example.org")
    ready()
    lasting(fleet.system, MORNING - DAY, MORNING)
    Standing.objects.update(urgent=True, at=MORNING)
    look(MORNING)
    mails.queue_digests(MORNING)
    assert "wren" not in sent()


def test_nothing_new_makes_no_mail(fleet: Scene) -> None:
    ready()
    assert mails.queue_digests(MORNING) == 0


def test_before_six_nobody_is_written_to(fleet: Scene) -> None:
    ready()
    lasting(fleet.system, MORNING - DAY, MORNING)
    look(MORNING)
    assert mails.queue_digests(MORNING.replace(hour=5)) == 0
    assert mails.queue_digests(MORNING.replace(hour=6)) > 0


@pytest.mark.parametrize(
    ("digest", "today", "due"),
    [
        (Digest.DAILY, date(2026, 11, 25), date(2026, 11, 25)),
        (Digest.WEEKLY, date(2026, 11, 25), date(2026, 11, 23)),
        (Digest.WEEKLY, date(2026, 11, 23), date(2026, 11, 23)),
        (Digest.WEEKLY, date(2026, 11, 22), date(2026, 11, 16)),
    ],
)
def test_weekly_digests_are_due_on_mondays_or_as_soon_as_somebody_works_again(
    digest: Digest, today: date, due: date
) -> None:
    assert mails.due_day(digest, today) == due


def test_a_weekly_digest_tells_the_whole_week(fleet: Scene) -> None:
    monday = datetime(2026, 11, 23, 7, tzinfo=UTC)
    PersonSettings.objects.of(fleet.rep.pk)
    PersonSettings.objects.update(digest=Digest.WEEKLY)
    mails.queue_digests(monday)
    lasting(fleet.system, monday - DAY, monday + 3 * DAY)
    look(monday + DAY)
    for days in range(1, 7):
        assert not [it for it in _keys(monday + days * DAY) if f":{fleet.rep.pk}:" in it]
    assert f"digest:{fleet.rep.pk}:2026-11-30" in _keys(monday + 7 * DAY)


def _keys(now: datetime) -> list[str]:
    mails.queue_digests(now)
    return list(Outgoing.objects.values_list("key", flat=True))


def test_whoever_wants_none_gets_none_and_starts_anew_later(fleet: Scene) -> None:
    ready()
    PersonSettings.objects.filter(user=fleet.manager).update(digest=Digest.OFF)
    lasting(fleet.system, MORNING - DAY, MORNING)
    look(MORNING)
    mails.queue_digests(MORNING)
    PersonSettings.objects.filter(user=fleet.manager).update(digest=Digest.DAILY)
    mails.queue_digests(MORNING + DAY)
    assert "mara" not in sent()


def test_danger_is_told_at_once_to_those_who_act(fleet: Scene) -> None:
    lasting(fleet.system, MORNING - 30 * DAY, MORNING, assignee=fleet.technician)
    Standing.objects.filter(system=fleet.system).update(urgent=True, at=MORNING)
    look(MORNING)
    told = sent()
    assert set(told) == {"mara", "tess"}, "account reps read it in their digest"
    assert "liquid may be coming back to the compressor" in told["mara"]
    assert "never an order" in told["mara"]
    look(MORNING + timedelta(minutes=1))
    assert sent() == {}


def test_whoever_turned_it_off_is_not_told_at_once(fleet: Scene) -> None:
    PersonSettings.objects.of(fleet.manager.pk)
    PersonSettings.objects.update(urgent=False)
    Standing.objects.filter(system=fleet.system).update(urgent=True, at=MORNING)
    look(MORNING)
    assert "mara" not in sent()


def test_only_urgent_news_are_sent_at_once(fleet: Scene) -> None:
    lasting(fleet.system, MORNING - DAY, MORNING)
    Standing.objects.filter(system=fleet.system).update(last_sample=MORNING - 3 * DAY)
    assert {it.kind for it in look(MORNING)} == {"opened", "silent"}
    assert sent() == {}


def test_a_mail_can_be_ended_with_one_click_and_says_so(fleet: Scene) -> None:
    Standing.objects.filter(system=fleet.system).update(urgent=True, at=MORNING)
    look(MORNING)
    outbox.send_waiting()
    letter = mail.outbox[-1]
    link = mails.stop_link(fleet.manager, mails.URGENT)
    assert link in letter.body
    assert letter.extra_headers["List-Unsubscribe"] == f"<{link}>"
    assert letter.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"


def test_a_digest_puts_five_first_and_says_the_rest_in_a_line_each(fleet: Scene) -> None:
    ready()
    for i in range(8):
        system = scene.system(fleet.site, f"X{i}")
        scene.stand(system, "overcharge", 0.9, 90.0 - i)
        lasting(system, MORNING - DAY, MORNING)
    look(MORNING)
    mails.queue_digests(MORNING)
    first, _, others = sent()["mara"].partition("ALSO CHANGED")
    assert [f"X{i}:" in first for i in range(8)] == [True] * 5 + [False] * 3
    assert [f"X{i}:" in others for i in range(8)] == [False] * 5 + [True] * 3
    assert mail.outbox[0].subject == "8 new suspicions"


def test_what_came_and_went_since_the_last_digest_is_said_once(fleet: Scene) -> None:
    ready()
    event = lasting(fleet.system, MORNING - DAY, MORNING)
    look(MORNING - timedelta(hours=2))
    Event.objects.filter(pk=event.pk).update(closed_at=MORNING)
    look(MORNING)
    mails.queue_digests(MORNING)
    body = sent()["mara"]
    assert "LOOK AT THESE FIRST" not in body
    assert body.count("suspicion of too much refrigerant") == 1
    assert "gone: suspicion of too much refrigerant" in body
