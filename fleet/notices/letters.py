"""Letters with a link that opens something: sent once, then emptied from the queue."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import User
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from fleet import language
from fleet.models import Invitation
from fleet.notices import outbox


def invite(invitation: Invitation, inviter: str, link: str) -> None:
    """Queue the letter of an invitation."""
    context = {"invitation": invitation, "inviter": inviter, "link": link}
    outbox.put(
        f"invitation:{invitation.pk}",
        to=invitation.email,
        secret=True,
        subject=_("Invitation to %(organisation)s") % {"organisation": invitation.organisation},
        text=render_to_string("notices/invitation.txt", context),
    )


def reset(user: User, link: str) -> None:
    """Queue the letter by which somebody sets a new password."""
    hours = settings.PASSWORD_RESET_TIMEOUT // 3600
    context = {"name": user.get_username(), "link": link, "hours": hours}
    with translation.override(language.of(user, translation.get_language() or "")):
        subject, text = _("A new password"), render_to_string("notices/reset.txt", context)
    key = f"reset:{user.pk}:{timezone.now().timestamp():.0f}"
    outbox.put(key, person=user, secret=True, subject=subject, text=text)


def moved(user: User, before: str) -> None:
    """Tell the former address that letters go to another one now."""
    if not before:
        return
    outbox.put(
        f"moved:{user.pk}:{timezone.now().timestamp():.0f}",
        to=before,
        subject=_("Your mail address was changed"),
        text=render_to_string("notices/moved.txt", {"name": user.get_username()}),
    )
