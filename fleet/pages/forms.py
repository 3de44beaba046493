"""Forms under an event."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet

from fleet.models import EventNote, SiteVisit, System
from fleet.pages.words import SUSPICIONS

NOT_A_FINDING = ("normal", "not_enough_data")


class NoteForm(forms.ModelForm):  # type: ignore[type-arg]
    """A note."""

    class Meta:
        """Only the text; who and when are known."""

        model = EventNote
        fields = ("text",)
        widgets = {"text": forms.Textarea(attrs={"rows": 3, "cols": ""})}  # noqa: RUF012


class VisitForm(forms.ModelForm):  # type: ignore[type-arg]
    """What a visit found."""

    found_condition = forms.ChoiceField(
        required=False,
        label="Cause found, when another",
        choices=[
            ("", "not one of these"),
            *((code, it.name) for code, it in SUSPICIONS.items() if code not in NOT_A_FINDING),
        ],
    )

    class Meta:
        """The event and the visitor are known."""

        model = SiteVisit
        fields = ("visited_on", "outcome", "found_condition", "remark")
        labels = {"visited_on": "Day of the visit"}  # noqa: RUF012
        widgets = {  # noqa: RUF012
            "visited_on": forms.DateInput(attrs={"type": "date"}),
            "remark": forms.Textarea(attrs={"rows": 3, "cols": ""}),
        }

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        """``today`` is the day at the site: later visits have not happened."""
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["visited_on"].initial = today
        self.fields["visited_on"].widget.attrs["max"] = today.isoformat()

    def clean_visited_on(self) -> date:
        """Refuse days to come."""
        day: date = self.cleaned_data["visited_on"]
        if day > self.today:
            raise forms.ValidationError("This day has not come yet at the site.")
        return day


class ShelveForm(forms.Form):
    """For how long, and why."""

    days = forms.IntegerField(min_value=1, max_value=90, initial=14, label="Days")
    reason = forms.CharField(max_length=300, label="Reason")


class ShareForm(forms.Form):
    """For whom a link is, and for how long."""

    DAYS = ((7, "a week"), (30, "30 days"), (90, "90 days"))

    reader = forms.CharField(max_length=120, label="For whom")
    days = forms.TypedChoiceField(choices=DAYS, coerce=int, initial=30, label="Opens for")


class ChargeForm(forms.Form):
    """What a person adds to the manifest on the charge worksheet."""

    weighed = forms.FloatField(required=False, min_value=0.001, label="Recovered and weighed, kg")
    factory = forms.FloatField(
        required=False, min_value=0.001, label="Factory charge before any line allowance, kg"
    )
    limit = forms.FloatField(
        required=False, min_value=0.0001, label="Limit for an occupied room, kg/m³"
    )
    edition = forms.CharField(
        required=False, max_length=120, label="Standard and edition the limit was read from"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Any number of decimals."""
        super().__init__(*args, **kwargs)
        for name in ("weighed", "factory", "limit"):
            self.fields[name].widget.attrs |= {"step": "any", "inputmode": "decimal"}

    def clean(self) -> dict[str, Any]:
        """Refuse a limit without its edition: values differ between them."""
        entered: dict[str, Any] = super().clean() or {}
        if entered.get("limit") is not None and not (entered.get("edition") or "").strip():
            self.add_error(
                "edition", "Enter the standard and edition: published limits differ between them."
            )
        return entered


class LogForm(forms.Form):
    """A file of an unknown make, and the system it came of."""

    system = forms.ModelChoiceField(System.objects.none(), label="System it came of")
    file = forms.FileField(label="File (.csv or .txt, gzip or not)")

    def __init__(self, *args: Any, systems: QuerySet[System], **kwargs: Any) -> None:
        """``systems`` are those to choose from."""
        super().__init__(*args, **kwargs)
        field = self.fields["system"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = systems


def faults(form: forms.BaseForm) -> str:
    """The form's complaints in one line."""
    found = []
    for name, texts in form.errors.as_data().items():
        label = form.fields[name].label or name if name in form.fields else ""
        said = " ".join(str(text) for fault in texts for text in fault.messages)
        found.append(f"{label}: {said}" if label else said)
    return " ".join(found)
