"""One look: note what is new, and queue what is to be said of it, all or nothing."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from fleet.analysis.locks import Lock, try_take
from fleet.models import News
from fleet.notices import hooks, mails, news


@transaction.atomic
def look(now: datetime) -> list[News]:
    """Note news and queue calls and urgent mails; nothing while another process looks."""
    if not try_take(Lock.NOTICES):
        return []
    found = news.note(now)
    mails.tell_urgent(found)
    hooks.queue()
    return found
