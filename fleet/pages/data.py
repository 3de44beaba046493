"""A system's data to take away: per-sample results, stored samples, or window rows, as a file."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import polars as pl
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET

from fleet import access
from fleet.analysis import export, table, window_rows
from fleet.analysis.samples import per_sample
from fleet.models import System
from fleet.pages import record
from fleet.pages.forms import DataForm, faults


@dataclass(frozen=True)
class Span:
    """From ``start`` (included) to ``end`` (not included), whole days at the site."""

    start: datetime
    end: datetime


def _results(system: System, span: Span) -> pl.DataFrame:
    return table.of(per_sample(system, span.start, span.end))


def _samples(system: System, span: Span) -> pl.DataFrame:
    return export.samples(system, span.start, span.end)


def _windows(system: System, span: Span) -> pl.DataFrame:
    return export.windows(window_rows.load(system.pk, before=span.end, since=span.start))


TABLES: Mapping[str, Callable[[System, Span], pl.DataFrame]] = {
    "results": _results,
    "samples": _samples,
    "windows": _windows,
}


def _span(system: System, form: DataForm) -> Span:
    zone = system.site.zone
    first, last = form.cleaned_data["first"], form.cleaned_data["last"]
    start = datetime.combine(first, time(), zone).astimezone(UTC)
    return Span(start, datetime.combine(last + timedelta(days=1), time(), zone).astimezone(UTC))


@require_GET
def data(request: HttpRequest, code: str, system: str) -> HttpResponse:
    """The table asked for as a CSV or Parquet file, of a system the person may see, or 404."""
    found = access.system_or_404(request.user, code, system)
    form = DataForm(request.GET)
    if not form.is_valid():
        messages.error(request, faults(form))
        return redirect("building", code)
    what, kind = form.cleaned_data["what"], form.cleaned_data["kind"]
    rows = export.harmless(TABLES[what](found, _span(found, form)))
    record.note(request, f"exported {what} of", found)
    first, last = form.cleaned_data["first"], form.cleaned_data["last"]
    name = f"{code}-{found.code}-{what}-{first}-{last}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    if kind == "csv":
        return HttpResponse(table.to_csv(rows), content_type="text/csv", headers=headers)
    body = io.BytesIO()
    rows.write_parquet(body)
    parquet = "application/vnd.apache.parquet"
    return HttpResponse(body.getvalue(), content_type=parquet, headers=headers)
