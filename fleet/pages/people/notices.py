"""What is told outside of the pages: webhooks of an organisation, and ending one's mails."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.db.models import Max
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST

from fleet import access
from fleet.models import News, Outgoing, Role, Webhook
from fleet.notices import call, hooks, mails
from fleet.pages import record
from fleet.pages.forms import faults
from fleet.said import say

MOST = 10
"""Webhooks an organisation may have."""

CALLS_SHOWN = 20


class WebhookForm(forms.Form):
    """Where to call, and whether for everything."""

    address = forms.URLField(max_length=500, assume_scheme="https", label=gettext_lazy("Address"))
    urgent_only = forms.BooleanField(
        required=False, label=gettext_lazy("Only when a compressor is in danger")
    )

    def clean_address(self) -> str:
        """Refuse what is never called."""
        address: str = self.cleaned_data["address"]
        try:
            parts = call.check(address)
            call.resolve(str(parts.hostname), parts.port or 443)
        except call.CallError as refusal:
            raise forms.ValidationError(say(str(refusal))) from refusal
        return address


@never_cache
@require_http_methods(["GET", "POST"])
def webhooks(request: HttpRequest) -> HttpResponse:
    """The organisation's webhooks with their last calls, and a form for another one."""
    organisation = access.managed_organisation_or_404(request.user)
    form = WebhookForm(request.POST or None)
    stored, made = Webhook.objects.filter(organisation=organisation), None
    if request.method == "POST":
        if form.is_valid() and stored.count() < MOST:
            made = _made(request, organisation, form)
            form = WebhookForm()
        else:
            messages.error(request, faults(form) or _("Ten webhooks are enough. Remove one first."))
    context = {
        "webhooks": stored,
        "made": made,
        "form": form,
        "calls": Outgoing.objects.filter(webhook__in=stored)[:CALLS_SHOWN],
        "role": Role.MANAGER,
    }
    return render(request, "notices/webhooks.html", context)


def _made(request: HttpRequest, organisation: int, form: WebhookForm) -> Webhook:
    made = Webhook.objects.create(
        organisation_id=organisation,
        made_by_id=request.user.pk,
        # Told from now on, not what was new long ago.
        told_up_to=News.objects.aggregate(latest=Max("pk"))["latest"] or 0,
        **form.cleaned_data,
    )
    record.note(request, "made a webhook to", made)
    return made


@require_POST
def change(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a trial call, switch it off or on, or remove it."""
    organisation = access.managed_organisation_or_404(request.user)
    webhook = get_object_or_404(Webhook, pk=pk, organisation=organisation)
    asked = request.POST.get("do", "")
    if asked == "try":
        hooks.trial(webhook)
        messages.success(request, _("A trial call is on its way."))
    elif asked == "switch":
        webhook.active = not webhook.active
        webhook.save(update_fields=("active",))
        record.note(
            request, f"switched {'on' if webhook.active else 'off'} the webhook to", webhook
        )
    elif asked == "remove":
        record.note(request, "removed the webhook to", webhook)
        webhook.delete()
    return redirect("webhooks")


@csrf_exempt  # one-click unsubscription (RFC 8058) comes from the mail program: the token is proof
@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """End mails of one kind for the person the link was sent to, without signing in."""
    found = mails.stopped_by(token)
    if found is None:
        raise Http404
    user, what = found
    if request.method == "POST":
        mails.stop(user, what)
        record.note(request, f"ended mails: {what}", who=user)
    answer = render(request, "notices/stop.html", {"what": what, "done": request.method == "POST"})
    answer["Referrer-Policy"] = "no-referrer"
    return answer
