"""The second factor: one-time codes of an authenticator (RFC 6238), and codes to fall back on."""

from __future__ import annotations

from typing import Any

import segno
from django.contrib import messages
from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods
from django_otp.plugins.otp_static.models import StaticDevice, StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from fleet import access
from fleet.pages import record
from fleet.pages.people import patience

SPARE_CODES = 10
DIGITS = 6


def is_on(user: User) -> bool:
    """Whether this person's sign-in asks for a code."""
    return bool(TOTPDevice.objects.filter(user=user, confirmed=True).exists())


@transaction.atomic
def matches(user: User, code: str) -> bool:
    """Whether the code is right now; each is good once. The devices slow guessing down."""
    text = "".join(code.split()).lower()
    # Asked apart: a code of one kind must not count as a failure of the other.
    kind = TOTPDevice if text.isdecimal() and len(text) == DIGITS else StaticDevice
    devices = kind.objects.select_for_update().filter(user=user, confirmed=True)
    return any(device.verify_token(text) for device in devices)


@transaction.atomic
def remove(user: User) -> None:
    """Sign in with the password alone from now on."""
    TOTPDevice.objects.filter(user=user).delete()
    StaticDevice.objects.filter(user=user).delete()


def _begin(user: User) -> None:
    """A new key, which counts only once a code of it was given."""
    TOTPDevice.objects.filter(user=user, confirmed=False).delete()
    TOTPDevice.objects.create(user=user, name="authenticator", confirmed=False)


@transaction.atomic
def _confirm(user: User, code: str) -> bool:
    device = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=False).first()
    if device is None or not device.verify_token("".join(code.split())):
        return False
    TOTPDevice.objects.filter(user=user).exclude(pk=device.pk).delete()
    device.confirmed = True
    device.save(update_fields=("confirmed",))
    return True


@transaction.atomic
def _spare_codes(user: User) -> list[str]:
    """New codes to fall back on, each good once; earlier ones are good no more."""
    StaticDevice.objects.filter(user=user).delete()
    device = StaticDevice.objects.create(user=user, name="spare codes")
    codes = [StaticToken.random_token() for _ in range(SPARE_CODES)]
    for code in codes:
        device.token_set.create(token=code)
    return codes


@never_cache
@require_http_methods(["GET", "POST"])
def second_factor(request: HttpRequest) -> HttpResponse:
    """Turn it on with an authenticator, make spare codes, turn it off with the password."""
    user = request.user
    assert isinstance(user, User)
    asked = request.POST.get("do", "") if request.method == "POST" else ""
    if asked == "begin" and not is_on(user):
        _begin(user)
    elif asked == "confirm":
        if _confirm(user, request.POST.get("code", "")):
            record.note(request, "turned the second factor on")
            return _page(request, user, codes=_spare_codes(user))
        messages.error(request, _("That code is not right. Does the clock of the device run true?"))
    elif asked in ("codes", "remove") and patience.is_their_password(
        request, user, request.POST.get("password", "")
    ):
        return _changed(request, user, asked)
    return redirect("second-factor") if asked else _page(request, user)


def _changed(request: HttpRequest, user: User, asked: str) -> HttpResponse:
    if asked == "codes" and is_on(user):
        record.note(request, "made new spare codes")
        return _page(request, user, codes=_spare_codes(user))
    remove(user)
    record.note(request, "turned the second factor off")
    messages.success(request, _("Sign-in asks for the password alone now."))
    return redirect("second-factor")


def _page(request: HttpRequest, user: User, codes: list[str] | None = None) -> HttpResponse:
    waiting = TOTPDevice.objects.filter(user=user, confirmed=False).first()
    context: dict[str, Any] = {
        "on": is_on(user),
        "codes": codes,
        "role": access.role_of(user),
    }
    if waiting is not None and not codes:
        picture = segno.make(waiting.config_url, error="m")
        context |= {
            "picture": picture.svg_data_uri(scale=5, border=4, dark="#000", light="#fff"),
            "key": _grouped(waiting.config_url),
        }
    return render(request, "settings/second_factor.html", context)


def _grouped(config_url: str) -> str:
    """The key for people who type it: four letters at a time."""
    key = config_url.partition("secret=")[2].partition("&")[0]
    return " ".join(key[i : i + 4] for i in range(0, len(key), 4))
