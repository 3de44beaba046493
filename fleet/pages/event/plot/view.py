"""The plot and the circuit of an event, asked for by the page once it is shown."""

from __future__ import annotations

from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_GET

from fleet import access
from fleet.pages import units
from fleet.pages.event.plot import charts, sketch, spans
from fleet.pages.event.plot.gather import gather
from fleet.pages.event.plot.packing import packed


@require_GET
@packed
def series(request: HttpRequest, pk: int) -> JsonResponse:
    """The plot and the circuit's instants of an event over the span asked for, as JSON."""
    found = access.event_or_404(request.user, pk)
    span = spans.chosen(found, request.GET)
    data = gather(span, units.preference(request))
    answer = {
        "figure": charts.figure(data),
        "instants": charts.instants(data),
        "units": {
            "temperature": data.temperature_unit,
            "difference": data.difference_unit,
            "pressure": data.pressure_unit,
        },
        "words": sketch.words(),
    }
    return JsonResponse(answer, headers={"Cache-Control": "private, max-age=60"})
