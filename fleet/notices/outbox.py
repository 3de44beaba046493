"""The queue of messages: put in once, sent by whoever claims the row, tried again with patience."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime, timedelta
from email.utils import parseaddr
from smtplib import SMTPException
from time import monotonic

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from fleet.models import Outgoing
from fleet.notices import call

logger = logging.getLogger(__name__)

WAITS = tuple(
    timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 3 * 60, 6 * 60, 12 * 60, 24 * 60)
)
"""Between tries; after the last of them a message is given up, some two days after the first."""

AT_ONE_GO = 200
KEPT = timedelta(days=90)
UNSENDABLE = (SMTPException, OSError, call.CallError, ValueError)


def put(key: str, **fields: object) -> bool:
    """Queue a message once; whether it was new."""
    _, made = Outgoing.objects.get_or_create(key=key, defaults=fields)
    return made


def forget_old(now: datetime) -> None:
    """Remove messages that left, or were given up, long ago."""
    Outgoing.objects.filter(Q(sent_at__lt=now - KEPT) | Q(given_up_at__lt=now - KEPT)).delete()


def waiting(now: datetime) -> QuerySet[Outgoing]:
    """Messages whose time has come."""
    return Outgoing.objects.filter(sent_at=None, given_up_at=None, retry_at__lte=now)


def send_waiting(seconds: float = 20.0) -> int:
    """Send what waits for at most about so long, one row a transaction; how many were sent.

    Other processes may do so at the same time.
    """
    until, sent = monotonic() + seconds, 0
    due = waiting(timezone.now()).order_by("retry_at").values_list("pk", flat=True)
    for pk in list(due[:AT_ONE_GO]):
        if monotonic() > until:
            break
        sent += _send(pk, timezone.now())
    return sent


@transaction.atomic
def _send(pk: int, now: datetime) -> bool:
    """Send one message that nobody else holds. The row stays locked until its end is written."""
    claimed = waiting(now).select_for_update(skip_locked=True, of=("self",)).filter(pk=pk)
    message = claimed.select_related("webhook", "person").first()
    if message is None:
        return False
    message.attempts += 1
    way: Callable[[Outgoing], None] = _mail if message.webhook is None else call.deliver
    try:
        way(message)
    except UNSENDABLE as failure:
        _hold_back(message, f"{failure}" or type(failure).__name__, now)
        return False
    message.sent_at, message.failure = now, ""
    if message.secret:
        message.text = ""
    message.save()
    return True


def _hold_back(message: Outgoing, failure: str, now: datetime) -> None:
    message.failure = failure[:300]
    if message.attempts > len(WAITS):
        message.given_up_at = now
        message.text = "" if message.secret else message.text
    else:
        message.retry_at = now + WAITS[message.attempts - 1]
    message.save()
    logger.warning("Message %s could not be sent: %s", message.key, message.failure)


def _mail(message: Outgoing) -> None:
    """Hand a mail to the mail server. Raises ValueError: nobody to send it to any more."""
    person = message.person
    to = message.to or (person.email if person is not None and person.is_active else "")
    if not to:
        raise ValueError("the person has no mail address, or no account any more")
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2]
    headers = {
        # The same each time: a mail that was sent though the row was not written is known again.
        "Message-ID": f"<millrace-{message.key.replace(':', '-')}@{domain}>",
        "Auto-Submitted": "auto-generated",
        **(message.headers or {}),
    }
    EmailMessage(message.subject, message.text, to=[to], headers=headers).send()
