"""Files of other loggers: look at one, say what its columns are, use that from then on."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from fleet import access
from fleet.ingest import circumstances, mapping, proposal, sniff
from fleet.ingest.mapping import Layout
from fleet.ingest.report import RefusedError
from fleet.ingest.unpack import check_length
from fleet.language import decimal
from fleet.models import LogMapping, Role, System
from fleet.pages import units
from fleet.pages.forms import faults
from fleet.pages.logs import table
from fleet.said import say

OFFERED = 50
"""Systems offered at once: more are found by typing."""


class LogForm(forms.Form):
    """A file of an unknown make, and the system it came of."""

    system = forms.CharField(
        max_length=80,
        label=gettext_lazy("System it came of (site/system)"),
        widget=forms.TextInput(attrs={"list": "systems", "autocomplete": "off"}),
    )
    file = forms.FileField(label=gettext_lazy("File (.csv or .txt, gzip or not)"))

    def __init__(self, *args: Any, systems: QuerySet[System], **kwargs: Any) -> None:
        """``systems`` are those it may be of."""
        super().__init__(*args, **kwargs)
        self.systems = systems

    def clean_system(self) -> System:
        """The system of that site and code."""
        site, _slash, code = self.cleaned_data["system"].strip().partition("/")
        found = self.systems.filter(site__code=site.strip(), code=code.strip()).first()
        if found is None:
            said = _("There is no such system: write site/system, as in ferry-hall/R1.")
            raise forms.ValidationError(said)
        return found


@require_http_methods(["GET", "POST"])
def logs(request: HttpRequest) -> HttpResponse:
    """The mappings there are, and a form for another file."""
    access.managed_organisation_or_404(request.user)
    systems = access.visible_systems(request.user).select_related("site")
    form = LogForm(request.POST or None, request.FILES or None, systems=systems)
    if request.method == "POST":
        if form.is_valid() and (made := _made(request, form)) is not None:
            return redirect("log", made.pk)
        if form.errors:
            messages.error(request, faults(form))
    stored = access.log_mappings(request.user).defer("sample")
    context = {
        "form": form,
        "mappings": stored,
        "offered": systems[:OFFERED],
        "many": systems.count() > OFFERED,
        "role": Role.MANAGER,
    }
    return render(request, "logs/page.html", context)


@require_GET
def systems_like(request: HttpRequest) -> HttpResponse:
    """Options for what is typed: the site's code or name, or the system's code; for managers."""
    access.managed_organisation_or_404(request.user)
    typed = request.GET.get("system", "").strip()
    site, _, code = typed.partition("/")
    systems = access.visible_systems(request.user).select_related("site")
    named = Q(site__code__icontains=site) | Q(site__name__icontains=site)
    found = systems.filter(named, code__icontains=code).order_by("site__code", "code")
    return render(request, "logs/_systems.html", {"offered": found[:OFFERED]})


def _made(request: HttpRequest, form: LogForm) -> LogMapping | None:
    """A mapping with the proposals for the file sent; None, with a message, if it is no log."""
    file, system = form.cleaned_data["file"], form.cleaned_data["system"]
    try:
        check_length(file.size)
        sample = sniff.beginning(file.read())
        look = sniff.look(sample)
    except RefusedError as refusal:
        messages.error(request, f"{file.name}: {say(str(refusal))}.")
        return None
    told = proposal.propose(look, circumstances.of(system), proposal.rooms_of(system))
    return LogMapping.objects.create(
        site=system.site,
        system=system,
        name=file.name,
        sample=sample,
        layout=proposal.layout_of(look, told).as_json(),
        made_by_id=request.user.pk,
    )


@require_GET
def mapping_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One mapping: columns with pictures, what they are taken for, and what comes of it."""
    stored = access.log_mapping_or_404(request.user, pk)
    system = System.objects.prefetch_related("indoor_units").get(pk=stored.system_id)
    system.site = stored.site
    stored.system = system
    prefer, layout = units.preference(request), Layout.from_json(stored.layout)
    seen, look = table.preview(stored), sniff.look(bytes(stored.sample))
    context = {
        "stored": stored,
        "site": stored.site,
        "layout": layout,
        "seen_as": [decimal(say(reason)) for reason in look.reasons],
        "rows": table.rows(stored, look, seen, prefer),
        "preview": seen,
        "choices": table.choices(stored.system),
        "times": list(enumerate(layout.titles)),
        "forms": [(form, sniff.example(form)) for form in table.FORMS],
        "role": access.role_of(request.user),
        "units": prefer,
    }
    return render(request, "logs/mapping.html", context)


@require_POST
def change(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep what the form says; with ``use``, read the site's files by it from now on."""
    stored = access.log_mapping_or_404(request.user, pk)
    asked = request.POST.get("do", "keep")
    if asked == "remove":
        stored.delete()
        messages.success(request, _("The mapping is removed. What was taken in by it stays."))
        return redirect("logs")
    try:
        layout = table.from_form(Layout.from_json(stored.layout), request.POST)
    except ValueError as fault:
        messages.error(request, str(fault))
        return redirect("log", pk)
    stored.layout = layout.as_json()
    stored.save(update_fields=("layout",))
    refusal = table.preview(stored).refusal
    if refusal:
        messages.error(request, refusal)
    elif asked == "use":
        again = mapping.use(stored)
        messages.success(request, _in_use(stored, again))
    return redirect("log", pk)


def _in_use(stored: LogMapping, again: int) -> str:
    said = _("In use: files with these titles are taken in at %(site)s as they are.")
    said %= {"site": stored.site.name}
    more = _("%(n)s refused before are taken up again.") % {"n": again}
    return f"{said} {more}" if again else said
