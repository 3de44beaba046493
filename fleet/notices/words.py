"""News in words, for mails and for programs."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from diagnostics.weighing.ledger import WORDS
from fleet.models import News, NewsKind
from fleet.said import say


def headline(news: News) -> str:
    """What happened, in a line without the place."""
    condition = say(WORDS.get(news.condition, news.condition))
    said = {
        NewsKind.OPENED: _("suspicion of %(condition)s"),
        NewsKind.CHANGED: _("the suspicion is now %(condition)s"),
        NewsKind.CLOSED: _("gone: suspicion of %(condition)s"),
        NewsKind.RETRACTED: _("taken back after later data: suspicion of %(condition)s"),
        NewsKind.URGENT: _("liquid may be coming back to the compressor"),
        NewsKind.CALM: _("no sign of liquid at the compressor any more"),
        NewsKind.SILENT: _("no data since then"),
        NewsKind.BACK: _("data come again"),
    }[NewsKind(news.kind)]
    return said % {"condition": condition} if "%(condition)s" in said else said


def place(news: News) -> str:
    """Where it happened."""
    return f"{news.system.site.name}, {news.system.code}"


def link(news: News) -> str:
    """The page to look at, for somebody who reads it elsewhere."""
    if news.event_id is not None and news.kind != NewsKind.RETRACTED:
        return settings.PUBLIC_ADDRESS + reverse("event", args=[news.event_id])
    return settings.PUBLIC_ADDRESS + reverse("building", args=[news.system.site.code])


def document(news: News) -> dict[str, Any]:
    """The JSON of a webhook's call."""
    return {
        "kind": news.kind,
        "noted_at": news.at.isoformat(),
        "since": news.since.isoformat(),
        "client": news.system.site.client.code,
        "site": news.system.site.code,
        "system": news.system.code,
        "condition": news.condition or None,
        "probability": news.probability,
        "why": news.why,
        "page": link(news),
    }
