"""Forms of what people do with an event."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib.auth.models import User
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from diagnostics.units import atmospheric_pressure_pa
from fleet.models import EventNote, Site, SiteVisit, VisitOutcome
from fleet.pages.event import readings
from fleet.pages.forms import day_input
from fleet.pages.units import Preference
from fleet.pages.words import FAULTS, SUSPICIONS


class NoteForm(forms.ModelForm):  # type: ignore[type-arg]
    """A note."""

    class Meta:
        """Only the text; who and when are known."""

        model = EventNote
        fields = ("text",)
        widgets = {"text": forms.Textarea(attrs={"rows": 3, "cols": ""})}  # noqa: RUF012


class VisitForm(forms.ModelForm):  # type: ignore[type-arg]
    """What a visit found: the outcome is enough, everything else may stay empty."""

    outcome = forms.ChoiceField(
        label=_("What was found"),
        choices=[
            (VisitOutcome.CONFIRMED.value, _("The suspicion was right")),
            (VisitOutcome.OTHER_CAUSE.value, _("Another cause")),
            (VisitOutcome.NOTHING_FOUND.value, _("False alarm: nothing found")),
        ],
        widget=forms.RadioSelect,
    )
    found_condition = forms.ChoiceField(
        required=False,
        label=_("Cause found, when another"),
        choices=[
            ("", _("not one of these")),
            *((code, _(SUSPICIONS[code].said)) for code in FAULTS),
        ],
    )

    class Meta:
        """The event and the visitor are known."""

        model = SiteVisit
        fields = ("outcome", "found_condition", "visited_on", "remark")
        labels = {"visited_on": _("Day of the visit"), "remark": _("Remark")}  # noqa: RUF012
        widgets = {  # noqa: RUF012
            "visited_on": day_input(),
            "remark": forms.Textarea(attrs={"rows": 3, "cols": ""}),
        }

    def __init__(self, *args: Any, site: Site, prefer: Preference, **kwargs: Any) -> None:
        """Days are the site's: later visits have not happened. Readings come in its units."""
        super().__init__(*args, **kwargs)
        self.today = timezone.localdate(timezone=site.zone)
        self.prefer, self.atmosphere_pa = prefer, atmospheric_pressure_pa(site.altitude_m)
        self.readings: dict[str, float] = {}
        self.fields["visited_on"].initial = self.today
        self.fields["visited_on"].widget.attrs["max"] = self.today.isoformat()
        self.fields |= readings.fields(prefer)

    @property
    def measured(self) -> list[forms.BoundField]:
        """The fields for readings."""
        return [self[name] for name in self.fields if name.startswith(readings.PREFIX)]

    def clean_visited_on(self) -> date:
        """Refuse days to come."""
        day: date = self.cleaned_data["visited_on"]
        if day > self.today:
            raise forms.ValidationError(_("This day has not come yet at the site."))
        return day

    def clean(self) -> dict[str, Any]:
        """Keep the readings in SI; refuse what no instrument shows."""
        entered: dict[str, Any] = super().clean() or {}
        for name, quantity in readings.QUANTITIES.items():
            value = entered.get(readings.PREFIX + name)
            if value is None:
                continue
            si = readings.inside(name, value, self.prefer, self.atmosphere_pa)
            if quantity.low <= si <= quantity.high:
                self.readings[name] = si
            else:
                said = _("This cannot be: look at the number and its unit again.")
                self.add_error(readings.PREFIX + name, said)
        return entered


class ShelveForm(forms.Form):
    """For how long, and why."""

    days = forms.IntegerField(min_value=1, max_value=90, initial=14, label=_("Days"))
    reason = forms.CharField(max_length=300, label=_("Reason"))


class SendForm(forms.Form):
    """Who goes, and on which day; both may be open."""

    assignee = forms.ModelChoiceField(User.objects.none(), required=False, label=_("Send"))
    day = forms.DateField(required=False, label=_("on"), widget=day_input())

    def __init__(self, *args: Any, people: QuerySet[User], **kwargs: Any) -> None:
        """``people`` are those who may be sent."""
        super().__init__(*args, **kwargs)
        field = self.fields["assignee"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = people
        field.error_messages["invalid_choice"] = _("Choose a technician from the list.")

    def clean_day(self) -> date | None:
        """Refuse days that are over everywhere on Earth."""
        day: date | None = self.cleaned_data["day"]
        if day is not None and day < timezone.now().date() - timedelta(days=1):
            raise forms.ValidationError(_("This day is over."))
        return day
