"""A person's own settings: address, units, what they are told, language, password."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings as installation
from django.contrib import messages
from django.contrib.auth.models import User
from django.contrib.auth.views import PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from fleet import access, language
from fleet.models import Digest, PersonSettings, Role
from fleet.notices import letters
from fleet.pages import record, units
from fleet.pages.forms import faults
from fleet.pages.people import patience, second_factor

LANGUAGES = {
    "": gettext_lazy("the browser's, where there is a translation"),
    **dict(installation.LANGUAGES),
}


class SettingsForm(forms.Form):
    """What a person may choose."""

    email = forms.EmailField(required=False, label=gettext_lazy("E-mail address"))
    password = forms.CharField(
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        label=gettext_lazy("Your password, to change the address"),
    )
    temperature = forms.ChoiceField(label=gettext_lazy("Temperatures"))
    pressure = forms.ChoiceField(label=gettext_lazy("Pressures"))
    mass = forms.ChoiceField(label=gettext_lazy("Masses"))
    digest = forms.ChoiceField(
        choices=Digest.choices, label=gettext_lazy("A mail with what changed")
    )
    urgent = forms.BooleanField(
        required=False, label=gettext_lazy("A mail at once when a compressor is in danger")
    )
    language = forms.ChoiceField(
        required=False, choices=list(LANGUAGES.items()), label=gettext_lazy("Language")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Units as the pages know them."""
        super().__init__(*args, **kwargs)
        for name, known in units.CHOICES.items():
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = [(code, _(said)) for code, said in known.items()]
        self.fields["email"].widget.attrs["autocomplete"] = "email"


@require_http_methods(["GET", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    """Look at one's own settings and change them."""
    user = request.user
    assert isinstance(user, User)
    stored, prefer = PersonSettings.objects.of(user.pk), units.preference(request)
    initial = {
        "email": user.email,
        **{name: getattr(prefer, name) for name in units.CHOICES},
        **{name: getattr(stored, name) for name in ("digest", "urgent", "language")},
    }
    form = SettingsForm(request.POST or None, initial=initial)
    if request.method == "POST":
        if not form.is_valid():
            messages.error(request, faults(form))
        elif _keep(request, user, form.cleaned_data):
            messages.success(request, _("Your settings are kept."))
            return redirect("settings")
    context = {
        "form": form,
        "second_factor": second_factor.is_on(user),
        "role": access.role_of(user),
        "told_at_once": access.role_of(user) in (Role.MANAGER, Role.TECHNICIAN),
    }
    return render(request, "settings/page.html", context)


def _keep(request: HttpRequest, user: User, chosen: dict[str, Any]) -> bool:
    """Keep what was chosen. An address takes the password: letters that open accounts go there."""
    before, email = user.email, chosen["email"]
    if email != before:
        if not patience.is_their_password(request, user, chosen["password"]):
            return False
        User.objects.filter(pk=user.pk).update(email=email)
        record.note(request, "changed their mail address")
        letters.moved(user, before)
    units.keep(request, {name: chosen[name] for name in units.CHOICES})
    told = {name: chosen[name] for name in ("digest", "urgent", "language")}
    PersonSettings.objects.filter(user=user).update(**told)
    language.keep(request, chosen["language"])
    return True


class ChangePassword(PasswordChangeView):
    """A new password, against the old one; other sessions of the person end."""

    template_name = "settings/password.html"
    success_url = reverse_lazy("settings")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Change it if the old one is right."""
        assert isinstance(request.user, User)
        old = request.POST.get("old_password", "")
        if not patience.is_their_password(request, request.user, old):
            return redirect("password-change")
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        """Keep it, and write down that it changed."""
        answer = super().form_valid(form)
        record.note(self.request, "changed their password")
        messages.success(self.request, _("Your password is changed."))
        return answer
