"""Signing in, with a limit on wrong passwords and, for those who turned it on, a second factor."""

from __future__ import annotations

import logging
import time
from datetime import timedelta
from math import ceil
from typing import Any

from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from fleet.models import SignInFailure
from fleet.pages.people import second_factor
from fleet.pages.record import address_of

logger = logging.getLogger(__name__)

HALF_WAY = "half-way in"
"""Key of the session's note that somebody gave the right password and still owes a code."""

HALF_WAY_S = 300.0


class SignIn(LoginView):
    """The sign-in page. Whether the name exists makes no difference to what it answers."""

    template_name = "sign_in.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Try, unless there were too many failures."""
        name = request.POST.get("username", "")
        wait = SignInFailure.objects.wait(name, address_of(request), timezone.now())
        if not wait:
            return super().post(request, *args, **kwargs)
        _log(request, "too many failures before")
        form = AuthenticationForm(request)
        answer = self.render_to_response(self.get_context_data(form=form, **_minutes(wait)))
        return _too_many(answer, wait)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Remember the failure."""
        name = form.data.get("username", "")
        SignInFailure.objects.note(name, address_of(self.request), timezone.now())
        _log(self.request, "wrong name or password")
        return super().form_invalid(form)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Let the person in, or ask for the code first."""
        user = form.get_user()
        assert isinstance(user, User)
        if second_factor.is_on(user):
            # Nobody is signed in yet; a fresh session, so that nobody else holds its key.
            self.request.session.flush()
            self.request.session[HALF_WAY] = {
                "user": user.pk,
                "password": user.get_session_auth_hash(),
                "until": time.time() + HALF_WAY_S,
                "next": self.get_success_url(),
            }
            return redirect("sign-in-code")
        SignInFailure.objects.forget(user.get_username(), address_of(self.request))
        return super().form_valid(form)


def _minutes(wait: timedelta) -> dict[str, int]:
    return {"wait_minutes": ceil(wait.total_seconds() / 60)}


def _too_many(answer: HttpResponse, wait: timedelta) -> HttpResponse:
    answer.status_code = 429
    answer["Retry-After"] = str(ceil(wait.total_seconds()))
    return answer


def _log(request: HttpRequest, why: str) -> None:
    """For whoever watches; without the name, for people type passwords into the wrong field."""
    logger.warning("A sign-in from %s failed: %s", address_of(request), why)


def _half_way(request: HttpRequest) -> User | None:
    """Who gave the right password a moment ago, and has not changed it since."""
    noted = request.session.get(HALF_WAY, {})
    if noted.get("until", 0.0) < time.time():
        return None
    user = User.objects.filter(pk=noted["user"], is_active=True).first()
    same = user is not None and user.get_session_auth_hash() == noted["password"]
    return user if same else None


@login_not_required
@never_cache
@sensitive_post_parameters("code")
@require_http_methods(["GET", "POST"])
def code(request: HttpRequest) -> HttpResponse:
    """The second step: a code of the authenticator, or a spare one. Failures count as above."""
    user, address, now = _half_way(request), address_of(request), timezone.now()
    if user is None:
        return redirect("sign-in")
    name = user.get_username()
    if wait := SignInFailure.objects.wait(name, address, now):
        return _too_many(render(request, "sign_in_code.html", _minutes(wait)), wait)
    if request.method == "GET":
        return render(request, "sign_in_code.html")
    if not second_factor.matches(user, request.POST.get("code", "")):
        SignInFailure.objects.note(name, address, now)
        _log(request, "wrong code")
        return render(request, "sign_in_code.html", {"wrong": True})
    SignInFailure.objects.forget(name, address)
    forward = request.session.pop(HALF_WAY)["next"]
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    return HttpResponseRedirect(forward)  # `redirect` takes a bare word for a page's name
