"""What forms of several pages share."""

from __future__ import annotations

from django import forms

DECIMAL = {"step": "any", "inputmode": "decimal"}
"""Attributes of a field for a number with any decimals."""


def day_input(**attrs: bool) -> forms.DateInput:
    """A field for a day. Browsers take its value as ISO 8601 writes it, whatever is read."""
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date", **attrs})


def faults(form: forms.BaseForm) -> str:
    """The form's complaints in one line."""
    found = []
    for name, texts in form.errors.as_data().items():
        label = form.fields[name].label or name if name in form.fields else ""
        said = " ".join(str(text) for fault in texts for text in fault.messages)
        found.append(f"{label}: {said}" if label else said)
    return " ".join(found)
