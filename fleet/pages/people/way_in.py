"""Ways to an account without a password: an invitation, and a link for one that is forgotten."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import BaseUserCreationForm, PasswordResetForm
from django.contrib.auth.models import User
from django.contrib.auth.tokens import default_token_generator as tokens
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from fleet.models import Invitation, Membership, SignInFailure
from fleet.notices import letters
from fleet.pages import record

PRIVATE = {"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow, noarchive"}


class AccountForm(BaseUserCreationForm):  # type: ignore[type-arg]
    """Who somebody is, and a password by the rules of the settings."""

    class Meta:
        """The address is the invitation's."""

        model = User
        fields = ("username", "first_name", "last_name")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """No choice of having no password."""
        super().__init__(*args, **kwargs)
        self.fields.pop("usable_password", None)
        self.fields["username"].widget.attrs.pop("autofocus", None)


@login_not_required
@never_cache
@sensitive_post_parameters("password1", "password2")
@require_http_methods(["GET", "POST"])
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Make the account an invitation is for, once; 404 when it is used, revoked or over."""
    found = Invitation.objects.opened_by(token, timezone.now())
    if found is None:
        raise Http404
    form = AccountForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and (user := _accepted(found, form)):
        record.note(request, "accepted an invitation", found, who=user)
        messages.success(request, _("Your account is made. Sign in with it."))
        return redirect("sign-in")
    answer = render(request, "people/invitation.html", {"invitation": found, "form": form})
    for name, value in PRIVATE.items():
        answer[name] = value
    return answer


@transaction.atomic
def _accepted(found: Invitation, form: AccountForm) -> User | None:
    """The account; None if another request has used the invitation meanwhile."""
    unused = Invitation.objects.filter(pk=found.pk, accepted_at=None, revoked_at=None)
    if not unused.update(accepted_at=timezone.now()):
        return None
    user: User = form.save(commit=False)
    user.email = found.email
    user.save()
    place = Membership.objects.create(user=user, organisation=found.organisation, role=found.role)
    place.clients.set(found.clients.all())
    return user


class ForgottenForm(PasswordResetForm):
    """Queues the mails: the answer takes as long whether or not the address is known."""

    def save(self, *_: Any, request: HttpRequest, **__: Any) -> None:  # type: ignore[override]
        """A letter to each account of the address that has a password."""
        for user in self.get_users(self.cleaned_data["email"]):
            place = [urlsafe_base64_encode(force_bytes(user.pk)), tokens.make_token(user)]
            link = request.build_absolute_uri(reverse("password-new", args=place))
            letters.reset(user, link)
            record.note(request, "asked for a new password", who=user)


class Forgotten(auth.PasswordResetView):
    """Asks for the address and answers the same whether or not there is such an account."""

    form_class = ForgottenForm
    template_name = "people/forgotten.html"
    success_url = reverse_lazy("password-sent")

    def form_valid(self, form: Any) -> HttpResponse:
        """Queue the letter, unless there were too many of late; the answer is the same."""
        name, address = f"forgotten {form.cleaned_data['email']}", record.address_of(self.request)
        now = timezone.now()
        if SignInFailure.objects.wait(name, address, now):
            return redirect(self.success_url)
        SignInFailure.objects.note(name, address, now)
        return super().form_valid(form)


@method_decorator(never_cache, name="dispatch")
class NewPassword(auth.PasswordResetConfirmView):
    """A new password by the link of the letter; the second factor is asked for all the same."""

    template_name = "people/new_password.html"
    success_url = reverse_lazy("sign-in")
    post_reset_login = False

    def form_valid(self, form: Any) -> HttpResponse:
        """Keep it, and write down that it changed."""
        answer = super().form_valid(form)
        record.note(self.request, "set a new password by letter", who=form.user)
        messages.success(self.request, _("Your password is changed. Sign in with it."))
        return answer
