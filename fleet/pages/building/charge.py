"""The charge worksheet of a system: what can be said of its refrigerant without weighing it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from diagnostics import charge_sheet, verdict
from diagnostics.charge_sheet import Entered, Line, LiquidState, Seen, Sheet
from diagnostics.verdict import RANKED_DAYS
from fleet import access
from fleet.analysis import day_rows, learning
from fleet.language import decimal
from fleet.models import Standing, System
from fleet.pages import units
from fleet.pages.cautions import REFRIGERANT_CLASS, cautions
from fleet.pages.forms import DECIMAL
from fleet.pages.units import Preference, number
from fleet.pages.words import NARROW
from fleet.said import say

_FINE, _COARSE = 10.0, 100.0


class ChargeForm(forms.Form):
    """What a person adds to the manifest on the charge worksheet."""

    weighed = forms.FloatField(
        required=False, min_value=0.001, label=gettext_lazy("Recovered and weighed")
    )
    factory = forms.FloatField(
        required=False,
        min_value=0.001,
        label=gettext_lazy("Factory charge before any line allowance"),
    )
    limit = forms.FloatField(
        required=False, min_value=0.0001, label=gettext_lazy("Limit for an occupied room, kg/m³")
    )
    edition = forms.CharField(
        required=False,
        max_length=120,
        label=gettext_lazy("Standard and edition the limit was read from"),
    )

    def __init__(self, *args: Any, mass: str = "kg", **kwargs: Any) -> None:
        """Any number of decimals; masses are entered in the unit ``mass``."""
        super().__init__(*args, **kwargs)
        for name in ("weighed", "factory"):
            self.fields[name].label = f"{self.fields[name].label}, {mass}"
        for name in ("weighed", "factory", "limit"):
            self.fields[name].widget.attrs |= DECIMAL

    def clean(self) -> dict[str, Any]:
        """Refuse a limit without its edition: values differ between them."""
        entered: dict[str, Any] = super().clean() or {}
        if entered.get("limit") is not None and not (entered.get("edition") or "").strip():
            self.add_error(
                "edition",
                _("Enter the standard and edition: published limits differ between them."),
            )
        return entered


@dataclass(frozen=True)
class Printed:
    """One line of the sheet as printed."""

    title: str
    value: str
    source: str
    note: str


def _printed(line: Line, prefer: Preference) -> Printed:
    unit = prefer.mass_label if line.unit == "kg" else line.unit.replace("m3", "m³")
    if line.value is not None:
        shown = prefer.mass_of(line.value) if line.unit == "kg" else line.value
        value = f"{_digits(shown)}{NARROW}{unit}"
    elif line.low is not None and line.high is not None:
        ends = {"low": _signed(line.low), "high": _signed(line.high)}
        value = _("%(low)s to %(high)s") % ends + f"{NARROW}{unit}"
    else:
        value = "–"
    note = units.text(line.note, prefer).replace(" m3", f"{NARROW}m³")
    return Printed(decimal(say(line.title)), value, decimal(say(line.source)), note)


def _digits(value: float) -> str:
    return number(value, 0 if value >= _COARSE else 1 if value >= _FINE else 2)


def _signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{number(value, 0)}"


def _seen(system: System) -> Seen:
    """What the last ranked days showed, beside the system's own past."""
    days = day_rows.load([system.pk])[system.pk]
    weights = learning.weights_of([system.pk])[system.pk]
    baseline = verdict.baseline(days, system.plant(), weights)
    standing = Standing.objects.filter(system=system).defer("verdict").first()
    rows = days.rows(slice(-RANKED_DAYS, None))
    return Seen(rows, baseline, standing.leading if standing else verdict.NOT_ENOUGH_DATA)


def _sheet(system: System, form: ChargeForm, prefer: Preference) -> Sheet:
    good = form.cleaned_data if form.is_bound and form.is_valid() else {}
    entered = Entered(
        factory_charge_kg=prefer.mass_in_kg(good.get("factory")),
        weighed_kg=prefer.mass_in_kg(good.get("weighed")),
        limit_kg_m3=good.get("limit"),
        limit_edition=good.get("edition") or "",
    )
    return charge_sheet.sheet(system.plant(), LiquidState(), entered, _seen(system))


@require_GET
def charge(request: HttpRequest, code: str, system: str) -> HttpResponse:
    """The worksheet of a system the person may see, or 404. Nothing entered is kept."""
    found = access.system_or_404(request.user, code, system)
    prefer = units.preference(request)
    form = ChargeForm(request.GET or None, mass=prefer.mass_label)
    sheet = _sheet(found, form, prefer)
    context = {
        "system": found,
        "site": found.site,
        "form": form,
        "lines": [_printed(line, prefer) for line in sheet.lines],
        "steps": [say(step) for step in sheet.steps],
        "caution": say(sheet.caution),
        "cautions": cautions(found.refrigerant),
        "group": REFRIGERANT_CLASS.get(found.refrigerant, ""),
        "now": timezone.now(),
        "role": access.role_of(request.user),
        "units": prefer,
    }
    return render(request, "charge/page.html", context)
