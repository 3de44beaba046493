"""News for programs: one call a webhook and news, queued once."""

from __future__ import annotations

import json

from django.db.models import Max
from django.utils import timezone

from fleet.models import News, NewsKind, Webhook
from fleet.notices import outbox, words


def queue() -> None:
    """Queue what the webhooks have not been told yet, in the caller's transaction."""
    latest = News.objects.aggregate(latest=Max("pk"))["latest"] or 0
    behind = Webhook.objects.filter(told_up_to__lt=latest)
    for webhook in behind.select_for_update():
        news = News.objects.filter(
            pk__gt=webhook.told_up_to,
            pk__lte=latest,
            told=True,
            system__site__client__organisation=webhook.organisation_id,
        ).select_related("system__site__client")
        news = news.filter(kind=NewsKind.URGENT) if webhook.urgent_only else news
        # While it is off, what happens passes it by: switched on it begins anew.
        for it in news if webhook.active else ():
            _put(webhook, it)
        Webhook.objects.filter(pk=webhook.pk).update(told_up_to=latest)


def trial(webhook: Webhook) -> None:
    """Queue a call that says nothing, to try the way."""
    now = timezone.now()
    body = json.dumps({"kind": "trial", "noted_at": now.isoformat()})
    outbox.put(
        f"trial:{webhook.pk}:{now.timestamp():.0f}", webhook=webhook, subject="trial", text=body
    )


def _put(webhook: Webhook, news: News) -> None:
    outbox.put(
        f"hook:{webhook.pk}:{news.pk}",
        webhook=webhook,
        subject=f"{news.system.site.code}/{news.system.code}: {news.kind}",
        text=json.dumps(words.document(news)),
    )
