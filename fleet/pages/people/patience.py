"""Wrong passwords of somebody who is signed in count like those of somebody who is not."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.models import SignInFailure
from fleet.pages.record import address_of


def is_their_password(request: HttpRequest, user: User, password: str) -> bool:
    """Whether it is; says why not. After too many wrong ones even the right one has to wait.

    A session that was left open must not be a way to try passwords out.
    """
    name, address, now = user.get_username(), address_of(request), timezone.now()
    if SignInFailure.objects.wait(name, address, now):
        messages.error(request, _("Too many wrong passwords. Try again in some minutes."))
        return False
    if user.check_password(password):
        SignInFailure.objects.forget(name, address)
        return True
    SignInFailure.objects.note(name, address, now)
    messages.error(request, _("That is not your password."))
    return False
