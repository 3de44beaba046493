"""Signing in, with a limit on wrong passwords."""

from __future__ import annotations

from ipaddress import ip_address
from math import ceil
from typing import Any

from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from fleet.models import SignInFailure


def address_of(request: HttpRequest) -> str | None:
    """Where the request comes from: behind a proxy, what the proxy itself has added."""
    forwarded = request.headers.get("X-Forwarded-For", "") if settings.HTTPS else ""
    said = forwarded.split(",")[-1].strip() or request.META.get("REMOTE_ADDR", "")
    try:
        return str(ip_address(said))
    except ValueError:
        return None


class SignIn(LoginView):
    """The sign-in page. Whether the name exists makes no difference to what it answers."""

    template_name = "sign_in.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Try, unless there were too many failures."""
        name = request.POST.get("username", "")
        wait = SignInFailure.objects.wait(name, address_of(request), timezone.now())
        if not wait:
            return super().post(request, *args, **kwargs)
        minutes = ceil(wait.total_seconds() / 60)
        context = self.get_context_data(form=AuthenticationForm(request), wait_minutes=minutes)
        answer = self.render_to_response(context, status=429)
        answer["Retry-After"] = str(ceil(wait.total_seconds()))
        return answer

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Remember the failure."""
        name = form.data.get("username", "")
        SignInFailure.objects.note(name, address_of(self.request), timezone.now())
        return super().form_invalid(form)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Forget earlier failures, and let the person in."""
        name = form.data.get("username", "")
        SignInFailure.objects.forget(name, address_of(self.request))
        return super().form_valid(form)
