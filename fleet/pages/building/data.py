"""A system's data to take away: per-sample results, stored samples, or window rows, as a file."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

import polars as pl
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from fleet import access
from fleet.analysis import export, table, window_rows
from fleet.analysis.samples import per_sample
from fleet.instants import DAY, midnight
from fleet.models import System
from fleet.pages import record
from fleet.pages.forms import day_input, faults


class DataForm(forms.Form):
    """Which table of a system, over which days at the site, in which form."""

    MOST_DAYS = 31
    WHAT = (
        ("results", gettext_lazy("results sample by sample")),
        ("samples", gettext_lazy("samples as stored")),
        ("windows", gettext_lazy("rows of 15 minutes")),
    )

    first = forms.DateField(label=gettext_lazy("First day"), widget=day_input(required=True))
    last = forms.DateField(label=gettext_lazy("Last day"), widget=day_input(required=True))
    what = forms.ChoiceField(label=gettext_lazy("What"), choices=WHAT)
    kind = forms.ChoiceField(
        label=gettext_lazy("As"), choices=(("csv", "CSV"), ("parquet", "Parquet"))
    )

    def clean(self) -> dict[str, Any]:
        """Refuse days in the wrong order, and more than a page can wait for."""
        entered: dict[str, Any] = super().clean() or {}
        first, last = entered.get("first"), entered.get("last")
        if first and last and not 0 <= (last - first).days < self.MOST_DAYS:
            said = _(
                "Choose 1 to %(days)s days, the first before the last; "
                "the command analysis gives more at once."
            )
            raise forms.ValidationError(said % {"days": self.MOST_DAYS})
        return entered


def _results(system: System, start: datetime, end: datetime) -> pl.DataFrame:
    return table.of(per_sample(system, start, end))


def _windows(system: System, start: datetime, end: datetime) -> pl.DataFrame:
    return export.windows(window_rows.load(system.pk, before=end, since=start))


TABLES: Mapping[str, Callable[[System, datetime, datetime], pl.DataFrame]] = {
    "results": _results,
    "samples": export.samples,
    "windows": _windows,
}


@require_GET
def data(request: HttpRequest, code: str, system: str) -> HttpResponse:
    """The table asked for as a CSV or Parquet file, of a system the person may see, or 404."""
    found = access.system_or_404(request.user, code, system)
    form = DataForm(request.GET)
    if not form.is_valid():
        messages.error(request, faults(form))
        return redirect("building", code)
    what, kind = form.cleaned_data["what"], form.cleaned_data["kind"]
    first, last = form.cleaned_data["first"], form.cleaned_data["last"]
    zone = found.site.zone
    start, end = midnight(first, zone), midnight(last + DAY, zone)
    rows = export.harmless(TABLES[what](found, start, end))
    record.note(request, f"exported {what} of", found)
    name = f"{code}-{found.code}-{what}-{first}-{last}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    if kind == "csv":
        return HttpResponse(table.to_csv(rows), content_type="text/csv", headers=headers)
    body = io.BytesIO()
    rows.write_parquet(body)
    parquet = "application/vnd.apache.parquet"
    return HttpResponse(body.getvalue(), content_type=parquet, headers=headers)
