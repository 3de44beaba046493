"""A client's report for somebody without an account: make, revoke and open a link."""

from __future__ import annotations

from datetime import timedelta

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from fleet import access
from fleet.models import ShareLink, System
from fleet.pages import record
from fleet.pages.forms import faults
from fleet.pages.report import company
from fleet.pages.report.told import told
from fleet.pages.units import Preference

PRIVATE = {
    "Cache-Control": "private, no-store",
    "Referrer-Policy": "no-referrer",  # the address is the key
    "X-Robots-Tag": "noindex, nofollow, noarchive",
}


class ShareForm(forms.Form):
    """For whom a link is, and for how long."""

    DAYS = (
        (7, gettext_lazy("a week")),
        (30, gettext_lazy("30 days")),
        (90, gettext_lazy("90 days")),
    )

    reader = forms.CharField(max_length=120, label=gettext_lazy("For whom"))
    days = forms.TypedChoiceField(
        choices=DAYS, coerce=int, initial=30, label=gettext_lazy("Opens for")
    )


@require_POST
def make(request: HttpRequest, code: str) -> HttpResponse:
    """A new link to the report of a client the person looks after."""
    client = access.client_or_404(request.user, code)
    form = ShareForm(request.POST)
    if not form.is_valid():
        messages.error(request, faults(form))
        return redirect("client", code)
    good = form.cleaned_data
    ShareLink.objects.create(
        client=client,
        reader=good["reader"],
        made_by_id=request.user.pk,
        expires_at=timezone.now() + timedelta(days=good["days"]),
    )
    record.note(request, "shared the report of", f"{client.name} with {good['reader']}")
    messages.success(request, _("The link is made. Whoever has it sees this client's report."))
    return redirect("client", code)


@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a link open no more."""
    link = access.share_link_or_404(request.user, pk)
    link.revoke(timezone.now())
    record.note(request, "took back the shared report of", link)
    messages.success(request, _("The link for %(reader)s opens no more.") % {"reader": link.reader})
    return redirect("client", link.client.code)


@login_not_required
@require_GET
def shared(request: HttpRequest, token: str) -> HttpResponse:
    """The report of the link's client alone, without notes and remarks; 404 when it is over."""
    link = opened(request, token)
    prefer = preference(request)
    systems = System.objects.filter(site__client=link.client)
    context = {
        "base": "report/shared_base.html",
        "shared": True,
        **told(request, systems, prefer),
        **company.letterhead(link.client),
        "client": link.client,
        "title": link.client.name,
        "link": link,
        "prefer": prefer,
        "with_units": "&temperature=degF" if prefer.temperature == "degF" else "",
    }
    return private(render(request, "report/page.html", context))


def opened(request: HttpRequest, token: str) -> ShareLink:
    """The link of an address, its opening noted; 404 when it is none or is over."""
    now = timezone.now()
    link = ShareLink.objects.opened_by(token, now)
    if link is None:
        raise Http404
    if link.note_opening(now):
        record.note_opening(request, link)
    return link


def preference(request: HttpRequest) -> Preference:
    """The units that the reader of a link chose."""
    return Preference("degF") if request.GET.get("temperature") == "degF" else Preference()


def private(answer: HttpResponse) -> HttpResponse:
    """The answer, to be kept by nobody and found by nobody."""
    for name, value in PRIVATE.items():
        answer[name] = value
    return answer
