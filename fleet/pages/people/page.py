"""People of an organisation, for its managers: invite, change, shut out."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.models import User
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_otp.plugins.otp_totp.models import TOTPDevice

from fleet import access
from fleet.models import Client, Invitation, Role
from fleet.notices import letters
from fleet.pages import record
from fleet.pages.forms import faults
from fleet.pages.people import second_factor


class MembershipForm(forms.Form):
    """A role, and for account reps the clients."""

    role = forms.ChoiceField(choices=Role.choices, label=gettext_lazy("Role"))
    clients = forms.ModelMultipleChoiceField(
        Client.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label=gettext_lazy("Clients, for an account rep"),
    )

    def __init__(self, *args: Any, clients: QuerySet[Client], **kwargs: Any) -> None:
        """``clients`` are those to choose from."""
        super().__init__(*args, **kwargs)
        field = self.fields["clients"]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = clients


class InvitationForm(MembershipForm):
    """Whom to invite, as what."""

    email = forms.EmailField(label=gettext_lazy("E-mail address"))
    field_order = ("email", "role", "clients")


def _page(request: HttpRequest, **more: Any) -> HttpResponse:
    organisation = access.managed_organisation_or_404(request.user)
    clients = access.visible_clients(request.user)
    people = access.people(request.user).prefetch_related("membership__clients")
    coded = TOTPDevice.objects.filter(user__in=people, confirmed=True).values_list(
        "user", flat=True
    )
    invitations = Invitation.objects.filter(organisation=organisation, accepted_at=None)
    context = {
        "people": people,
        "coded": set(coded),
        "invitations": [it for it in invitations.select_related("made_by") if it.waiting],
        "form": InvitationForm(clients=clients, initial={"role": Role.TECHNICIAN}),
        "role": access.role_of(request.user),
        **more,
    }
    return render(request, "people/page.html", context)


@require_GET
def people(request: HttpRequest) -> HttpResponse:
    """Everybody, who is invited, and a form to invite."""
    return _page(request)


@never_cache
@require_POST
def invite(request: HttpRequest) -> HttpResponse:
    """Send a link by which somebody makes an account; it is shown, too, this once."""
    organisation = access.managed_organisation_or_404(request.user)
    form = InvitationForm(request.POST, clients=access.visible_clients(request.user))
    if not form.is_valid():
        messages.error(request, faults(form))
        return redirect("people")
    good = form.cleaned_data
    if access.people(request.user).filter(email__iexact=good["email"]).exists():
        messages.error(request, _("Somebody with this address is in your organisation already."))
        return redirect("people")
    made, text = Invitation.objects.make(organisation, good["email"], Role(good["role"]))
    made.clients.set(good["clients"])
    Invitation.objects.filter(pk=made.pk).update(made_by=request.user.pk)
    link = request.build_absolute_uri(reverse("invitation", args=[text]))
    letters.invite(made, str(request.user), link)
    record.note(request, "invited", made)
    return _page(request, invited=made, link=link)


@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Let an invitation open no more."""
    organisation = access.managed_organisation_or_404(request.user)
    waiting = Invitation.objects.filter(organisation=organisation, accepted_at=None)
    invitation = get_object_or_404(waiting, pk=pk)
    waiting.filter(pk=pk, revoked_at=None).update(revoked_at=timezone.now())
    record.note(request, "took back an invitation", invitation)
    messages.success(request, _("The invitation opens no more."))
    return redirect("people")


@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """One person: role, clients, second factor, and whether the account is open."""
    found = access.person_or_404(request.user, pk)
    membership, own = found.membership, found.pk == request.user.pk
    initial = {"role": membership.role, "clients": membership.clients.all()}
    clients = access.visible_clients(request.user)
    form = MembershipForm(request.POST or None, clients=clients, initial=initial)
    if request.method == "POST" and own:
        messages.error(request, _("Another manager changes your place: so one is always left."))
        return redirect("person", pk)
    if request.method == "POST":
        _change(request, found, form)
        return redirect("person", pk)
    context = {
        "person": found,
        "own": own,
        "form": form,
        "second_factor": second_factor.is_on(found),
        "role": access.role_of(request.user),
    }
    return render(request, "people/person.html", context)


def _change(request: HttpRequest, found: User, form: MembershipForm) -> None:
    asked = request.POST.get("do", "")
    if asked == "place":
        if not form.is_valid():
            messages.error(request, faults(form))
            return
        membership = found.membership
        membership.role = form.cleaned_data["role"]
        membership.save(update_fields=("role",))
        membership.clients.set(form.cleaned_data["clients"])
        clients = ", ".join(it.code for it in form.cleaned_data["clients"])
        _done(request, found, "changed the place of", f": {membership.role} {clients}".rstrip())
    elif asked in ("close", "open"):
        User.objects.filter(pk=found.pk).update(is_active=asked == "open")
        _done(request, found, f"{'opened' if asked == 'open' else 'closed'} the account of")
    elif asked == "second-factor":
        second_factor.remove(found)
        _done(request, found, "took the second factor off")


def _done(request: HttpRequest, found: User, what: str, more: str = "") -> None:
    record.note(request, what, f"{found.get_username()}{more}")
    messages.success(request, _("It is changed, and written down."))
