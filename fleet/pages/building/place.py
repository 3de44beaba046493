"""Where a building is, for planning rounds; no manifest says it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from fleet import access
from fleet.models import Role, Site
from fleet.pages.forms import DECIMAL, faults


class PlaceForm(forms.ModelForm):  # type: ignore[type-arg]
    """The place, as a manager gives it."""

    class Meta:
        """Coordinates are both known or both not."""

        model = Site
        fields = ("region", "latitude_deg", "longitude_deg")
        labels = {"region": gettext_lazy("Region")}  # noqa: RUF012

    latitude_deg = forms.FloatField(
        required=False, min_value=-90, max_value=90, label=gettext_lazy("Latitude, degrees north")
    )
    longitude_deg = forms.FloatField(
        required=False, min_value=-180, max_value=180, label=gettext_lazy("Longitude, degrees east")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Any number of decimals."""
        super().__init__(*args, **kwargs)
        for name in ("latitude_deg", "longitude_deg"):
            self.fields[name].widget.attrs |= DECIMAL

    def clean(self) -> dict[str, Any]:
        """Refuse half a place."""
        entered: dict[str, Any] = super().clean() or {}
        if (entered.get("latitude_deg") is None) != (entered.get("longitude_deg") is None):
            raise forms.ValidationError(_("Give latitude and longitude, or neither."))
        return entered


@require_POST
def place(request: HttpRequest, code: str) -> HttpResponse:
    """Say where a building is; for managers."""
    site = access.site_or_404(request.user, code)
    if access.role_of(request.user) is not Role.MANAGER:
        return redirect("building", code)
    form = PlaceForm(request.POST, instance=site)
    if form.is_valid():
        form.save()
        messages.success(request, _("Kept where the building is."))
    else:
        messages.error(request, faults(form))
    return redirect("building", code)
