"""Forms of the pages about events, buildings, systems and reports."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib.auth.models import User
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from diagnostics.units import atmospheric_pressure_pa
from fleet.models import EventNote, Site, SiteVisit, System, VisitOutcome
from fleet.pages import readings
from fleet.pages.units import Preference
from fleet.pages.words import SUSPICIONS

NOT_A_FINDING = ("normal", "not_enough_data")


def _day(**attrs: bool) -> forms.DateInput:
    """A field for a day. Browsers take its value as ISO 8601 writes it, whatever is read."""
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date", **attrs})


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
            *((code, _(it.said)) for code, it in SUSPICIONS.items() if code not in NOT_A_FINDING),
        ],
    )

    class Meta:
        """The event and the visitor are known."""

        model = SiteVisit
        fields = ("outcome", "found_condition", "visited_on", "remark")
        labels = {"visited_on": _("Day of the visit"), "remark": _("Remark")}  # noqa: RUF012
        widgets = {  # noqa: RUF012
            "visited_on": _day(),
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
    day = forms.DateField(required=False, label=_("on"), widget=_day())

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


class DataForm(forms.Form):
    """Which table of a system, over which days at the site, in which form."""

    MOST_DAYS = 31
    WHAT = (
        ("results", _("results sample by sample")),
        ("samples", _("samples as stored")),
        ("windows", _("rows of 15 minutes")),
    )

    first = forms.DateField(label=_("First day"), widget=_day(required=True))
    last = forms.DateField(label=_("Last day"), widget=_day(required=True))
    what = forms.ChoiceField(label=_("What"), choices=WHAT)
    kind = forms.ChoiceField(label=_("As"), choices=(("csv", "CSV"), ("parquet", "Parquet")))

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


class PlaceForm(forms.ModelForm):  # type: ignore[type-arg]
    """Where a building is, for planning rounds; no manifest says it."""

    class Meta:
        """Coordinates are both known or both not."""

        model = Site
        fields = ("region", "latitude_deg", "longitude_deg")
        labels = {"region": _("Region")}  # noqa: RUF012

    latitude_deg = forms.FloatField(
        required=False, min_value=-90, max_value=90, label=_("Latitude, degrees north")
    )
    longitude_deg = forms.FloatField(
        required=False, min_value=-180, max_value=180, label=_("Longitude, degrees east")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Any number of decimals."""
        super().__init__(*args, **kwargs)
        for name in ("latitude_deg", "longitude_deg"):
            self.fields[name].widget.attrs |= readings.DECIMAL

    def clean(self) -> dict[str, Any]:
        """Refuse half a place."""
        entered: dict[str, Any] = super().clean() or {}
        if (entered.get("latitude_deg") is None) != (entered.get("longitude_deg") is None):
            raise forms.ValidationError(_("Give latitude and longitude, or neither."))
        return entered


class ShareForm(forms.Form):
    """For whom a link is, and for how long."""

    DAYS = ((7, _("a week")), (30, _("30 days")), (90, _("90 days")))

    reader = forms.CharField(max_length=120, label=_("For whom"))
    days = forms.TypedChoiceField(choices=DAYS, coerce=int, initial=30, label=_("Opens for"))


class ChargeForm(forms.Form):
    """What a person adds to the manifest on the charge worksheet."""

    weighed = forms.FloatField(required=False, min_value=0.001, label=_("Recovered and weighed"))
    factory = forms.FloatField(
        required=False, min_value=0.001, label=_("Factory charge before any line allowance")
    )
    limit = forms.FloatField(
        required=False, min_value=0.0001, label=_("Limit for an occupied room, kg/m³")
    )
    edition = forms.CharField(
        required=False, max_length=120, label=_("Standard and edition the limit was read from")
    )

    def __init__(self, *args: Any, mass: str = "kg", **kwargs: Any) -> None:
        """Any number of decimals; masses are entered in the unit ``mass``."""
        super().__init__(*args, **kwargs)
        for name in ("weighed", "factory"):
            self.fields[name].label = f"{self.fields[name].label}, {mass}"
        for name in ("weighed", "factory", "limit"):
            self.fields[name].widget.attrs |= readings.DECIMAL

    def clean(self) -> dict[str, Any]:
        """Refuse a limit without its edition: values differ between them."""
        entered: dict[str, Any] = super().clean() or {}
        if entered.get("limit") is not None and not (entered.get("edition") or "").strip():
            self.add_error(
                "edition",
                _("Enter the standard and edition: published limits differ between them."),
            )
        return entered


class LogForm(forms.Form):
    """A file of an unknown make, and the system it came of."""

    system = forms.CharField(
        max_length=80,
        label=_("System it came of (site/system)"),
        widget=forms.TextInput(attrs={"list": "systems", "autocomplete": "off"}),
    )
    file = forms.FileField(label=_("File (.csv or .txt, gzip or not)"))

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


def faults(form: forms.BaseForm) -> str:
    """The form's complaints in one line."""
    found = []
    for name, texts in form.errors.as_data().items():
        label = form.fields[name].label or name if name in form.fields else ""
        said = " ".join(str(text) for fault in texts for text in fault.messages)
        found.append(f"{label}: {said}" if label else said)
    return " ".join(found)
