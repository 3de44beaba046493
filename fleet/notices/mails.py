"""Mails to people: at once what endangers a compressor, the rest in a digest, by choice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.core import signing
from django.db import transaction
from django.db.models import Max, QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import access, language
from fleet.models import Digest, News, NewsKind, PersonSettings, Role
from fleet.notices import outbox, words
from fleet.said import say

SALT = "millrace.notices"
DIGEST, URGENT = "digest", "urgent"

DIGEST_FROM_HOUR = 6
"""UTC hour from which a day's digest goes out."""

MOST_CALLS = 5
"""New suspicions a digest puts first, the highest scores; the others follow, in a line each."""


@dataclass(frozen=True)
class Line:
    """One piece of news as a mail says it."""

    place: str
    headline: str
    why: str
    link: str

    @classmethod
    def of(cls, news: News) -> Line:
        """The line of a row whose system, site and client are at hand."""
        return cls(
            words.place(news),
            words.headline(news),
            language.decimal(say(news.why)),
            words.link(news),
        )


def readers() -> QuerySet[User]:
    """Everybody who can be told anything: an open account, a place, a mail address."""
    people = get_user_model().objects.filter(is_active=True).exclude(email="")
    return people.exclude(membership=None).select_related("membership", "settings")


def tell_urgent(news: Iterable[News]) -> None:
    """Queue a mail a person and danger, in the caller's transaction."""
    dangers = [it for it in news if it.kind == NewsKind.URGENT and it.told]
    if not dangers:
        return
    acting = readers().filter(membership__role__in=(Role.MANAGER, Role.TECHNICIAN))
    for person in acting.exclude(settings__urgent=False):
        seen = access.visible_systems(person).filter(pk__in=[it.system_id for it in dangers])
        mine = set(seen.values_list("pk", flat=True))
        for danger in dangers:
            if danger.system_id in mine:
                _put_urgent(person, danger)


def _put_urgent(person: User, news: News) -> None:
    stop_at = stop_link(person, URGENT)
    with translation.override(language.of(person)):
        subject = _("At once: %(place)s, compressor in danger") % {"place": words.place(news)}
        text = render_to_string("notices/urgent.txt", {"line": Line.of(news), "stop": stop_at})
    key, headers = f"urgent:{news.pk}:{person.pk}", _headers(stop_at)
    outbox.put(key, person=person, subject=subject, text=text, headers=headers)


def queue_digests(now: datetime) -> int:
    """Queue the digests that are due; how many. Nothing new makes no mail."""
    now = now.astimezone(UTC)
    if now.hour < DIGEST_FROM_HOUR:
        return 0
    latest = News.objects.aggregate(latest=Max("pk"))["latest"] or 0
    queued = 0
    for person in readers():
        chosen = PersonSettings.objects.of(person.pk)
        day = due_day(Digest(chosen.digest), now.date())
        if chosen.digest_on is None or chosen.digest_on < day:
            queued += _digest(person, chosen, day, latest)
    return queued


def due_day(digest: Digest, today: date) -> date:
    """The last day on which such a digest was due, today or before."""
    return today - timedelta(days=today.weekday()) if digest is Digest.WEEKLY else today


@transaction.atomic
def _digest(person: User, chosen: PersonSettings, day: date, latest: int) -> bool:
    unread = News.objects.filter(pk__gt=chosen.told_up_to, pk__lte=latest, told=True)
    mine = unread.filter(system__in=access.visible_systems(person))
    news = list(mine.select_related("system__site__client", "system__standing", "event"))
    PersonSettings.objects.filter(pk=chosen.pk).update(told_up_to=latest, digest_on=day)
    if chosen.digest == Digest.OFF or not news:
        return False
    stop_at = stop_link(person, DIGEST)
    with translation.override(language.of(person)):
        context = {**contents(news), "stop": stop_at, "day": day}
        subject, text = _subject(context), render_to_string("notices/digest.txt", context)
    key, headers = f"digest:{person.pk}:{day}", _headers(stop_at)
    return outbox.put(key, person=person, subject=subject, text=text, headers=headers)


def contents(news: Sequence[News]) -> dict[str, Any]:
    """A digest's parts: what asks for somebody, first the highest scores; what else changed."""
    lasting = {it.pk for it in news if asks_for_somebody(it)}
    calls = sorted((it for it in news if it.pk in lasting), key=_score, reverse=True)
    # What came up and went within the digest is said once, by its end.
    ended = {it.event_id for it in news if it.kind == NewsKind.CLOSED}
    rest = [it for it in news if it.pk not in lasting]
    rest = [it for it in rest if it.kind == NewsKind.CLOSED or it.event_id not in ended]
    return {
        "calls": [Line.of(it) for it in calls[:MOST_CALLS]],
        "others": [Line.of(it) for it in [*calls[MOST_CALLS:], *rest]],
        "asking": len(calls),
    }


def asks_for_somebody(news: News) -> bool:
    """Whether it is a call to action: a suspicion or a danger that came up and still lasts."""
    if news.kind == NewsKind.URGENT:
        return True
    if news.kind not in (NewsKind.OPENED, NewsKind.CHANGED) or news.event is None:
        return False
    return news.event.closed_at is None and not news.event.withdrawn


def _score(news: News) -> float:
    standing = getattr(news.system, "standing", None)
    return standing.score if standing is not None else 0.0


def _subject(context: dict[str, Any]) -> str:
    asking, others = context["asking"], len(context["others"])
    if not asking:
        return _("What changed: nothing that asks for a visit")
    said = ngettext("%(asking)d new suspicion", "%(asking)d new suspicions", asking)
    return said % {"asking": asking, "others": others}


def stop_link(person: User, what: str) -> str:
    """The address that ends these mails for this person, without signing in."""
    token = signing.dumps([person.pk, what], salt=SALT)
    return settings.PUBLIC_ADDRESS + reverse("notices-stop", args=[token])


def stopped_by(token: str) -> tuple[User, str] | None:
    """Whom and what such an address is about; None: forged, or the account is gone."""
    try:
        pk, what = signing.loads(token, salt=SALT)
    except signing.BadSignature:
        return None
    user = get_user_model().objects.filter(pk=pk).first()
    return (user, what) if user is not None else None


def stop(person: User, what: str) -> None:
    """End the mails."""
    chosen = PersonSettings.objects.of(person.pk)
    ended = {"urgent": False} if what == URGENT else {"digest": Digest.OFF}
    PersonSettings.objects.filter(pk=chosen.pk).update(**ended)


def _headers(stop: str) -> dict[str, str]:
    """One click in the mail program ends them (RFC 2369, RFC 8058)."""
    return {"List-Unsubscribe": f"<{stop}>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click"}
